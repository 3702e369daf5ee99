"""The demo's profiles: what was put into them is measured, within the uncertainty that is stated."""

import importlib.util

import pandas as pd
import pytest

import pwindow as pw
from pwindow.metrology.features import measure
from pwindow.metrology.plates import measure_plate
from pwindow.metrology.reading import read_traces


@pytest.fixture(scope="module")
def trial():
    return pd.read_csv(pw.demo("trial_first.csv"), dtype={"roll": str})


@pytest.fixture(scope="module")
def measured():
    paths = sorted(pw.demo("scans").glob("*.csv"))
    return {(path.stem[:5], int(path.stem[6:])): measure(read_traces(path)[0]) for path in paths}


def test_the_folder_is_the_one_its_script_makes(tmp_path, monkeypatch):
    spec = importlib.util.spec_from_file_location("make_scans", pw.demo("make_scans.py"))
    script = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(script)
    (tmp_path / "trial_first.csv").write_bytes(pw.demo("trial_first.csv").read_bytes())
    monkeypatch.setattr(script, "HERE", tmp_path)
    script.main()
    for folder in ("scans", "scans_plate"):
        made = {path.name: path.read_text("utf-8") for path in (tmp_path / folder).iterdir()}
        assert made == {path.name: path.read_text("utf-8") for path in pw.demo(folder).iterdir()}
    assert (tmp_path / "scans_runs.csv").read_text() == pw.demo("scans_runs.csv").read_text()


def test_lines_and_gaps_are_those_of_the_trial(measured, trial):
    off = []
    for (name, plate_gap), found in measured.items():
        if found.bridged:
            continue
        own = trial[trial["print"] == name]
        lines = own.dropna(subset=["line_height [um]"])
        gaps = own[own["plate_gap [um]"] == plate_gap]["gap [um]"]
        assert (len(found.lines), len(found.gaps)) == (4, 3)
        for one, (_, row) in zip(found.lines, lines.iterrows()):
            off.append((one.width.value - row["line_width [um]"]) / one.width.error)
            off.append((one.height.value - row["line_height [um]"]) / one.height.error)
        off += [(one.width.value - gap) / one.width.error for one, gap in zip(found.gaps, gaps)]
    assert len(off) == 5 * 11
    assert sum(abs(one) < 2.0 for one in off) >= 0.93 * len(off)


def test_plates_are_those_that_were_made():
    """All widths, depths, lips and radii together: most within two uncertainties; lip to lip, a base of 14 µm."""
    off = []
    for plate, depth, lip in (("laser-imaged", 10.0, 0.6), ("film-imaged", 22.0, 1.5)):
        gaps = measure_plate(read_traces(pw.demo(f"scans_plate/{plate}_gaps.csv"))[0])
        lines = measure_plate(read_traces(pw.demo(f"scans_plate/{plate}_lines.csv"))[0])
        known = [(line.width, 150.0) for line in gaps.lines]
        for gap in gaps.gaps:
            known += [(gap.width, 60.0), (gap.depth, depth), (gap.lip_width, 74.0)]
            known += [(one.height, lip) for one in gap.lips]
        if plate == "film-imaged":
            known += [(line.radius, 45.0) for line in lines.lines]
        else:
            known += [(line.width, 30.0) for line in lines.lines]
            assert all(line.radius is None for line in lines.lines)
        off += [(value.value - truth) / value.error for value, truth in known]
    assert len(off) == 2 * (3 + 4 * 5 + 3)
    assert sum(abs(one) < 2.0 for one in off) >= 0.93 * len(off)


def test_what_is_special_about_a_profile_is_found(measured):
    assert measured["A-002", 75].levelled.slope == pytest.approx(0.015, abs=1e-5)
    assert measured["A-004", 75].levelled.noise == pytest.approx(0.03 * 0.459, rel=0.1)
    assert sum(one.line.interpolated > 0 for one in measured["A-005", 75].lines) == 2
    assert {len(one.line.ridges) for one in measured["A-006", 75].lines} == {2}
    assert measured["A-010", 45].bridged == 3 and not measured["A-010", 45].gaps
