"""Least squares against the certified regressions of NIST (Statistical Reference Datasets).

Every case states how many digits of the certified figures must be right, at the smallest over its
coefficients: about one below what was reached with 80-bit extended precision. The certified figures
have 15 digits. Powers of x are taken in extended precision, and the data are read in it.
"""

import csv
import json
from pathlib import Path

import numpy as np
import pytest

from pwindow.surfaces.single.least_squares import least_squares
from tests.helpers.reference import read_json

HERE = Path(__file__).parent

pytestmark = pytest.mark.skipif(
    np.finfo(np.longdouble).eps > 1e-18, reason="no extended precision on this platform"
)


def read_extended(path: Path) -> dict[str, np.ndarray]:
    """Columns of a CSV file, read in extended precision."""
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    return {name: np.array([np.longdouble(row[name]) for row in rows]) for name in rows[0]}


def powers(x: np.ndarray, first: int, count: int) -> np.ndarray:
    return x[:, None] ** np.arange(first, first + count)


def errors(design: np.ndarray, y: np.ndarray, certified: dict) -> dict[str, float]:
    """Largest relative error of coefficients, standard errors, and residual SD.

    Where the certified figure is 0 the error is absolute.
    """
    solution = least_squares(design, y)
    variance = solution.ssr / solution.df
    found = {
        "beta": solution.params,
        "se": np.sqrt(variance * np.diag(solution.unscaled_cov)),
        "residual_sd": np.sqrt(variance),
    }
    return {name: relative_error(found[name], certified[name]) for name in found}


def relative_error(found, certified) -> float:
    found, certified = np.atleast_1d(found), np.atleast_1d(certified).astype(float)
    unit = np.where(certified == 0.0, 1.0, np.abs(certified))
    return float(np.max(np.abs(found - certified) / unit))


def assert_digits(found: dict[str, float], *, beta: float, se: float, residual_sd: float) -> None:
    assert found["beta"] < 10.0**-beta
    assert found["se"] < 10.0**-se
    assert found["residual_sd"] < 10.0**-residual_sd


@pytest.mark.parametrize(
    "name, first, digits",
    [
        ("Norris", 0, dict(beta=13.5, se=13.5, residual_sd=14)),
        ("Pontius", 0, dict(beta=14, se=13.5, residual_sd=13.5)),
        ("NoInt1", 1, dict(beta=14, se=14, residual_sd=14)),
        ("NoInt2", 1, dict(beta=14, se=14, residual_sd=14)),
        ("Filip", 0, dict(beta=9.5, se=10.5, residual_sd=10.5)),
    ],
)
def test_polynomial_kept_outside_the_project(fetched, name, first, digits):
    certified = json.loads((fetched / f"nist_{name}.json").read_text(encoding="utf-8"))
    data = read_extended(fetched / f"nist_{name}.csv")
    design = powers(data["x"], first, len(certified["beta"]))
    assert_digits(errors(design, data["y"], certified), **digits)


def test_longley():
    data = read_extended(HERE / "longley.csv")
    columns = [data[f"x{at}"] for at in range(1, 7)]
    design = np.column_stack([np.ones_like(columns[0]), *columns])
    found = errors(design, data["y"], read_json("certified_regressions.json")["sets"]["Longley"])
    assert_digits(found, beta=13.5, se=13.5, residual_sd=14)


@pytest.mark.parametrize(
    "number, digits",
    [
        (1, dict(beta=12.5, se=12.5, residual_sd=12.5)),
        (2, dict(beta=14, se=14, residual_sd=14)),
        (3, dict(beta=12, se=13.5, residual_sd=14)),
        (4, dict(beta=10.5, se=13.5, residual_sd=14)),
        (5, dict(beta=8.5, se=13.5, residual_sd=14)),
    ],
)
def test_wampler(number, digits):
    """Fifth powers of 0 to 20; the later sets add errors up to 1e4 times the signal."""
    data = read_extended(HERE / "wampler.csv")
    certified = read_json("certified_regressions.json")["sets"][f"Wampler{number}"]
    found = errors(powers(data["x"], 0, 6), data[f"y{number}"], certified)
    assert_digits(found, **digits)


def test_coding_saves_digits_where_powers_are_in_double_precision(fetched):
    """Filip with x coded to [-1, 1] and powers in double precision: residual SD to 12 digits."""
    certified = json.loads((fetched / "nist_Filip.json").read_text(encoding="utf-8"))
    data = read_extended(fetched / "nist_Filip.csv")
    x = data["x"].astype(float)
    coded = (x - (x.min() + x.max()) / 2) / ((x.max() - x.min()) / 2)
    solution = least_squares(coded[:, None] ** np.arange(11), data["y"])
    spread = np.sqrt(solution.ssr / solution.df)
    assert relative_error(spread, certified["residual_sd"]) < 1e-12
