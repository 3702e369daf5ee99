"""What objects are at a glance: one line, and a small table in a notebook."""

import dataclasses
import re
from html.parser import HTMLParser

import pytest

import pwindow as pw
from pwindow.overview import Overview
from pwindow.study import Roll
from pwindow.trials.archive import Archive
from pwindow.window.bands import SpeedBand
from tests.helpers.archives import archive_address
from tests.helpers.words import plain

NASTY = "<b>x</b>\n" + "n" * 300
COLOUR = re.compile(r"#[0-9a-f]{3}|rgb|hsl|colou?r|background", re.IGNORECASE)


@pytest.fixture(scope="module")
def seen(demo_trial, demo_surfaces, tag, study, tag_window):
    return {
        "Trial": demo_trial,
        "Surfaces": demo_surfaces,
        "Product": tag,
        "Study": study,
        "Window": tag_window,
    }


@pytest.fixture(scope="module")
def badly_named(demo_trial, demo_surfaces, tag, tag_window):
    """The same with names that are long, hold markup and break lines."""
    trial = dataclasses.replace(demo_trial, files=(NASTY, NASTY))
    product = dataclasses.replace(
        tag, name=NASTY, pattern=dataclasses.replace(tag.pattern, plate=f"plate {NASTY}")
    )
    study = pw.Study(NASTY, (Roll(NASTY, 4.4),))
    surfaces = dataclasses.replace(demo_surfaces, trial=trial, terms="bending", left_out=("pressure²",) * 9)
    patterns = {f"plate {NASTY}": tag_window.patterns["laser-imaged"]}
    window = dataclasses.replace(
        tag_window, surfaces=surfaces, product=product, study=study, patterns=patterns
    )
    return {"Trial": trial, "Surfaces": surfaces, "Product": product, "Study": study, "Window": window}


KINDS = ("Trial", "Surfaces", "Product", "Study", "Window")


@pytest.mark.parametrize("kind", KINDS)
def test_a_repr_is_one_short_line(kind, seen, badly_named):
    for each in (seen[kind], badly_named[kind]):
        line = repr(each)
        assert len(line) < 120
        assert line.isprintable()
        assert line.startswith(f"<{kind}") and line.endswith(">")


def test_lines_say_what_a_person_needs(seen):
    fit = seen["Surfaces"].fingerprint
    assert repr(seen["Trial"]) == "<Trial trial_first.csv: 65 prints in 18 make-readies, pressure in µm>"
    assert repr(seen["Surfaces"]) == (
        f"<Surfaces: fit {fit}, 65 prints, second order, line height, line width, resistivity, gap closure>"
    )
    assert repr(seen["Window"]) == (
        f"<Window of Grain moisture tag: fit {fit}, 6 rolls, assurance 95 %, plate laser-imaged>"
    )


def test_several_files_and_what_is_not_recorded(demo_trial):
    several = pw.read_trial([pw.demo("trial_first.csv"), pw.demo("trial_second.csv")])
    assert repr(several).startswith("<Trial trial_first.csv and 1 more: 89 prints in 26 make-readies")
    unrecorded = dataclasses.replace(demo_trial, features=demo_trial.features.assign(make_ready=None))
    assert "65 prints, make-readies not recorded" in repr(unrecorded)


def test_a_trial_of_an_archive_reads_the_same(demo_trial, tmp_path):
    with archive_address("sqlite", tmp_path, filled=True) as address:
        assert repr(Archive(address).trial([1])) == repr(demo_trial)


def test_forms_are_told_apart(demo_surfaces):
    told = {repr(dataclasses.replace(demo_surfaces, terms=form)) for form in ("all", "chosen", "bending")}
    assert len({re.sub("fit [0-9a-f]+", "", line) for line in told}) == 3
    assert "without pressure²" in repr(dataclasses.replace(demo_surfaces, left_out=("pressure²",)))


def test_nothing_is_searched_or_fitted(seen, monkeypatch):
    def refused(*given, **named):
        raise AssertionError("an overview must not compute")

    monkeypatch.setattr("pwindow.window.window.speed_bands", refused)
    monkeypatch.setattr("pwindow.window.conformance.conformance_probability", refused)
    monkeypatch.setattr(SpeedBand, "of", refused)
    for each in seen.values():
        assert repr(each) and each._repr_html_()


class Tags(HTMLParser):
    def __init__(self):
        super().__init__()
        self.seen, self.text = set(), ""

    def handle_starttag(self, tag, attrs):
        self.seen.add(tag)

    def handle_data(self, data):
        self.text += data


@pytest.mark.parametrize("kind", KINDS)
def test_html_escapes_names(kind, seen, badly_named):
    for each in (seen[kind], badly_named[kind]):
        parser = Tags()
        parser.feed(each._repr_html_())
        assert parser.seen == {"div", "strong", "table", "tbody", "tr", "th", "td"}
    assert kind == "Surfaces" or "<b>x</b>" in parser.text


@pytest.mark.parametrize("kind", KINDS)
def test_html_is_small_and_has_no_colours(kind, seen):
    html = seen[kind]._repr_html_()
    assert html.count("<tr>") <= 6
    assert not COLOUR.search(html)


def test_html_gives_limits_and_tolerances(tag):
    html = tag._repr_html_()
    assert "line resistance at most 330 Ω" in plain(html)
    assert "speed ±2 %, pressure ±5 µm" in plain(html)
    exact = dataclasses.replace(tag, assurance=dataclasses.replace(tag.assurance, speed_tolerance=0.0))
    assert "speed ±" not in exact._repr_html_()


def test_what_does_not_fit_is_left_off():
    line = Overview("Window", "", tuple(f"fact {at}" for at in range(40)), {}).line
    assert line.startswith("<Window: fact 0, fact 1") and line.endswith("…>")
