"""Certified one-way analyses of variance of NIST (Statistical Reference Datasets).

Fitted twice: groups as a factor, by least squares; and groups as make-readies, whose variance in
balanced data is (MS_between - MS_within)/n. Every case states the digits asked for, about one below
what was reached in double precision; the digits reached are printed. SmLs04 and SmLs07 are SmLs01 plus
10⁶ - 1 and 10¹² - 1.
"""

from decimal import Decimal

import numpy as np
import pytest

from pwindow.surfaces.model.terms import Design, Factor
from tests.helpers.reference import assert_printed, fit_values, read_json, read_table, wald

OFFSETS = {"SmLs01": 0, "SmLs04": 10**6 - 1, "SmLs07": 10**12 - 1}


def read_set(name):
    """Reader of groups, values and certified figures of one set."""
    small = name.startswith("SmLs")
    table = read_table(f"nist_anova_{'SmLs01' if small else name}.csv", dtype=str)
    values = [float(Decimal(y) + OFFSETS.get(name, 0)) for y in table["y"]]
    certified = read_json("nist_anova.json")["sets"]["SmLs" if small else name]
    return table["group"], values, {key: Decimal(text) for key, text in certified.items()}


def assert_digits(what: str, found: float, certified: Decimal, digits: int) -> None:
    """Assertion that a value has so many digits of a certified figure; prints how many it has."""
    missed = abs(Decimal(float(found)) / certified - 1)
    print(f"{what}: {-float(missed.log10()) if missed else 16:.1f} digits")
    assert_printed(found, str(certified), digits)


@pytest.mark.parametrize(
    "name, digits", [("SiRstv", 12), ("AtmWtAg", 9), ("SmLs01", 14), ("SmLs04", 9), ("SmLs07", 3)]
)
def test_groups_as_a_factor(name, digits):
    group, values, certified = read_set(name)
    factor = Factor.learn("group", "category", group)
    design = Design((factor,), ((), *((column,) for column in factor.columns)))
    surface = fit_values(values, design, group=group)
    f = wald(surface, range(1, len(design.terms)))
    assert_digits(f"{name} MS within", surface.scale, certified["ms_within"], digits)
    assert_digits(f"{name} residual SD", np.sqrt(surface.scale), certified["residual_sd"], digits)
    assert_digits(f"{name} MS between", f * surface.scale, certified["ms_between"], digits)
    assert_digits(f"{name} F", f, certified["f"], digits)


@pytest.mark.parametrize(
    "name, digits",
    [
        ("SiRstv", 4),
        ("SmLs01", 5),
        ("AtmWtAg", 4),
        ("SmLs04", 4),
        ("SmLs07", 2),
    ],
)
def test_groups_as_make_readies(name, digits):
    group, values, certified = read_set(name)
    found = fit_values(values, Design((), ((),)), make_ready=group).components
    size = len(group) // group.nunique()
    between = (certified["ms_between"] - certified["ms_within"]) / size
    assert_digits(f"{name} within", found.print_, certified["ms_within"], digits)
    assert_digits(f"{name} between", found.make_ready, between, digits)
