"""What commands say of the demo is what they said before: every number, and every word.

The answers lie in `unchanged/`. Where one is to change, delete its file: the next run writes it, and fails once so that
somebody looks at it.
"""

import json
from pathlib import Path

import pytest

import pwindow as pw
from pwindow.review import provenance
from pwindow.surfaces import fingerprint
from pwindow.workflows import kept
from tests.helpers.commands import answer

pytestmark = pytest.mark.slow

ANSWERS = Path(__file__).with_name("unchanged")
WRITTEN = "an answer was not there; it is written now: look at it, and run the test again"
PASSING = {"added", "decided", "made", "archive"}
"""Keys whose values are of the moment and the place."""
INSTALLED = {"pwindow": "0", "python": "3", "numpy": "2", "scipy": "1", "pandas": "3"}
"""What stands in for the installation, of which fingerprints of fits are too."""

FIRST, TAG, STUDY = (str(pw.demo(name)) for name in ("trial_first.csv", "tag.toml", "study.toml"))
JUDGED = (FIRST, "--product", TAG, "--study", STUDY)
AT = "roll=2047, pressure=50 µm, speed=80 m/min, plate=laser-imaged, plate_width=30 µm, plate_gap=60 µm"
OF_FILES = {
    "check": ("check", FIRST),
    "fit": ("fit", FIRST),
    "predict": ("predict", FIRST, "--at", AT, "--product", TAG),
    "speeds_tag": ("speeds", *JUDGED),
    "speeds_mesh": ("speeds", FIRST, "--product", str(pw.demo("mesh.toml")), "--study", STUDY),
    "speeds_out_of_reach": ("speeds", *JUDGED, "--assurance", "0.999"),
    "review": ("review", *JUDGED),
    "run_sheet": ("run-sheet", *JUDGED),
    "calibrate": ("calibrate", *JUDGED, "--trials", "2"),
}
OF_ARCHIVE = {
    "add_first": ("add", FIRST),
    "add_second": ("add", str(pw.demo("trial_second.csv"))),
    "trials": ("trials",),
    "accept": ("accept", "2", "--reason", "same ink"),
    "refit": ("refit", "--product", TAG, "--study", STUDY),
    "fits": ("fits",),
    "confirm": ("confirm", str(pw.demo("run_tag.csv"))),
    "compare": ("compare", "1"),
    "rolls": ("rolls",),
}
"""In this order, on one archive."""


@pytest.fixture(scope="module", autouse=True)
def remembered():
    """Nothing is: each answer is worked out as a user gets it."""


@pytest.fixture(scope="module", autouse=True)
def installed():
    with pytest.MonkeyPatch.context() as patch:
        for module in (fingerprint, provenance, kept):
            patch.setattr(module, "versions", lambda: INSTALLED)
        yield


@pytest.mark.parametrize("name", OF_FILES)
def test_of_files(name):
    assert is_there(name, answer(*OF_FILES[name])), WRITTEN


def test_of_an_archive(tmp_path):
    answers = {
        name: answer(*asked, "--archive", tmp_path / "trials.db") for name, asked in OF_ARCHIVE.items()
    }
    there = [is_there(*one) for one in answers.items()]
    assert all(there), WRITTEN


def is_there(name, answer):
    """Whether there was an answer before; it is the same as now, then."""
    now, file = lasting(answer), ANSWERS / f"{name}.json"
    if not file.exists():
        file.write_text(json.dumps(now, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
        return False
    same(name, now, json.loads(file.read_text(encoding="utf-8")))
    return True


def lasting(value):
    """An answer without what passes, its numbers to seven digits."""
    if isinstance(value, dict):
        lasts = (key for key, item in value.items() if key not in PASSING or isinstance(item, list))
        return {key: lasting(value[key]) for key in lasts}
    if isinstance(value, list):
        return [lasting(item) for item in value]
    return float(f"{value:.7g}") if isinstance(value, float) else value


def same(where, now, before):
    assert type(now) is type(before) or {type(now), type(before)} == {int, float}, where
    if isinstance(now, dict):
        assert list(now) == list(before), where
        for key, item in now.items():
            same(f"{where}.{key}", item, before[key])
    elif isinstance(now, list):
        assert len(now) == len(before), where
        for at, item in enumerate(now):
            same(f"{where}[{at}]", item, before[at])
    elif isinstance(now, float):
        cancelled = 1e-6 if where.endswith("difference") else 1e-10  # of two numbers that are nearly the same
        assert now == pytest.approx(before, rel=1e-5, abs=cancelled), where
    else:
        assert now == before, where
