"""What leaves the tool: whole files, and tables that run nothing."""

import io
import os
import stat

import pandas as pd
import pytest

from pwindow.errors import UnusableInput
from pwindow.inputs import InputFile
from pwindow.outputs import csv_of, write_file
from pwindow.trials import read_trial


@pytest.fixture
def report(tmp_path):
    path = tmp_path / "report.html"
    path.write_bytes(b"the good one")
    return path


def names(folder):
    return sorted(path.name for path in folder.iterdir())


def test_a_file_is_written_and_replaced(tmp_path, report):
    write_file(report, b"a better one")
    write_file(str(tmp_path / "new.html"), b"another")
    assert report.read_bytes() == b"a better one" and (tmp_path / "new.html").read_bytes() == b"another"
    assert names(tmp_path) == ["new.html", "report.html"]


@pytest.mark.parametrize(
    "problem", [OSError(28, "No space left on device"), KeyboardInterrupt(), SystemExit(143)]
)
@pytest.mark.parametrize("step", ["fsync", "replace"])
def test_what_ends_a_write_leaves_the_good_one_and_no_litter(tmp_path, report, monkeypatch, problem, step):
    def ends(*_):
        raise problem

    monkeypatch.setattr(f"pwindow.outputs.{'os' if step == 'fsync' else 'Path'}.{step}", ends)
    with pytest.raises(UnusableInput if isinstance(problem, OSError) else type(problem)) as caught:
        write_file(report, b"a better one")
    assert report.read_bytes() == b"the good one" and names(tmp_path) == ["report.html"]
    if isinstance(problem, OSError):
        assert str(caught.value).endswith(
            "report.html: cannot be written (No space left on device); free some space, or name a file on another disk"
        )


def test_a_file_is_never_seen_half_written(tmp_path, report, monkeypatch):
    seen = []
    monkeypatch.setattr("pwindow.outputs.os.fsync", lambda _: seen.append(report.read_bytes()))
    write_file(report, b"a better one")
    assert seen[0] == b"the good one"


@pytest.mark.skipif(os.name != "posix", reason="permissions of POSIX")
def test_permissions_are_kept_or_usual(tmp_path, report):
    report.chmod(0o640)
    before = os.umask(0o027)
    try:
        write_file(report, b"a better one")
        write_file(tmp_path / "new.html", b"another")
    finally:
        os.umask(before)
    assert stat.S_IMODE(report.stat().st_mode) == 0o640
    assert stat.S_IMODE((tmp_path / "new.html").stat().st_mode) == 0o640


@pytest.mark.skipif(os.name != "posix", reason="permissions of POSIX")
def test_a_file_that_is_write_protected_stays(report, monkeypatch):
    report.chmod(0o444)
    monkeypatch.setattr("pwindow.outputs.os.access", lambda *_: False)  # root may write to it all the same
    with pytest.raises(UnusableInput, match="Permission denied.*check the permissions"):
        write_file(report, b"a better one")
    assert report.read_bytes() == b"the good one"


@pytest.mark.skipif(os.name != "posix", reason="links and pipes of POSIX")
def test_links_are_followed_and_what_is_no_file_is_written_to(tmp_path, report):
    link = tmp_path / "link.html"
    link.symlink_to(report)
    write_file(link, b"a better one")
    assert link.is_symlink() and report.read_bytes() == b"a better one"
    write_file("/dev/null", b"nothing")
    assert stat.S_ISCHR(os.stat("/dev/null").st_mode)


@pytest.mark.parametrize("where", ["", "nowhere/report.html"])
def test_where_no_file_can_be(tmp_path, where):
    with pytest.raises(UnusableInput, match="cannot be written"):
        write_file(tmp_path / where, b"a report")


FORMULAS = [
    "=1+1",
    '=HYPERLINK("http://x","y")',
    "+cmd|' /C calc'!A0",
    "-2+3",
    "@SUM(A1)",
    "\tx",
    "\rx",
    "＝1+1",
]


def test_text_that_a_spreadsheet_would_run_is_defused():
    told = csv_of(pd.DataFrame({"print": FORMULAS, "=name": range(len(FORMULAS))}))
    read = pd.read_csv(io.StringIO(told, newline=""), dtype=str, lineterminator="\n")
    assert list(read["print"]) == [f"'{text}" for text in FORMULAS]
    assert list(read) == ["print", "'=name"]


def test_numbers_stay_and_so_do_ids_that_are_nothing_but_one():
    frame = pd.DataFrame(
        {
            "roll": ["-12", "+7", "0412", "A-1", "x=1"],
            "closure": [-3.2, 1e-9, 0.0, None, -1.0],
            "mixed": [-1, "=1", None, "", "b"],
        }
    )
    told = csv_of(frame)
    assert told.splitlines() == [
        "roll,closure,mixed",
        "-12,-3.2,-1",
        "+7,1e-09,'=1",
        "0412,0.0,",
        "A-1,,",
        "x=1,-1.0,b",
    ]
    pd.testing.assert_frame_equal(
        pd.read_csv(io.StringIO(told), dtype={"roll": str})[["roll", "closure"]], frame[["roll", "closure"]]
    )


def test_the_frame_itself_stays_as_it_was():
    frame = pd.DataFrame({"print": ["=1"]})
    csv_of(frame)
    assert list(frame["print"]) == ["=1"] and list(frame) == ["print"]


def test_a_trial_that_was_exported_is_read_again(first_rows):
    """As any table of ours: numbers are numbers, ids are ids, and a defused id is an id."""
    first_rows["print"] = first_rows["print"].replace({"A-001": "=1+1"})
    read = read_trial(InputFile("again.csv", csv_of(first_rows).encode()))
    assert len(read.prints) == 65 and "'=1+1" in read.prints.index


@pytest.fixture
def first_rows():
    import pwindow as pw

    return pd.read_csv(pw.demo("trial_first.csv"), dtype={"roll": str})
