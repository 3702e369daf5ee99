"""What the counts of prints show by themselves."""

import pandas as pd
import pytest
from scipy.stats import binom

from pwindow.window.run.requirements_met import Counted, least_share


@pytest.mark.parametrize(
    ("made", "share", "confidence"), [(22, 0.9, 0.9), (29, 0.9, 0.95), (45, 0.95, 0.9), (59, 0.95, 0.95)]
)
def test_prints_without_a_failure(made, share, confidence):
    """The least numbers that show a share: ln(1 - confidence) / ln(share), rounded up."""
    assert least_share(made, made, confidence) >= share > least_share(made - 1, made - 1, confidence)


@pytest.mark.parametrize(("conforming", "made"), [(7, 8), (20, 24), (1, 3)])
def test_a_share_at_the_bound_gives_as_many_with_the_chance_that_is_left(conforming, made):
    share = least_share(conforming, made, 0.95)
    assert binom.sf(conforming - 1, made, share) == pytest.approx(0.05)
    assert least_share(0, made, 0.95) == 0.0


def met(*rows):
    return pd.DataFrame(rows, columns=["print", "requirement", "met"])


ROWS = met(
    ("a", "gap", True), ("a", "line_width", False), ("b", "gap", True), ("c", "gap", True), ("d", "gap", True)
)


def test_a_make_ready_counts_once_and_only_if_all_its_prints_conform():
    found = Counted.of(ROWS, pd.Series({"a": "M1", "b": "M1", "c": "M2", "d": "M2", "e": "M3"}))
    assert (found.prints, found.conforming, found.make_readies, found.all_conforming) == (4, 3, 2, 1)
    assert found.share_at_least == pytest.approx(1.0 - 0.95**0.5)
    assert found.sentence == (
        "3 of 4 prints meet every requirement that was measured; with 2 make-readies, these counts alone show with 95 % "
        "confidence that at least 2.5 % of make-readies would meet them"
    )


def test_prints_whose_make_ready_is_not_recorded_count_by_themselves_and_say_so():
    found = Counted.of(ROWS[1:], pd.Series({"a": None, "b": None, "c": None, "d": None}, dtype=object))
    assert found.make_readies == 4 and "if each had a make-ready of its own" in found.sentence


def test_counts_that_show_nothing_say_so():
    found = Counted.of(ROWS[:2], pd.Series({"a": "M1"}))
    assert found.share_at_least == 0.0
    assert found.sentence.endswith(
        "with 1 make-ready, these counts alone do not show how many would meet them"
    )
