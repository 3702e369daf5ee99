"""Plates to order against simulated truths: does what is stated of a new plate come true?

Each truth is that of the demo trial of plates with its surfaces, spreads, lips and plate making changed at random; lips differ
from plate to plate by up to what they differ by between the gaps of one. It gives plates and a trial; orders are found, and plates at random places of the map are judged. Then new plates are made from the
same artwork, each printed in new make-readies.

``python tests/bench/bench_orders.py [truths [first]]``
"""

import copy
import sys
from concurrent.futures import ProcessPoolExecutor
from importlib import import_module
from io import StringIO
from pathlib import Path

import numpy as np
import pandas as pd

import pwindow as pw
from pwindow.inputs import InputFile
from pwindow.plates import plate_making
from pwindow.window.orders import plate_orders
from pwindow.window.orders.new_plate import NewPlate

PLACES, TRIES, PLATES, PRINTS = 12, 60, 60, 60
FEW = 0.1  # share of places that are looked at where hardly any or nearly all prints conform
sys.path.insert(0, str(Path(pw.demo("make_plates.py")).parent))
demo = import_module("make_plates")


def drawn_truth(rng):
    """The demo's truth, with terms, spreads and plate making drawn anew."""
    truth = copy.deepcopy(demo.read_truth())
    for response, terms in truth["surfaces"].items():
        room = 2.0 if response == "closure" else 0.04
        for name in terms:
            terms[name] = terms[name] * np.exp(rng.normal(0.0, 0.25)) if name != "constant" else terms[name]
        terms["constant"] += rng.normal(0.0, room)
    for level in truth["sd"].values():
        for name in level:
            level[name] *= np.exp(rng.normal(0.0, 0.2))
    making = truth["making"]
    for what in ("width", "gap"):
        for process in making[what]:
            making[what][process] += rng.normal(0.0, 1.5)
        making["plate_sd"][what] *= np.exp(rng.normal(0.0, 0.3))
        making["feature_sd"][what] *= np.exp(rng.normal(0.0, 0.3))
    for process in truth["lips"]["beyond"]:
        truth["lips"]["beyond"][process] += rng.normal(0.0, 8.0)
    truth["lips"]["plate_sd"] = rng.uniform(0.0, truth["lips"]["sd"])
    return truth


def read(truth, rng):
    """A trial and its plates as files give them."""
    plates = demo.make_plates(truth, rng)
    of_plate = {plate: rng.normal(0.0, truth["lips"]["plate_sd"]) for plate in plates["plate_id"].unique()}
    plates["lip_width"] += plates["plate_id"].map(of_plate)
    trial = demo.simulate(truth, demo.layout_plates(), plates, rng)
    files = []
    for name, table in (("trial.csv", trial), ("plates.csv", plates)):
        text = StringIO()
        table.to_csv(text, index=False)
        files.append(InputFile(name, text.getvalue().encode()))
    return pw.read_trial(files)


def came_true(truth, product, process, artwork, setting, rng):
    """Share of prints of new plates, each in a new make-ready, that meet every requirement."""
    width, gap = artwork
    making, lips, count = truth["making"], truth["lips"], PLATES * PRINTS
    n = int(product.requirements[[one.name for one in product.requirements].index("gap")].parameters["count"])

    def made(what, shape):
        of_plate = rng.normal(0.0, making["plate_sd"][what], PLATES)[:, None]
        return making[what][process] + of_plate + rng.normal(0.0, making["feature_sd"][what], (PLATES, shape))

    lines = np.repeat(width + made("width", 1)[:, 0], PRINTS)
    gaps = np.repeat(gap + made("gap", n), PRINTS, axis=0)
    of_gap = rng.normal(0.0, lips["plate_sd"], PLATES)[:, None] + rng.normal(0.0, lips["sd"], (PLATES, n))
    beyond = lips["beyond"][process] + np.repeat(of_gap, PRINTS, axis=0)
    drift = rng.uniform(-1.0, 1.0, (2, count))
    setups = pd.DataFrame(
        {
            "speed": setting["speed"] * (1.0 + product.assurance.speed_tolerance * drift[0]),
            "cell_volume": setting["cell_volume"],
            "pressure": setting["pressure"] + 3.0 * drift[1],
            "plate": process,
            "plate_width": lines,
            "direction": 0.0,
            "plate_gap": gaps.mean(axis=1),
            "lip_width": (gaps + beyond).mean(axis=1),
            "corner": "inner",
            "corner_radius": product.pattern.corner_radius,
        }
    )
    means = demo.expected(truth, setups)
    errors = sum(
        rng.standard_normal((count, 4)) @ np.linalg.cholesky(demo.covariance(truth, level)).T
        for level in ("make_ready", "print")
    )
    values = means + errors
    height, line = np.exp(values["log_height"]), np.exp(values["log_width"])
    area = truth["line"]["section_factor"] * height * line
    ohm = np.exp(values["log_resistivity"]) * 60.0 * 1e9 / area
    at = (gaps + beyond) - (gaps + beyond).mean(axis=1)[:, None]
    printed = (setups["plate_gap"] - values["closure"]).to_numpy()[:, None] + at
    printed = printed - rng.normal(0.0, truth["sd"]["feature"]["closure"], printed.shape)
    sd = truth["corner_sd"]
    radius = np.exp(
        demo.printed_radius(truth, setups) + rng.normal(0.0, np.hypot(sd["make_ready"], sd["print"]), count)
    )
    limits = {one.name: one for one in product.requirements}
    met = (ohm <= limits["line_resistance"].most) & (line <= limits["line_width"].most)
    met &= (printed >= limits["gap"].least).all(axis=1) & (printed <= limits["gap"].most).all(axis=1)
    return float((met & (radius <= limits["inner_radius"].most)).mean())


def judged(seed):
    """Stated and true conformance of the orders, and of plates at random places, of one truth."""
    rng = np.random.default_rng(seed)
    truth = drawn_truth(rng)
    trial, study = read(truth, rng), pw.read_study(pw.demo("study.toml"))
    product = pw.read_product(pw.demo("sensor.toml"))
    surfaces = pw.fit(trial)
    making = plate_making(trial.plates, study)
    found = plate_orders(surfaces, product, study, making)
    rows = []
    for order in found.orders:
        setting = {"speed": order.speed, "cell_volume": order.roll.cell_volume, "pressure": order.pressure}
        artwork = order.artwork_width, order.artwork_gap
        true = came_true(truth, product, order.plate, artwork, setting, rng)
        rows.append((seed, "order", order.conformance, true))
    places = 0
    for _ in range(TRIES):
        one = found.maps[rng.integers(len(found.maps))]
        row = one.rows[rng.integers(len(one.rows))]
        process = making.of(one.process)
        tried = np.argwhere(one.tried)
        at = tried[rng.integers(len(tried))]
        width, gap = float(one.widths[at[1]]), float(one.gaps[at[0]])
        artwork = process.artwork_width(width, 0.0).value, process.artwork_gap(gap).value
        window = NewPlate(process, width, gap).window(surfaces, product, study)
        speed = float(rng.uniform(row.slowest, row.fastest))
        stated = window.joint_conformance(
            window.setups(one.process, speed, row.roll.cell_volume, row.pressure)
        )[0]
        if not 0.05 < stated < 0.95 and rng.random() > FEW:
            continue
        setting = {"speed": speed, "cell_volume": row.roll.cell_volume, "pressure": row.pressure}
        rows.append((seed, "place", stated, came_true(truth, product, one.process, artwork, setting, rng)))
        places += 1
        if places == PLACES:
            break
    return rows


def main():
    truths = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    with ProcessPoolExecutor(int(sys.argv[3]) if len(sys.argv) > 3 else 2) as pool:
        rows = [row for found in pool.map(judged, range(first, first + truths)) for row in found]
    table = pd.DataFrame(rows, columns=["truth", "kind", "stated", "true"])
    table["less"] = table["stated"] - table["true"]
    for kind, of in table.groupby("kind"):
        each = of.groupby("truth")["less"].mean()
        print(
            f"{kind}: {len(of)} of {of['truth'].nunique()} truths, stated less true {of['less'].mean():+.4f} ± {each.sem():.4f}"
        )
        tenths = pd.cut(of["stated"], np.linspace(0.0, 1.0, 11), include_lowest=True)
        means = of.groupby(tenths, observed=True)[["stated", "true", "less"]].mean()
        print(means.assign(n=tenths.value_counts()).round(3))


if __name__ == "__main__":
    main()
