"""Coding of factors, and terms that obey heredity."""

from itertools import combinations

import numpy as np
import pandas as pd
import pytest

from pwindow.surfaces.model.terms import Design, Factor, droppable, label, parents, second_order
from tests.helpers.cells import respects_heredity

SPEED = Factor("speed", "log", 30.0, 120.0)
PRESSURE = Factor("pressure", "linear", 20.0, 80.0)
PLATE = Factor("plate", "category", levels=("a", "b", "c"))


def test_log_coding_puts_the_geometric_middle_at_zero():
    np.testing.assert_allclose(SPEED.code([30.0, 60.0, 120.0])[:, 0], [-1.0, 0.0, 1.0], atol=1e-15)


def test_linear_coding_puts_the_arithmetic_middle_at_zero():
    np.testing.assert_allclose(PRESSURE.code([20.0, 50.0, 80.0])[:, 0], [-1.0, 0.0, 1.0], atol=1e-15)


@pytest.mark.parametrize("factor", [SPEED, PRESSURE])
def test_decoding_undoes_coding_also_outside_the_range(factor):
    values = np.array([10.0, 30.0, 47.3, 200.0])
    np.testing.assert_allclose(factor.decode(factor.code(values)[:, 0]), values, rtol=1e-14)


def test_integers_do_not_overflow():
    squares = Design((Factor("x", "linear", 0.0, 4e9),), ((), ("x",), ("x", "x")))
    matrix = squares.matrix(pd.DataFrame({"x": np.array([0, 2_000_000_000, 4_000_000_000])}))
    np.testing.assert_allclose(matrix, [[1, -1, 1], [1, 0, 0], [1, 1, 1]])


def test_levels_are_coded_to_sum_to_zero():
    coded = PLATE.code(["a", "b", "c"])
    np.testing.assert_array_equal(coded, [[-1, -1], [1, 0], [0, 1]])
    np.testing.assert_array_equal(coded.sum(axis=0), 0)


def test_second_order_terms_have_no_square_of_a_category():
    labels = [label(term) for term in second_order([SPEED, PRESSURE, PLATE])]
    assert labels == [
        "intercept",
        "speed",
        "pressure",
        "plate=b",
        "plate=c",
        "speed²",
        "pressure²",
        "speed × pressure",
        "speed × plate=b",
        "speed × plate=c",
        "pressure × plate=b",
        "pressure × plate=c",
    ]


def test_matrix_multiplies_coded_columns():
    design = Design((SPEED, PRESSURE), second_order([SPEED, PRESSURE]))
    matrix = design.matrix(pd.DataFrame({"speed": [120.0], "pressure": [35.0]}))
    np.testing.assert_allclose(matrix, [[1, 1, -0.5, 1, 0.25, -0.5]], atol=1e-14)


def test_new_set_ups_are_coded_with_what_the_trial_taught():
    """A single new row must not become its own range."""
    design = Design((SPEED,), ((), ("speed",)))
    assert design.matrix(pd.DataFrame({"speed": [60.0]}))[0, 1] == pytest.approx(0.0, abs=1e-14)


def test_heredity_asks_for_linear_terms_beside_products():
    assert parents(("speed", "pressure")) == {("speed",), ("pressure",)}
    assert respects_heredity([(), ("speed",), ("speed", "speed")])
    assert not respects_heredity([(), ("speed", "speed")])
    assert not respects_heredity([(), ("speed",), ("speed", "pressure")])
    assert not respects_heredity([("speed",)])


def test_dropping_a_droppable_term_keeps_heredity_and_no_other_does():
    """Over every hereditary set of terms of two factors."""
    every = second_order([SPEED, PRESSURE])
    sets = [set(c) for size in range(7) for c in combinations(every, size) if respects_heredity(c)]
    assert len(sets) > 10
    for terms in sets:
        kept = {t for t in terms if t and respects_heredity(terms - {t})}
        assert set(droppable(tuple(terms))) == kept
