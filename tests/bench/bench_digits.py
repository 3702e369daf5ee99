"""Correct digits of least squares on the certified regressions of NIST, by method; of variance components on
balanced split plots; and how far probabilities of rectangles are off where responses are all but one.

Run as ``python tests/bench/bench_digits.py``. Norris, Pontius, NoInt1, NoInt2 and Filip are read from
the folder that PWINDOW_REFERENCE_DIR names and are left out where it is not set. Nothing is asserted.
"""

import csv
import json
import os
from pathlib import Path

import numpy as np
import pandas as pd
import statsmodels.api as sm

from pwindow.surfaces.model.responses import ResponseData, ResponseKind
from pwindow.surfaces.single.least_squares import least_squares
from pwindow.surfaces.single.variance import Groups, estimate_components
from pwindow.window.probability.rectangle import rectangle_probability

BESIDE = Path(__file__).parent.parent / "reference"
OUTSIDE = ("Norris", "Pontius", "NoInt1", "NoInt2", "Filip")
INSIDE = ("Longley", "Wampler1", "Wampler2", "Wampler3", "Wampler4", "Wampler5")
# Computed beforehand with R's lm, rank tolerance as it comes: smallest digits over coefficients.
R_LM = dict(zip((*OUTSIDE, *INSIDE), (12.5, 12.7, 14.7, 15, 0, 13.0, 9.8, 13.6, 9.3, 7.5, 5.5)))


def read_extended(path):
    """Columns of a CSV file in extended precision."""
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    return {name: np.array([np.longdouble(row[name]) for row in rows]) for name in rows[0]}


def problems():
    """Name, design, values and certified figures of each set at hand."""
    folder = os.environ.get("PWINDOW_REFERENCE_DIR")
    for name in OUTSIDE if folder else ():
        base = Path(folder) / "fetched" / f"nist_{name}"
        certified = json.loads(base.with_suffix(".json").read_text(encoding="utf-8"))
        data = read_extended(base.with_suffix(".csv"))
        first = 1 if name.startswith("NoInt") else 0
        yield name, powers(data["x"], first, len(certified["beta"])), data["y"], certified
    sets = json.loads((BESIDE / "certified_regressions.json").read_text(encoding="utf-8"))["sets"]
    longley, wampler = read_extended(BESIDE / "longley.csv"), read_extended(BESIDE / "wampler.csv")
    columns = [longley[f"x{at}"] for at in range(1, 7)]
    yield "Longley", np.column_stack([np.ones_like(columns[0]), *columns]), longley["y"], sets["Longley"]
    for at in range(1, 6):
        yield f"Wampler{at}", powers(wampler["x"], 0, 6), wampler[f"y{at}"], sets[f"Wampler{at}"]


def powers(x, first, count):
    return x[:, None] ** np.arange(first, first + count)


def by_statsmodels(method):
    def solve(x, y):
        fit = sm.OLS(y.astype(float), x.astype(float)).fit(method=method)
        return fit.params, fit.bse

    return solve


def by_numpy(x, y):
    x, y = x.astype(float), y.astype(float)
    params = np.linalg.lstsq(x, y, rcond=None)[0]
    rest, inverse = y - x @ params, np.linalg.pinv(x)
    return params, np.sqrt(rest @ rest / (len(y) - x.shape[1]) * (inverse**2).sum(axis=1))


def by_project(x, y):
    solution = least_squares(x, y)
    return solution.params, np.sqrt(solution.ssr / solution.df * np.diag(solution.unscaled_cov))


def by_project_in_double_precision(x, y):
    return by_project(x.astype(float), y.astype(float))


METHODS = {
    "statsmodels OLS pinv": by_statsmodels("pinv"),
    "statsmodels OLS qr": by_statsmodels("qr"),
    "numpy lstsq": by_numpy,
    "pwindow, data and powers in double precision": by_project_in_double_precision,
    "pwindow, data and powers in extended precision": by_project,
}


def digits(found, certified):
    """Smallest log relative error (absolute where the certified figure is 0), 0 to 15."""
    found, certified = np.asarray(found, float), np.asarray(certified, float)
    unit = np.where(certified == 0.0, 1.0, np.abs(certified))
    with np.errstate(divide="ignore"):
        scores = -np.log10(np.abs(found - certified) / unit)
    return float(np.clip(np.nan_to_num(scores, nan=0.0, posinf=15.0), 0.0, 15.0).min())


def print_table(title, names, rows):
    print(f"\n{title}\n")
    print("| method | " + " | ".join(names) + " |")
    print("| --- |" + " ---: |" * len(names))
    for method, values in rows.items():
        print(f"| {method} | " + " | ".join(f"{v:.1f}" for v in values) + " |")


def split_plot(readies, prints, ratio, seed):
    """Balanced prints of make-readies that differ `ratio` times as much as prints, as one response without features."""
    rng = np.random.default_rng(seed)
    effects = np.repeat(rng.normal(0.0, ratio**0.5, readies), prints) + rng.normal(size=readies * prints)
    return pd.DataFrame(
        {
            "print": [f"P{at:03d}" for at in range(len(effects))],
            "make_ready": [f"M{at // prints}" for at in range(len(effects))],
            "count": 1,
            "value": 100.0 + effects,
        }
    )


def reml_digits():
    """Smallest digits of both components against those of the analysis of variance, over ten split plots a kind."""
    kind = ResponseKind(name="response", label="response", unit="", key="response", log=False, covariates=())
    found = {}
    for readies, prints, ratio in ((6, 4, 1.0), (12, 3, 5.0), (18, 4, 0.1), (6, 4, 100.0), (5, 2, 1000.0)):
        worst = 15.0
        for seed in range(10):
            cells = split_plot(readies, prints, ratio, seed)
            value = cells["value"].to_numpy().reshape(readies, prints)
            within = value.var(axis=1, ddof=1).mean()
            between = value.mean(axis=1).var(ddof=1) - within / prints
            if between <= 0.0:
                continue
            groups = Groups.of(cells)
            data = ResponseData(kind=kind, cells=cells)
            ordered = cells["value"].to_numpy()[groups.order]
            parts = estimate_components(data, groups, np.ones((len(cells), 1)), ordered)
            worst = min(worst, digits([parts.make_ready, parts.print_], [between, within]))
        found[f"{readies} × {prints}, ratio {ratio:g}"] = worst
    return found


def rectangle_errors(df=2.0, points=50_021):
    """Largest error of a probability over boxes, by how many quantities, their correlation and the points taken."""
    rng = np.random.default_rng(4)
    for size in (2, 3, 5):
        boxes = [np.sort(rng.normal(0.0, 1.5, (2, size)), axis=0) for _ in range(20)]
        for correlation in (0.9, 0.99, 0.999):
            scale = np.full((1, size, size), correlation) + (1.0 - correlation) * np.eye(size)
            errors = {}
            for low, high in boxes:
                ask = (low, high, np.zeros((1, size)), scale, df)
                exact = rectangle_probability(*ask, points=points, settled=0.0)[0]
                for count in (199, 499, 2039):
                    off = abs(rectangle_probability(*ask, points=count)[0] - exact)
                    errors[count] = max(errors.get(count, 0.0), off)
            yield size, correlation, errors


def main():
    print(
        "Correct digits of make-ready and print variances, REML against a balanced split plot's closed form"
    )
    for name, score in reml_digits().items():
        print(f"  {name:24s} {score:.1f}")
    print("\nLargest error of rectangles, 2 degrees of freedom, by points of the lattice")
    for size, correlation, errors in rectangle_errors():
        print(
            f"  {size} quantities, ρ {correlation:<6g} "
            + "  ".join(f"{count}: {off:.1e}" for count, off in errors.items())
        )
    table = {method: {} for method in METHODS}
    for name, x, y, certified in problems():
        for method, solve in METHODS.items():
            params, errors = solve(x, y)
            table[method][name] = digits(params, certified["beta"]), digits(errors, certified["se"])
    names = list(table["numpy lstsq"])
    for at, title in enumerate(("coefficients", "standard errors")):
        rows = {method: [found[name][at] for name in names] for method, found in table.items()}
        if at == 0:
            rows["R lm (computed beforehand)"] = [R_LM[name] for name in names]
        print_table(f"Correct digits of {title}, smallest over coefficients, 15 = all", names, rows)


if __name__ == "__main__":
    main()
