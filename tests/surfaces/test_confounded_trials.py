"""Trials that cannot carry a surface: what is said, and that the suggested prints mend it."""

import re
from itertools import product

import numpy as np
import pandas as pd
import pytest

import pwindow as pw
from pwindow.errors import SurfaceProblem
from pwindow.surfaces.model.terms import label
from pwindow.surfaces.single.surface import fit_surface
from pwindow.surfaces.single.term_selection import choose_terms, independent_terms, make_design
from tests.helpers.cells import line_height, make_cells, respects_heredity

FULL = list(product((30, 60, 120), (2, 4, 8), (20, 50, 80)))
TWO_PRESSURES = [s for s in FULL if s[2] != 50]
ROLL_FOLLOWS_SPEED = [(30 * k, 2 * k, p) for k in (1, 2, 4) for p in (20, 50, 80)] * 3
BOTH = [s for s in ROLL_FOLLOWS_SPEED if s[2] != 50]
ONE_PRESSURE_TERMS_APART = [s for s in FULL if s[0] != 60] + [s for s in FULL if s[0] != 60]


def refusal(data) -> str:
    with pytest.raises(SurfaceProblem) as caught:
        make_design(data, [])
    return str(caught.value)


def named_groups(message: str) -> list[set[str]]:
    """Terms that the message says cannot be separated, group by group."""
    text = re.search(r"cannot separate the terms (.*?)\. Add prints", message).group(1)
    return [set(group.split(" and ")) for group in text.split("; nor ")]


def suggested(message: str) -> pd.DataFrame:
    """Set-ups that the message suggests to print."""
    text = re.search(r"Add prints at: (.*?)\. Or leave", message).group(1)
    pairs = [[item.rsplit(" ", 1) for item in one.split(", ")] for one in text.split("; ")]
    return pd.DataFrame([dict(setup) for setup in pairs])


@pytest.mark.parametrize(
    "set_ups, groups",
    [
        (TWO_PRESSURES, [{"intercept", "pressure²"}]),
        (ROLL_FOLLOWS_SPEED, [{"speed", "cell_volume"}, {"speed × pressure", "cell_volume × pressure"}]),
        (BOTH, [{"intercept", "pressure²"}, {"speed", "cell_volume"}]),
        (ONE_PRESSURE_TERMS_APART, [{"intercept", "speed²"}]),
    ],
    ids=["two pressures", "roll follows speed", "both", "two speeds"],
)
class TestRefusal:
    def test_names_the_terms(self, set_ups, groups):
        named = named_groups(refusal(line_height(make_cells(set_ups))))
        for group in groups:
            assert group in named

    def test_names_only_terms_that_really_are_confounded(self, set_ups, groups):
        """Each named group is linearly dependent on the trial's prints."""
        cells = make_cells(set_ups)
        whole = make_design(line_height(make_cells(FULL)), [])
        for group in named_groups(refusal(line_height(cells))):
            terms = [term for term in whole.terms if label(term) in group]
            assert len(terms) == len(group)
            assert np.linalg.matrix_rank(whole.keeping(terms).matrix(cells)) < len(terms)

    def test_suggested_prints_cure_it(self, set_ups, groups):
        extra = suggested(refusal(line_height(make_cells(set_ups)))).astype(float)
        mended = line_height(make_cells([*set_ups, *extra.itertuples(index=False, name=None)]))
        assert len(make_design(mended, []).terms) == 10

    def test_no_fewer_prints_would_do(self, set_ups, groups):
        extra = suggested(refusal(line_height(make_cells(set_ups)))).astype(float)
        kept = list(extra.itertuples(index=False, name=None))[:-1]
        refusal(line_height(make_cells([*set_ups, *kept])))


def test_plates_tied_to_pressure_are_named_and_cured():
    cells = make_cells(FULL, plate=["a", "b", "c"] * 9)
    message = refusal(line_height(cells))
    assert any({"pressure", "plate=c"} <= group for group in named_groups(message))
    extra = suggested(message)
    numbers = extra[["speed", "cell_volume", "pressure"]].astype(float)
    more = make_cells(numbers).assign(plate=extra["plate"], print=[f"X{at}" for at in range(len(extra))])
    design = make_design(line_height(pd.concat([cells, more], ignore_index=True)), [])
    assert {"plate=b", "plate=c"} <= set(design.labels)


def test_too_few_prints_say_how_many_are_needed():
    """Ten prints determine the ten terms exactly and leave nothing to judge them by."""
    ten = [
        (30, 2, 20),
        (120, 8, 80),
        (60, 4, 50),
        (30, 8, 20),
        (60, 2, 80),
        (120, 4, 20),
        (30, 4, 80),
        (120, 2, 50),
        (60, 8, 20),
        (30, 2, 50),
    ]
    message = refusal(line_height(make_cells(ten)))
    assert "10 prints are too few for a surface of 10 terms" in message
    assert "at least 11 prints" in message
    assert len(make_design(line_height(make_cells([*ten, (60, 4, 50)])), []).terms) == 10


def test_repeated_set_up_does_not_stand_for_another():
    """Forty prints at two pressures still do not tell the curvature."""
    assert "pressure²" in refusal(line_height(make_cells(TWO_PRESSURES * 3)))


def test_setting_that_never_varied_is_no_term():
    design = make_design(line_height(make_cells([s for s in FULL if s[2] == 50] * 2)), [])
    assert not any("pressure" in name for name in design.labels)
    assert len(design.terms) == 6


def test_covariate_tied_to_the_plate_is_left_out_and_said():
    cells = make_cells(FULL * 2, plate=["a"] * 27 + ["b"] * 27, plate_width=[30.0] * 27 + [50.0] * 27)
    notes = []
    design = make_design(line_height(cells), notes)
    assert "plate=b" in design.labels and not any("plate_width" in name for name in design.labels)
    assert any("plate width cannot be separated" in note for note in notes)


def test_covariate_that_is_missing_for_some_prints_is_not_used():
    cells = make_cells(FULL * 2, plate_width=[30.0, 40.0, np.nan] * 18)
    notes = []
    assert not any("plate_width" in name for name in make_design(line_height(cells), notes).labels)
    assert any("plate width is missing for some prints" in note for note in notes)


def test_prints_to_spare_are_kept():
    """Terms of a covariate come in only while ten prints more than terms remain."""
    few = make_cells(FULL, plate=(["a", "b"] * 14)[:27])
    design = make_design(line_height(few), [])
    assert len(design.terms) <= 27 - 10
    many = make_cells(FULL * 2, plate=["a"] * 27 + ["b"] * 27)
    assert "pressure × plate=b" in make_design(line_height(many), []).labels


def test_independent_terms_keep_heredity_and_rank():
    whole = make_design(line_height(make_cells(FULL)), [])
    matrix = whole.matrix(make_cells(BOTH))
    kept = independent_terms(whole, matrix)
    assert respects_heredity(kept.terms)
    assert np.linalg.matrix_rank(kept.matrix(make_cells(BOTH))) == len(kept.terms)
    assert len(kept.terms) == np.linalg.matrix_rank(matrix)


def aicc(surface) -> float:
    """n ln(RSS/n) + 2k + 2k(k + 1)/(n - k - 1), k counting the variance."""
    n, k = len(surface.cells), len(surface.design.terms) + 1
    return n * np.log(surface.solution.ssr / n) + 2 * k + 2 * k * (k + 1) / (n - k - 1)


def test_chosen_terms_are_as_good_as_any_with_one_fewer():
    """The invented response is linear in log speed and log volume; most squares are noise."""
    data = line_height(make_cells(FULL))
    whole = make_design(data, [])
    chosen = choose_terms(data, whole)
    assert respects_heredity(chosen.terms)
    assert {"speed", "cell_volume"} <= set(chosen.labels) and len(chosen.terms) < len(whole.terms)
    best = aicc(fit_surface(data, chosen))
    assert best < aicc(fit_surface(data, whole))
    for gone in chosen.terms[1:]:
        fewer = chosen.keeping([term for term in chosen.terms if term != gone])
        if respects_heredity(fewer.terms):
            assert aicc(fit_surface(data, fewer)) >= best


@pytest.mark.slow
def test_what_goes_with_a_term_left_out_is_said(demo_trial):
    surfaces = pw.fit(demo_trial, leave_out=["pressure"])
    notes = [note for note in surfaces.notes if note.startswith("line height: left out with")]
    assert len(notes) == 1
    assert all(term in notes[0] for term in ("pressure²", "speed × pressure", "cell volume × pressure"))
