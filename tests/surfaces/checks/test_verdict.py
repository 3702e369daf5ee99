"""Three degrees of agreement, by the chance of being as far off, told alike wherever they are told."""

from dataclasses import replace

import pandas as pd
import pytest

import pwindow as pw
from pwindow.cli.archived_answers import agreement_answer
from pwindow.panels.new_trial_data.view import agreement_card
from pwindow.surfaces.agreement.bridge_counts import Bridging
from pwindow.surfaces.agreement.new_trial import hold_against
from pwindow.surfaces.checks.verdict import RULE, Verdict, least_of, verdict_of
from pwindow.wording import METRIC
from pwindow.workflows.adding import comparison_of


@pytest.mark.parametrize(
    "chance, verdict",
    [
        (1.0, "agrees"),
        (0.05, "agrees"),
        (0.0499, "is unusual"),
        (0.01, "is unusual"),
        (0.0099, "does not agree"),
    ],
)
def test_degrees(chance, verdict):
    assert verdict_of(chance) == verdict


def test_the_least_of_several():
    assert least_of([]) is Verdict.AGREES
    assert least_of([Verdict.UNUSUAL, Verdict.AGREES]) is Verdict.UNUSUAL
    assert least_of([Verdict.DIFFERS, Verdict.UNUSUAL]) is Verdict.DIFFERS


@pytest.fixture(scope="module")
def found(demo_surfaces):
    """The demo's first trial beside its own fit: nothing is far off."""
    return hold_against(demo_surfaces, pw.read_trial(pw.demo("trial_first.csv")))


def with_chances(found, shift=0.6, joint=0.6, trend=0.6):
    """The same, each response as far off as such a chance says; the bridged gaps as expected."""
    by_name = {
        name: replace(
            one, shift_p=shift, joint_p=joint, trend=one.trend and replace(one.trend, p=trend, factor="speed")
        )
        for name, one in found.by_name.items()
    }
    return replace(found, by_name=by_name, bridging=None)


@pytest.mark.parametrize(
    "chances, words",
    [
        ({"shift": 0.0101}, "1 % of trials of the same process are as far off"),
        ({"joint": 0.034}, "3.4 % of trials of the same process scatter as much"),
        ({"trend": 0.02}, "2 % of trials of the same process show as strong a trend with speed"),
    ],
)
def test_what_one_trial_in_a_hundred_does_is_unusual_everywhere(found, chances, words):
    told = with_chances(found, **chances)
    assert told.verdict == comparison_of(told).verdict == "is unusual"
    sentence = told.sentences_and_rule()[0]
    assert "is unusual; " in sentence and words in sentence and "agrees" not in sentence
    assert told.sentences_and_rule()[-1] == comparison_of(told).sentences[-1] == RULE
    card = agreement_card(told, METRIC)
    assert ">Unusual<" in card and "How this is judged" in card
    answer = agreement_answer(told)
    assert (answer["agrees"], answer["degree"], answer["verdict"]) == (False, "is unusual", "is unusual")


def test_the_two_other_degrees(found):
    agrees, differs = with_chances(found), with_chances(found, shift=0.009)
    assert agrees.verdict == "agrees" and "trials of the same process" not in " ".join(agrees.sentences())
    assert ">Agrees<" in agreement_card(agrees, METRIC) and agreement_answer(agrees)["agrees"]
    assert differs.verdict == "does not agree" and ">Does not agree<" in agreement_card(differs, METRIC)


def test_bridged_gaps_by_the_same_rule(found):
    cells = pd.DataFrame(
        {
            "print": [found.trial.prints.index[0]],
            "inspected": [20],
            "bridged": [3],
            "expected": [1.0],
            "p": [0.2],
        }
    )
    unusual = Bridging(cells, 0, 2, 0.03)
    assert unusual.verdict is Verdict.UNUSUAL
    assert unusual.sentence().endswith("unusual; 3 % of trials of the same process are as far off by chance")
    assert replace(with_chances(found), bridging=unusual).verdict == "is unusual"
