"""Small files that unpack to large ones are refused by the sizes they declare, and by those they have."""

import io
import struct
import time
import zipfile
import zlib

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from pwindow.errors import TrialProblem
from tests.helpers.trials import as_parquet, as_workbook, read_text

HEAD = "print,speed [m/min],cell_volume [cm3/m2],pressure [um],line_height [um]"


def refused(content, name, match):
    """Read what must be refused, soon and in few words."""
    start = time.process_time()
    with pytest.raises(TrialProblem, match=match) as caught:
        read_text(content, name)
    assert time.process_time() - start < 10
    assert len(str(caught.value)) < 2000
    return caught.value


def packed(content, part, text):
    """A workbook with a part replaced."""
    stream = io.BytesIO()
    source = zipfile.ZipFile(io.BytesIO(content))
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as target:
        for name in source.namelist():
            target.writestr(name, text if name == part else source.read(name))
    return stream.getvalue()


SHEET = "xl/worksheets/sheet1.xml"
OPEN = b'<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>'


def test_a_workbook_that_unpacks_to_a_gigabyte(demo_rows):
    sheet = OPEN + b"<row><c><v>1</v></c></row>" * 4_000_000
    content = packed(as_workbook(demo_rows.head(5)), SHEET, sheet)
    assert len(content) < 1_000_000
    refused(content, "trial.xlsx", "unpack to 104 MB")


@pytest.mark.slow
@pytest.mark.parametrize("filling", [b"<row/>", b"<row><c/></row>", b"<c/>", b"<a/>"])
def test_a_workbook_of_empty_cells(demo_rows, filling):
    sheet = OPEN + b"<row>" + filling * 3_000_000
    refused(
        packed(as_workbook(demo_rows.head(5)), SHEET, sheet), "trial.xlsx", "more than .* cells|out of order"
    )


def test_a_style_sheet_of_a_million_styles(demo_rows):
    styles = b'<styleSheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><cellXfs>'
    refused(
        packed(as_workbook(demo_rows.head(5)), "xl/styles.xml", styles + b"<xf/>" * 900_000),
        "t.xlsx",
        "more than",
    )


def test_a_thousand_names_of_one_sheet(demo_rows):
    def change(text):
        one = text[text.index(b"<sheet ") : text.index(b"/>", text.index(b"<sheet ")) + 2]
        return text.replace(one, one * 1000)

    content = as_workbook(demo_rows.head(5))
    text = change(zipfile.ZipFile(io.BytesIO(content)).read("xl/workbook.xml"))
    refused(packed(content, "xl/workbook.xml", text), "trial.xlsx", "sheets")


def test_a_workbook_that_lies_about_a_part(demo_rows):
    """The directory says that the theme has 100 bytes, and gives the checksum of those."""
    text = b" " * 50_000_000
    content = bytearray(packed(as_workbook(demo_rows.head(5)), "xl/theme/theme1.xml", text))
    for at in range(len(content) - 4):
        if content[at : at + 4] == b"PK\x01\x02" and b"theme1" in content[at : at + 80]:
            struct.pack_into("<I", content, at + 16, zlib.crc32(text[:100]))
            struct.pack_into("<I", content, at + 24, 100)
    refused(bytes(content), "trial.xlsx", "not an XLSX workbook")


def test_entities_are_not_expanded(demo_rows):
    bomb = b'<!DOCTYPE a [<!ENTITY b "' + b"x" * 10_000 + b'">]>' + OPEN + b"&b;" * 10_000
    refused(packed(as_workbook(demo_rows.head(5)), SHEET, bomb), "trial.xlsx", "entities")


@pytest.mark.slow
def test_a_long_text_that_every_row_refers_to(demo_rows):
    remark = "x" * 30_000
    refused(as_workbook(demo_rows.sample(9_000, replace=True).assign(remark=remark)), "t.xlsx", "unpack to")
    refused(
        as_parquet(demo_rows.sample(9_000, replace=True).assign(remark=remark)), "t.parquet", "characters"
    )


def parquet(table, **options):
    stream = io.BytesIO()
    pq.write_table(table, stream, **options)
    return stream.getvalue()


def test_a_parquet_file_of_forty_million_rows():
    ones = pa.array(np.ones(40_000_000, dtype=np.int8))
    content = parquet(pa.table({"print": ones, "speed": ones}), compression="zstd")
    assert len(content) < 400_000
    refused(content, "trial.parquet", "40000000 rows")


def test_a_parquet_file_of_many_columns():
    refused(parquet(pa.table({f"c{at}": [1.0] for at in range(3000)})), "trial.parquet", "3000 columns")


@pytest.mark.parametrize(
    "damage", [b"{", b"[]", b'{"index_columns": [{"kind": "x"}]}', b"\xff\xfe", b'{"columns": 3}']
)
def test_damaged_notes_of_pandas_in_a_parquet_file_do_not_matter(demo_rows, demo_trial, damage):
    table = pa.Table.from_pandas(demo_rows.set_index("print"))
    content = parquet(table.replace_schema_metadata({b"pandas": damage}))
    assert read_text(content, "trial.parquet").fingerprint == demo_trial.fingerprint


def test_a_header_of_three_million_names():
    names = ",".join(f"k{at}" for at in range(3_000_000))
    refused(f"{HEAD},{names}\nP1,60,4.4,50,0.8\n", "trial.csv", "columns, more than 1000")


def test_a_wide_header_over_many_short_rows():
    names = ",".join(f"k{at}" for at in range(900))
    refused(f"{HEAD},{names}\n" + "P1\n" * 50_000, "trial.csv", "cells")


@pytest.mark.slow
def test_many_unknown_columns_are_one_note():
    names = ",".join(f"k{at}" for at in range(900))
    trial = read_text(f"{HEAD},{names}\nP1,60,4.4,50,0.8{',1' * 900}\n")
    (note,) = [note for note in trial.notes if "not recognised" in note]
    assert "“k0”" in note and "890 more" in note


def test_a_header_of_blanks():
    refused(f"{HEAD},a{' ' * 100_000}b\nP1,60,4.4,50,-1,1\n", "trial.csv", "physically impossible")


def test_a_field_longer_than_rows_of_uneven_length_can_have():
    refused(f"{HEAD}\nP1,60,4.4,50,0.8,1,2\n{'x' * 200_000}\n", "trial.csv", "not a text table")
