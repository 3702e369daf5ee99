"""CSV in the dialects that instruments and spreadsheets write."""

import csv
import io
import time

import numpy as np
import pandas as pd
import pytest

import pwindow as pw
from pwindow.errors import TrialProblem
from tests.helpers.trials import read_text


@pytest.fixture(scope="module")
def text():
    return pw.demo("trial_first.csv").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def same(demo_trial):
    """Check that a file reads as the demo trial does, value for value."""

    def check(content):
        trial = read_text(content)
        pd.testing.assert_frame_equal(trial.features, demo_trial.features)
        assert trial.fingerprint == demo_trial.fingerprint

    return check


@pytest.mark.slow
@pytest.mark.parametrize("mark", [",", ";", "\t", "|"])
def test_delimiters(text, same, mark):
    same(text.replace(",", mark))


@pytest.mark.parametrize("mark", [";", "\t", "|"])
def test_decimal_comma(text, same, mark):
    same(text.replace(",", mark).replace(".", ","))


def test_decimal_comma_in_quoted_cells(text, same):
    rows = [[cell.replace(".", ",") for cell in row] for row in csv.reader(io.StringIO(text))]
    stream = io.StringIO()
    csv.writer(stream, quoting=csv.QUOTE_ALL).writerows(rows)
    same(stream.getvalue())


def test_decimal_comma_unquoted_between_commas_is_refused(text):
    head, *rows = text.splitlines()
    with pytest.raises(TrialProblem, match="more cells than the header.*decimal comma"):
        read_text("\n".join([head, *(row.replace(".", ",") for row in rows)]))


@pytest.mark.slow
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be"])
def test_encodings(text, same, encoding):
    same(text.replace("[um]", "[µm]").replace("cm3/m2", "cm³/m²").replace("um2", "µm²").encode(encoding))


def test_windows_1252_with_micro_and_superscripts(text, same):
    marked = text.replace("[um]", "[µm]").replace("cm3/m2", "cm³/m²").replace("um2", "µm²")
    content = marked.encode("cp1252")
    assert b"\xb5m" in content and b"cm\xb3" in content
    same(content)


@pytest.mark.parametrize("ending", ["\r\n", "\r"])
def test_line_endings(text, same, ending):
    same(text.replace("\n", ending).encode())


def test_quoted_fields(text, same):
    rows = list(csv.reader(io.StringIO(text)))
    stream = io.StringIO()
    csv.writer(stream, quoting=csv.QUOTE_ALL).writerows(rows)
    same(stream.getvalue())


def test_trailing_delimiter_on_every_line(text, same):
    same("".join(line + ",\n" for line in text.splitlines()))


def test_trailing_delimiters_on_some_rows(text, same):
    head, first, *rows = text.splitlines()
    same("\n".join([head, first + ",,", *rows]))


def test_rows_with_a_cell_too_many_are_each_named(text):
    head, *rows = text.splitlines()
    rows[3] += ",smeared"
    rows[7] += ",,late"
    with pytest.raises(TrialProblem) as caught:
        read_text("\n".join([head, *rows]))
    assert [(problem.row, problem.value) for problem in caught.value.problems] == [
        (5, "smeared"),
        (9, "late"),
    ]


@pytest.mark.slow
@pytest.mark.parametrize(
    "above", ["sep=,\n", "# laser microscope 3\n# second shift\n", "Trial of the second week,,,\n\n"]
)
def test_what_stands_above_the_header_is_passed_over(text, same, above):
    same(above + text)
    lines = text.splitlines()
    lines[4] = ",".join("fast" if at == 2 else cell for at, cell in enumerate(lines[4].split(",")))
    with pytest.raises(TrialProblem) as caught:
        read_text(above + "\n".join(lines))
    assert caught.value.problems[0].row == 5 + above.count("\n")


def test_round_brackets_around_units(text, same):
    head, *rows = text.splitlines()
    same("\n".join([head.replace("[", "(").replace("]", ")"), *rows]))


def test_blank_lines_between_and_after(text, same):
    lines = text.splitlines()
    same("\n".join([*lines[:4], "", "   ", *lines[4:], "", ""]))


def test_blank_lines_before_the_header(text, same):
    same("\n\n" + text)


def test_spaces_around_cells_and_names(same, text):
    head, *rows = text.splitlines()
    spaced = head.replace(",", " , ").replace("line_height", "Line height").replace("speed", "SPEED")
    same("\n".join([spaced, *(row.replace(",", " , ") for row in rows)]))


def test_a_delimiter_and_a_line_break_inside_quotes(text, demo_trial):
    head, *rows = text.splitlines()
    first = rows[0] + ',"smeared, a little;\nelse good"'
    trial = read_text("\n".join([head + ",remark", first, *(row + "," for row in rows[1:])]))
    assert trial.features["remark"][0].startswith("smeared, a little;")
    assert trial.features["remark"][1:].isna().all()
    assert trial.features["line_height"].equals(demo_trial.features["line_height"])


def test_column_order_does_not_matter(demo_rows, same):
    same(demo_rows[demo_rows.columns[::-1]].to_csv(index=False).encode())


def test_unicode_minus_and_spaces_in_numbers():
    trial = read_text(
        "print,speed [m/min],cell_volume [cm3/m2],pressure [um],direction [deg],line_height [nm]\n"
        "P1,60,4.4,50,\u221245,1\u00a0200\n"
    )
    assert trial.features["direction"][0] == -45.0
    assert trial.features["line_height"][0] == pytest.approx(1.2)


@pytest.mark.parametrize("word", ["", "NA", "nan", "N/A", "none", "null", "<NA>"])
def test_words_for_an_empty_cell(word):
    trial = read_text(
        "print,speed [m/min],cell_volume [cm3/m2],pressure [um],line_height [um],line_width [um]\n"
        f"P1,60,4.4,50,0.8,{word}\n"
    )
    assert np.isnan(trial.features["line_width"][0])


@pytest.mark.slow
def test_fifty_thousand_rows_in_reasonable_time(demo_rows):
    copies = [
        demo_rows.assign(print=demo_rows["print"] + f"-{at}", make_ready=demo_rows["make_ready"] + f"-{at}")
        for at in range(77)
    ]
    content = pd.concat(copies).to_csv(index=False).encode()
    start = time.perf_counter()
    trial = read_text(content)
    seconds = time.perf_counter() - start
    print(f"{len(trial.features)} rows read in {seconds:.1f} s")
    assert len(trial.features) == 77 * 650
    assert seconds < 60
