"""Scans by what was scanned, told apart where their files are called alike, and prepared before a page asks."""

from dataclasses import replace
from io import StringIO

import numpy as np
import pandas as pd
import pytest

from pwindow import study
from pwindow.cli.traced import trace as command
from pwindow.inputs import InputFile
from pwindow.metrology.decisions import Verdict, decision_on
from pwindow.metrology.foot import FOOT_RULES, THREE_DEVIATIONS
from pwindow.metrology.instruments import INSTRUMENTS
from pwindow.workflows.scan_kinds import KINDS, PLATE, PRINT
from pwindow.workflows.scan_tables import edge_rule, feature_table, to_look_at, values
from pwindow.workflows.scanned import ScanSet, given_scans, prepared_scans
from tests.helpers.profiles import across, parabola, plate


def file_of(trace, name="a.csv", head=""):
    rows = ["x [µm],z [nm]", *(f"{x:.3f},{1e3 * z:.2f}" for x, z in zip(trace.x, trace.z))]
    return InputFile(name, (head + "\n".join(rows)).encode())


def print_file(height=0.7, **named):
    return file_of(across(parabola, height=height), **named)


@pytest.fixture(autouse=True)
def server(monkeypatch):
    """A server that was started on the demo, without an archive."""
    for name in ("PWINDOW_SCANS", "PWINDOW_TRIAL", "PWINDOW_ARCHIVE", "PWINDOW_SHARED", "PWINDOW_STUDY"):
        monkeypatch.delenv(name, raising=False)


def test_the_command_offers_the_kinds_and_instruments_that_there_are():
    offered = {
        one.name: one.type.choices for one in command.params if one.name in ("of", "instrument", "foot")
    }
    assert {name: set(choices) for name, choices in offered.items()} == {
        "of": set(KINDS),
        "instrument": set(INSTRUMENTS),
        "foot": set(FOOT_RULES),
    }
    assert set(study.INSTRUMENTS) == set(INSTRUMENTS) and set(study.FEET) == set(FOOT_RULES)


def test_a_scan_list_names_prints_and_what_else_is_known():
    listed = InputFile("list.csv", b"scan,print,plate_gap [um]\na.csv,A-1,75\nb.csv,A-2,75\n")
    found = ScanSet.of([print_file(), listed])
    assert "b.csv" in found.warnings()[0]
    rows = pd.read_csv(StringIO(found.rows()))
    assert set(rows["print"]) == {"A-1"} and set(rows["plate_gap [um]"]) == {75}


def test_a_study_says_where_feet_lie_and_how_files_are_called():
    noisy = file_of(across(parabola, noise=0.01), name="A-3_x.csv")
    stated = study.ScansStated(foot="three-deviations", instrument="stylus", names="{print}_*.csv")
    found = ScanSet.of([noisy], stated=stated)
    assert found.instrument.name == "stylus" and found.rule == THREE_DEVIATIONS
    rows = pd.read_csv(StringIO(found.rows()))
    assert set(rows["print"]) == {"A-3"} and set(rows["foot_rule"]) == {THREE_DEVIATIONS.words}
    tenth = replace(found, rule=FOOT_RULES["tenth"])
    assert not tenth.measured, "it is measured again for another foot"
    assert (
        tenth.outcome(tenth.scans[0]).lines[0].width.value
        < found.outcome(found.scans[0]).lines[0].width.value
    )


def test_files_of_one_name_are_numbered_and_keep_their_own_decisions():
    scans = ScanSet.of([print_file(0.5), print_file(0.6), print_file(0.7), print_file(0.5)])
    assert [scan.name for scan in scans.scans] == ["a.csv", "a.csv (2)", "a.csv (3)"]
    assert {scan.file for scan in scans.scans} == {"a.csv"}
    (said,) = scans.warnings()
    assert said.startswith("3 different files are named a.csv") and "“a.csv (3)”" in said
    decided = scans.deciding(decision_on(scans.scans[1], Verdict.ACCEPTED))
    assert [decided.decisions.on(scan) is not None for scan in decided.scans] == [False, True, False]
    alone = ScanSet.of([print_file(0.6)])
    assert decided.decisions.on(alone.scans[0]).verdict is Verdict.ACCEPTED, "whatever it is listed as"


def test_profiles_of_files_of_one_name_are_numbered_by_file():
    def of(height):
        made = across(parabola, height=height)
        rows = [f"{x:.3f},{z:.5f},{2 * z:.5f}" for x, z in zip(made.x, made.z)]
        return InputFile("both.csv", "\n".join(["x [µm],z1 [µm],z2 [µm]", *rows]).encode())

    names = [scan.name for scan in ScanSet.of([of(0.5), of(0.6)]).scans]
    assert names == ["both.csv: z1", "both.csv: z2", "both.csv: z1 (2)", "both.csv: z2 (2)"]


def test_one_file_and_another_of_its_name_give_rows_of_both_prints():
    scans = ScanSet.of([print_file(0.5, head="print: P-1\n"), print_file(0.6, head="print: P-2\n")])
    rows = scans.rows().splitlines()
    assert {row.split(",")[0] for row in rows[1:]} == {"P-1", "P-2"}


def test_scans_are_of_the_kind_that_they_say():
    files = [
        print_file(name="p.csv", head="print: P-1\n"),
        file_of(plate(), "q.csv", "plate_id: film\n"),
        print_file(name="r.csv"),
    ]
    scans = ScanSet.of(files)
    assert scans.kind is PRINT and [scan.name for scan in scans.scans] == ["p.csv", "r.csv"]
    assert [scan.name for scan in scans.of_kind(PLATE)] == ["q.csv", "r.csv"]
    assert ScanSet.of(files[1:2]).kind is PLATE, "where there are only plates"
    assert ScanSet().with_files(files[1:2]).kind is PLATE


def test_a_deep_plate_is_refused_as_a_print_and_measured_as_a_plate():
    deep = plate(
        depth=400.0, gap=500.0, centres=(1000.0, 2000.0, 3000.0), length=4000.0, wall=8.0, noise=0.05
    )
    scans = ScanSet.of([file_of(deep)])
    why = scans.outcome(scans.scans[0])
    assert "heights differ by" in why and "measure a plate as a plate" in why
    found = replace(scans, kind=PLATE).outcome(scans.scans[0])
    assert len(found.gaps) == 3 and values(found)["gap depth"] == pytest.approx([400.0] * 3, rel=1e-3)


def test_another_instrument_measures_again_and_the_first_is_remembered():
    scans = ScanSet.of([print_file()])
    other = replace(scans, instrument=INSTRUMENTS["stylus"])
    first = scans.outcome(scans.scans[0])
    assert not other.measured and other.outcome(scans.scans[0]).instrument.name == "stylus"
    assert scans.outcome(scans.scans[0]) is first


def test_what_a_plate_shows_in_words():
    scans = replace(ScanSet.of([file_of(plate(lip=1.0, noise=0.01))]), kind=PLATE)
    found = scans.outcome(scans.scans[0])
    table = feature_table(found)
    assert list(table.columns) == ["feature", "width, µm", "depth, µm", "lip to lip, µm", "remarks"]
    assert list(table["feature"]) == ["line 1", "line 2", "gap 1", "gap 2", "gap 3"]
    assert table["remarks"].iloc[0] == "flat top" and table["remarks"].iloc[2].endswith("µm high")
    assert edge_rule(found) == "where the wall meets the surface" and to_look_at(found) == []
    assert np.mean(values(found)["lip height"]) == pytest.approx(1.0, rel=0.05)


def test_scans_of_the_server_are_prepared_in_time(tmp_path, monkeypatch):
    for at in range(3):
        (tmp_path / f"{at}.csv").write_bytes(print_file(0.3 + at / 10).content)
    monkeypatch.setenv("PWINDOW_SCANS", str(tmp_path))
    assert prepared_scans(0.0).loaded == ()
    prepared = prepared_scans()
    assert prepared.measured and len(prepared.loaded) == 3
    given = given_scans()
    assert given.measured and all(one is other for one, other in zip(given.loaded, prepared.loaded))


def test_a_path_that_is_not_there_is_told(monkeypatch):
    monkeypatch.setenv("PWINDOW_SCANS", "nowhere.csv")
    assert "nowhere.csv: cannot be read" in given_scans().warnings()[0]
