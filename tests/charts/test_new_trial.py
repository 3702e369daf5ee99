"""Pictures of a new trial: against what was predicted, and the window before and after."""

import dataclasses

import numpy as np
import pytest

import pwindow as pw
from pwindow.charts.agreement import agreement_figure
from pwindow.charts.before_after import before_after_figure
from pwindow.inputs import InputFile
from pwindow.surfaces.agreement.new_trial import hold_against
from pwindow.trials.archive import Archive
from pwindow.workflows.compare import windows_side_by_side
from pwindow.workflows.kept import refit

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def agreement(demo_surfaces):
    return hold_against(demo_surfaces, pw.read_trial(pw.demo("trial_second.csv")))


def test_every_mean_is_drawn_and_those_outside_are_marked(agreement):
    figure = agreement_figure(agreement)
    marks = [trace for trace in figure.data if trace.mode == "markers"]
    assert [len(trace.x) for trace in marks] == [len(one.cells) for one in agreement.by_name.values()]
    for trace, one in zip(marks, agreement.by_name.values()):
        assert trace.marker.symbol.count("diamond") == (~one.cells["inside"]).sum()
    assert [note.text for note in figure.layout.annotations] == [
        "line height, µm", "line width, µm", "resistivity, µΩ·cm", "gap closure, µm"
    ]  # fmt: skip
    assert f"fit {agreement.against}" in figure.layout.title.text
    np.testing.assert_allclose(
        marks[2].y, 1e8 * agreement.by_name["resistivity"].cells["measured"], rtol=1e-12
    )


def test_names_from_files_are_escaped(agreement):
    one = agreement.by_name["line_height"]
    named = dataclasses.replace(one, cells=one.cells.assign(print="<b>A</b>"))
    trial = dataclasses.replace(agreement.trial, files=("<i>x</i>.csv",))
    figure = agreement_figure(dataclasses.replace(agreement, trial=trial, by_name={"line_height": named}))
    assert "<i>" not in figure.layout.title.text and "&lt;i&gt;" in figure.layout.title.text
    assert figure.data[1].customdata[0] == "&lt;b&gt;A&lt;/b&gt;"


@pytest.fixture(scope="module")
def shown(tmp_path_factory):
    archive = Archive(str(tmp_path_factory.mktemp("archive") / "trials.db"))
    tag = [InputFile.of(pw.demo("tag.toml"))]
    archive.add(InputFile.of(pw.demo("trial_first.csv")), "same process", "first")
    one = refit(archive, tag)
    archive.add(InputFile.of(pw.demo("trial_second.csv")), "changed process", "new ink")
    other = refit(archive, tag)
    return windows_side_by_side(archive, one, other), one, other


def test_before_and_after_are_the_windows_of_both_fits(shown):
    side_by_side, one, other = shown
    for spot, kept in zip(side_by_side.recommended, (one, other)):
        (said,) = kept.answer["products"].values()
        assert spot[0] == said["recommended"]["speed_m_min"]
    assert (side_by_side.product, side_by_side.plate, side_by_side.pressure) == (
        "Grain moisture tag",
        "laser-imaged",
        50.0,
    )
    # lower lines conduct less: the window shrinks
    before, after = (
        np.nanmean(window.held >= side_by_side.assurance.level)
        for window in (side_by_side.before, side_by_side.after)
    )
    assert after < before


def test_outlines_and_recommendations_are_drawn(shown):
    figure = before_after_figure(shown[0])
    outlines = [trace for trace in figure.data if trace.type == "contour"]
    assert [trace.name for trace in outlines] == ["before", "after"]
    assert {trace.contours.start for trace in outlines} == {0.95}
    texts = [
        trace.text[0].strip()
        for trace in figure.data
        if trace.type == "scatter" and trace.mode == "markers+text"
    ]
    assert texts == [
        f"{name}: {spot[0]:g} m/min" for name, spot in zip(("before", "after"), shown[0].recommended)
    ]
