"""Make the invented trial of plates, and what was measured on its plates, from ``truth_plates.toml``.

Run ``python data_demo/make_plates.py`` to write ``plates.csv`` and ``trial_plates.csv`` anew.
This script shares no code with ``pwindow``, so it can judge what ``pwindow`` finds.
"""

import copy
import tomllib

import make_demo
import numpy as np
import pandas as pd
from make_demo import COLUMNS, HERE, RESPONSES, covariance

PRINT = ["print", "make_ready", "speed", "roll", "cell_volume", "pressure", "plate_id"]
FEATURE = ["plate_feature", "line_height", "line_width", "section_area", "gap"]
COUNTS = ["gaps_inspected", "gaps_bridged", "resistance", "line_length", "printed_radius"]
UNITS = COLUMNS | {
    "plate_id": "plate_id",
    "plate_feature": "plate_feature",
    "printed_radius": "printed_radius [um]",
}
ON_PLATE = [
    "artwork_width",
    "plate_width",
    "artwork_gap",
    "plate_gap",
    "lip_width",
    "lip_height",
    "gap_depth",
]
AT_CORNER = ["artwork_radius", "corner_radius"]
DEGREES = {"along": 0.0, "across": 90.0, "diagonal": 45.0}
DECIMALS = make_demo.DECIMALS | {"printed_radius": 2}


def read_truth():
    """The truth of the first trials with that of plates beside it."""
    truth = make_demo.read_truth()
    own = tomllib.loads((HERE / "truth_plates.toml").read_text(encoding="utf-8"))
    surfaces = copy.deepcopy(truth["surfaces"])
    for term in ("plate_gap", "plate_gap:pressure"):
        del surfaces["closure"][term]
    for response, terms in own["added"].items():
        surfaces[response] |= terms
    return truth | own | {"surfaces": surfaces}


def make_plates(truth, rng, plates=None):
    """What was measured on plates, one row a feature, as a plate file has it.

    Parameters
    ----------
    truth : dict
        From `read_truth`.
    rng : numpy.random.Generator
    plates : mapping of str to str, optional
        Process by plate id; those of the truth unless given.

    Returns
    -------
    DataFrame
        Dimensions in µm, directions in degrees.
    """
    plates = truth["plates"] if plates is None else plates
    return pd.concat([_plate(truth, rng, *one) for one in plates.items()], ignore_index=True)


def _plate(truth, rng, plate, process):
    making, artwork = truth["making"], truth["artwork"]
    off = {name: making[name][process] + rng.normal(0.0, sd) for name, sd in making["plate_sd"].items()}
    rows = []

    def made(name, size):
        return size + off[name] + rng.normal(0.0, making["feature_sd"][name])

    for direction, degrees in DEGREES.items():
        for width in artwork[direction]:
            more = making["diagonal"][process] if direction == "diagonal" else 0.0
            rows.append(
                {
                    "plate_feature": f"{direction} {width:g}",
                    "direction": degrees,
                    "artwork_width": width,
                    "plate_width": made("width", width) + more,
                }
            )
    for gap in artwork["gaps"]:
        found = made("gap", gap)
        rows.append(
            {
                "plate_feature": f"gap {gap:g}",
                "artwork_gap": gap,
                "plate_gap": found,
                "lip_width": found + truth["lips"]["beyond"][process] + rng.normal(0.0, truth["lips"]["sd"]),
                "lip_height": truth["lips"]["height"] * np.exp(rng.normal(0.0, 0.15)),
                "gap_depth": truth["depth"]["share"][process] * found + rng.normal(0.0, truth["depth"]["sd"]),
            }
        )
    for width, gap in artwork["pairs"]:
        rows.append(
            {
                "plate_feature": f"pair {width:g}/{gap:g}",
                "direction": 0.0,
                "artwork_width": width,
                "plate_width": made("width", width),
                "artwork_gap": gap,
                "plate_gap": made("gap", gap),
            }
        )
    for corner in ("inner", "outer"):
        for radius in artwork["radii"]:
            rows.append(
                {
                    "plate_feature": f"{corner} corner {radius:g}",
                    "corner": corner,
                    "artwork_radius": radius,
                    "corner_radius": made("corner", radius),
                }
            )
    return pd.DataFrame(rows).assign(plate_id=plate, plate=process)


def expected(truth, rows):
    """Mean responses of features, all random effects at zero.

    Parameters
    ----------
    truth : dict
        From `read_truth`.
    rows : DataFrame
        ``speed`` [m/min], ``cell_volume`` [cm³/m²], ``pressure`` [µm], ``plate``; of lines ``plate_width`` [µm] and
        ``direction`` [deg], of gaps ``plate_gap`` and ``lip_width`` [µm]: without lips it is the width at the surface.

    Returns
    -------
    DataFrame
        As `make_demo.expected` gives it; closure is that of the width at the surface.
    """
    lips = rows["lip_width"].fillna(rows["plate_gap"])
    means = make_demo.expected(truth, rows.assign(lip_width=lips))
    means["closure"] += rows["plate_gap"] - lips
    for direction, by_process in truth["direction"].items():
        along = rows["direction"] == DEGREES[direction]
        for process, shifts in by_process.items():
            for response, shift in shifts.items():
                means.loc[along & (rows["plate"] == process), response] += shift
    return means


def printed_radius(truth, rows):
    """Mean of the natural logarithm of printed radii of corners, µm; rows as of `expected`, with ``corner_radius``."""
    coded = {
        name: make_demo.code_factor(rows[name], truth["factors"][name])
        for name in ("speed", "cell_volume", "pressure")
    }
    coded["corner_radius"] = np.log(rows["corner_radius"].to_numpy(float) / 12.0)
    found = np.full(len(rows), np.nan)
    for corner in ("inner", "outer"):
        terms, at = truth[corner], (rows["corner"] == corner).to_numpy()
        mean = terms["constant"] + sum(terms[name] * values for name, values in coded.items())
        found[at] = mean[at]
    return found


def simulate(truth, layout, plates, rng):
    """A trial of plates in the form of the trial file.

    Parameters
    ----------
    truth : dict
        From `read_truth`.
    layout : DataFrame
        One row a print, as of `layout_plates`.
    plates : DataFrame
        As `make_plates` makes them.
    rng : numpy.random.Generator

    Returns
    -------
    DataFrame
        One row a feature on a print.
    """
    copies = truth["features"]
    of_line, of_gap = plates["plate_width"].notna() & plates["plate_gap"].isna(), plates["plate_gap"].notna()
    times = np.select([of_line, of_gap], [copies["lines"], copies["gaps"]], copies["corners"])
    features = plates.loc[plates.index.repeat(times)].reset_index(drop=True)
    features["number"] = features.groupby(["plate_id", "plate_feature"]).cumcount()
    rows = layout.assign(print_index=np.arange(len(layout))).merge(features, on="plate_id", how="left")
    values = expected(truth, rows) + _effects(truth, layout, rng)[rows["print_index"]]
    values += rng.standard_normal((len(rows), len(RESPONSES))) * np.sqrt(
        np.diag(covariance(truth, "feature"))
    )
    measured = _measured(truth, rows, values, _corners(truth, layout, rows, rng), rng).round(DECIMALS)
    named = make_demo._with_gap_counts(rows.join(measured))
    return named[[*PRINT, *FEATURE, *COUNTS]].rename(columns=UNITS)


def _effects(truth, layout, rng):
    of_run = layout["make_ready"].factorize()[0]
    runs = make_demo._effects(truth, "make_ready", of_run.max() + 1, rng)[of_run]
    return runs + make_demo._effects(truth, "print", len(layout), rng)


def _corners(truth, layout, rows, rng):
    sd, of_run = truth["corner_sd"], layout["make_ready"].factorize()[0]
    of_print = rng.normal(0.0, sd["make_ready"], of_run.max() + 1)[of_run]
    of_print = of_print + rng.normal(0.0, sd["print"], len(layout))
    return np.exp(
        printed_radius(truth, rows)
        + of_print[rows["print_index"]]
        + rng.normal(0.0, sd["feature"], len(rows))
    )


def _measured(truth, rows, values, radius, rng):
    is_line = rows["plate_width"].notna() & rows["plate_gap"].isna()
    first = rows["number"] == 0
    line = truth["line"]
    height, width = np.exp(values["log_height"]), np.exp(values["log_width"])
    area = line["section_factor"] * height * width
    length = line["resistance_length"]
    resistance = np.exp(values["log_resistivity"]) * length * 1e9 / area
    return pd.DataFrame(
        {
            "line_height": height.where(is_line),
            "line_width": width.where(is_line),
            "section_area": (area * np.exp(rng.normal(0.0, line["section_factor_sd"], len(rows)))).where(
                is_line & first
            ),
            "gap": rows["plate_gap"] - values["closure"],
            "resistance": resistance.where(is_line & ~first),
            "line_length": pd.Series(length, rows.index).where(is_line & ~first),
            "printed_radius": radius,
        }
    )


def layout_plates():
    """Layout of the trial of plates: one row per print."""
    return make_demo._layout("plates").rename(columns={"plate": "plate_id"})


def main():
    """Write the plate file and the trial file beside this script."""
    truth = read_truth()
    rng = np.random.default_rng(truth["seed"])
    plates = make_plates(truth, rng)
    measured = plates.assign(measured="2026-09-14").rename(
        columns={name: f"{name} [um]" for name in [*ON_PLATE, *AT_CORNER]} | {"direction": "direction [deg]"}
    )
    head = ["plate_id", "plate", "plate_feature", "direction [deg]"]
    sizes = [f"{name} [um]" for name in [*ON_PLATE, *AT_CORNER]]
    columns = [*head, *sizes[: len(ON_PLATE)], "corner", *sizes[len(ON_PLATE) :], "measured"]
    measured[columns].round(dict.fromkeys(sizes, 2)).to_csv(
        HERE / "plates.csv", index=False, lineterminator="\n"
    )
    trial = simulate(truth, layout_plates(), plates, rng)
    trial.to_csv(HERE / "trial_plates.csv", index=False, lineterminator="\n")


if __name__ == "__main__":
    main()
