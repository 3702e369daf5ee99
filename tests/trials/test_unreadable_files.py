"""Files that are no trial: reasons, never a traceback."""

import io
import zipfile

import numpy as np
import pandas as pd
import pytest

import pwindow as pw
from pwindow.errors import TrialProblem, UnusableInput
from tests.helpers.trials import as_parquet, as_workbook, read_text

NOISE = np.random.default_rng(0).integers(0, 256, 5000, dtype=np.uint8).tobytes()
JUNK = {
    "empty": b"",
    "spaces": b"  \n\n ",
    "noise": NOISE,
    "zip noise": b"PK\x03\x04" + NOISE,
    "parquet noise": b"PAR1" + NOISE + b"PAR1",
    "picture": b"\x89PNG\r\n\x1a\n" + b"\0" * 50,
    "prose": b"Dear all,\nplease find attached.\n",
    "page": b"<!DOCTYPE html><html><body>403</body></html>",
    "only a byte-order mark": b"\xef\xbb\xbf",
    "mark and blank lines": b"\xef\xbb\xbf\n\n",
    "UTF-16 mark": b"\xff\xfe",
    "no-break space": b"\xa0\n",
    "UTF-16 blank": "\ufeff\n\n".encode("utf-16-le"),
    "one long word": b"a" * 200_000,
    "open quote": b'print,"speed\nP1,3\n',
    "zeros": b"\0" * 100,
    "old workbook": b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + NOISE,
}


@pytest.mark.parametrize("name", ["trial.csv", "trial.xlsx", "trial.parquet", "trial"])
@pytest.mark.parametrize("content", JUNK.values(), ids=JUNK.keys())
def test_junk(content, name):
    with pytest.raises(TrialProblem) as caught:
        read_text(content, name)
    assert all(problem.file == name and problem.what and problem.mend for problem in caught.value.problems)


@pytest.mark.parametrize("ending", ["", "\n", "\n\n\n", "\r\n , , \r\n"])
def test_header_only(ending):
    head = "print,speed [m/min],cell_volume [cm3/m2],pressure [um],line_height [um]"
    with pytest.raises(TrialProblem, match="no row"):
        read_text(head + ending)


def test_missing_file_and_directory(tmp_path):
    for path in (tmp_path / "none.csv", tmp_path):
        with pytest.raises(UnusableInput) as caught:
            pw.read_trial(path)
        assert str(path) in str(caught.value) and "check the path" in str(caught.value)


def test_no_file():
    with pytest.raises(UnusableInput):
        pw.read_trial([])


def damage(content, part, change):
    """A workbook with one part changed."""
    stream = io.BytesIO()
    source = zipfile.ZipFile(io.BytesIO(content))
    with zipfile.ZipFile(stream, "w") as target:
        for name in source.namelist():
            target.writestr(name, change(source.read(name)) if name == part else source.read(name))
    return stream.getvalue()


@pytest.mark.parametrize(
    "part",
    [
        "xl/worksheets/sheet1.xml",
        "xl/workbook.xml",
        "xl/styles.xml",
        "[Content_Types].xml",
        "xl/_rels/workbook.xml.rels",
    ],
)
def test_workbook_with_a_torn_part(demo_rows, part):
    torn = damage(as_workbook(demo_rows.head(40)), part, lambda text: text[: len(text) // 2])
    with pytest.raises(TrialProblem):
        read_text(torn, "trial.xlsx")


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["xlsx", "parquet"])
def test_flipped_bytes_give_reasons_or_a_trial(demo_rows, kind):
    content = {"xlsx": as_workbook, "parquet": as_parquet}[kind](demo_rows.head(40))
    rng = np.random.default_rng(11)
    escaped = {}
    for _ in range(60):
        flipped = np.frombuffer(content, dtype=np.uint8).copy()
        at = rng.integers(0, len(flipped), rng.integers(1, 12))
        flipped[at] = rng.integers(0, 256, len(at))
        try:
            read_text(flipped.tobytes(), f"trial.{kind}")
        except UnusableInput:
            continue
        except Exception as problem:  # noqa: BLE001 - anything else is what is looked for
            escaped[type(problem).__name__] = escaped.get(type(problem).__name__, 0) + 1
    assert not escaped


@pytest.mark.slow
def test_mutated_text_gives_reasons_or_a_trial():
    """Cells and headers replaced at random by what people type: 100 files find what goes wrong in 5 of 100."""
    lines = pw.demo("trial_first.csv").read_text().splitlines()[:60]
    rng = np.random.default_rng(12)
    words = [
        "",
        "NA",
        "-1",
        "0",
        "inf",
        "1e999",
        "abc",
        "1,5",
        '"',
        '""',
        "'",
        "µ",
        "\t",
        ";",
        "=SUM(A1)",
        "1/2",
        "speed [m/0]",
        "[",
        "]",
        "print [x]",
        "gap [(]",
        "speed [**]",
        "True",
        "12:30",
        "\u200b",
        "A-001",
        "1e-320",
    ]
    escaped = []
    for _ in range(100):
        mutated = [line.split(",") for line in lines]
        for _ in range(rng.integers(1, 4)):
            row = 0 if rng.random() < 0.3 else rng.integers(len(mutated))
            mutated[row][rng.integers(len(mutated[row]))] = str(rng.choice(words))
        try:
            trial = read_text("\n".join(",".join(row) for row in mutated))
            assert len(trial.features)
        except UnusableInput as problem:
            assert all(problem.reasons)
        except Exception as problem:  # noqa: BLE001 - anything else is what is looked for
            escaped.append(repr(problem))
    assert not escaped, pd.Series(escaped).value_counts()


def test_a_product_is_told_from_a_trial():
    with pytest.raises(TrialProblem, match="--product, --study"):
        read_text(pw.demo("tag.toml").read_bytes(), "tag.toml")
