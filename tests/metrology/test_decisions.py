"""Decisions about scans: what is stored of them, and when they hold."""

from dataclasses import replace

import numpy as np
import pytest

from pwindow.errors import UnusableInput
from pwindow.inputs import InputFile
from pwindow.metrology.decisions import (
    Decisions,
    Verdict,
    decision_on,
    excluded_apart,
    read_decisions,
    read_stretches,
)
from pwindow.metrology.instruments import INSTRUMENTS
from pwindow.metrology.scans import measure_scan
from pwindow.metrology.topography import Topography
from tests.helpers.profiles import across, parabola

OPTICAL = INSTRUMENTS["optical"]


def scan(name="A-001.csv", digest="a", profile="", **how):
    made = across(parabola, **how)
    label = f"{name}: {profile}" if profile else name
    return replace(made, name=label, file=name, sha256=64 * digest, profile=profile)


def reread(decisions):
    return read_decisions(InputFile("tag.decisions.toml", decisions.text().encode()))


def test_what_is_written_is_read_again():
    one, other, third = scan(), scan("B “ä”\x7f\n.csv", "b", "trace 2"), scan("C.csv", "c")
    decisions = Decisions().taking(
        decision_on(one, Verdict.EXCLUDED, ' dust, "thick" \\ and wide'),
        decision_on(other, Verdict.ACCEPTED, film=[(0.0, 40.25), (720.0, 800.0)]),
        decision_on(third, None, film=[(0.0, 40.0)]),
    )
    assert dict(reread(decisions).by_key) == dict(decisions.by_key)
    assert decisions.on(one).words() == 'excluded: dust, "thick" \\ and wide'
    assert decisions.on(other).words() == "accepted; levelled on 0 to 40.25 µm, 720 to 800 µm"


def test_a_decision_belongs_to_the_bytes_of_a_scan():
    one = scan(profile="trace 1")
    decisions = Decisions().taking(decision_on(one, Verdict.EXCLUDED, "dust"))
    renamed = replace(one, file="first.csv", name="first.csv: trace 1")
    assert decisions.on(renamed) is decisions.on(one)
    assert decisions.on(scan(profile="trace 2")) is None
    changed = scan(digest="b", profile="trace 1")
    assert decisions.on(changed) is None and decisions.outdated([changed]) == ("A-001.csv",)
    assert decisions.outdated([one, renamed]) == ()


def test_a_decision_about_a_profile_that_the_file_does_not_hold_is_told():
    held = [scan(profile="z1"), scan(profile="z2")]
    whole = Decisions().taking(decision_on(scan(), Verdict.EXCLUDED, "dust"))
    assert whole.not_holding(held) == (
        "A-001.csv: “excluded: dust” was decided without naming a profile, and it holds profiles “z1”, “z2”: name one of "
        "them; that decision is not used",
    )
    other = Decisions().taking(decision_on(scan(profile="z3"), Verdict.ACCEPTED))
    assert "“accepted” was decided of its profile “z3”" in other.not_holding(held)[0]
    good = Decisions().taking(decision_on(held[0], Verdict.ACCEPTED))
    assert good.not_holding(held) == () and other.not_holding([scan(digest="b", name="B.csv")]) == ()


def test_later_decisions_replace_earlier_ones_and_are_undone_one_by_one():
    one, other = scan(), scan("B.csv", "b")
    decisions = Decisions().taking(
        decision_on(one, Verdict.EXCLUDED, "dust"), decision_on(other, Verdict.EXCLUDED, "a scratch")
    )
    again = decisions.taking(decision_on(one, Verdict.ACCEPTED))
    assert len(again) == 2 and excluded_apart([one, other], again) == ([one], [other])
    assert excluded_apart([one, other], again.undoing(again.on(other))) == ([one, other], [])
    assert len(decisions) == 2, "what was decided before is as it was"


def test_a_stated_film_is_what_a_profile_is_levelled_on():
    """On a film that turns up at one end, levelling on the stretches beside one line gives its height above the film beside it."""
    made = scan(centres=(200.0, 400.0, 600.0))
    bent = replace(made, z=made.z + 1.2 * (made.x / 800.0) ** 6)
    decision = decision_on(bent, None, film=read_stretches("130 to 165, 235 to 270"))
    found = measure_scan(bent, OPTICAL, decision)
    ends = [end for region in found.levelled.regions for end in region]
    assert ends == pytest.approx([130.0, 165.0, 235.0, 270.0], abs=0.5)
    assert found.lines[0].height.value == pytest.approx(0.7, abs=2e-3)
    assert any("is the film bent?" in note for note in measure_scan(bent, OPTICAL).notes)


@pytest.mark.parametrize(
    "how, said",
    [
        ({"verdict": Verdict.EXCLUDED, "reason": "  "}, "needs a reason"),
        (
            {"verdict": None, "film": [(900.0, 950.0)]},
            "no point of it lies in 900 to 950 µm; it runs from 0 to 800",
        ),
        ({"verdict": Verdict.EXCLUDED, "reason": 300 * "x"}, "at most 200 characters"),
    ],
)
def test_what_cannot_be_decided_is_refused(how, said):
    with pytest.raises(UnusableInput, match=said):
        decision_on(scan(), **how)


def test_the_film_of_a_topography_is_found():
    map_ = Topography(name="map.x3p", z=np.zeros((9, 9)), dx=1.0, dy=1.0, file="map.x3p", sha256=64 * "a")
    assert decision_on(map_, Verdict.EXCLUDED, "out of focus").excluded
    with pytest.raises(UnusableInput, match="always found"):
        decision_on(map_, None, film=[(0.0, 4.0)])


GOOD = f'[[scan]]\nfile = "a.csv"\nsha256 = "{64 * "a"}"\n'


@pytest.mark.parametrize(
    "text, said",
    [
        ("scan = 3", r"write each decision as a table \[\[scan\]\]"),
        (GOOD.replace("aaa", "xyz"), "64 hexadecimal digits"),
        (GOOD + 'decision = "perhaps"', "“perhaps” must be accepted or excluded"),
        (GOOD + 'decision = "excluded"', "an excluded scan needs a reason"),
        (GOOD + 'bare_film = "40 to 0 µm"', "the second number must be larger"),
        (GOOD + 'bare_film = "left of it"', "is no stretch; write it like “0 to 40 µm”"),
        (GOOD + 'bare_film = "0 to 40 kg"', "kg"),
        (GOOD + "reason = 3", "must be a text"),
        (GOOD + 'verdict = "accepted"', "“verdict” is not recognised"),
        (GOOD + GOOD, "two decisions on “a.csv”"),
        ("[[scan", "not a TOML file"),
    ],
)
def test_files_that_are_no_decisions_are_refused(text, said):
    with pytest.raises(UnusableInput, match=said):
        read_decisions(InputFile("d.toml", text.encode()))
