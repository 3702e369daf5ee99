"""Bytes of a CSV, XLSX or Parquet file to a table of raw cells."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pandas as pd

from pwindow.errors import Problem, TrialProblem
from pwindow.inputs import InputFile
from pwindow.trials.columns import COLUMNS
from pwindow.units import split_header

_DELIMITERS = (",", ";", "\t", "|")
_SAVE_AGAIN = "save it again as CSV, XLSX or Parquet"


def read_cells(file: InputFile) -> pd.DataFrame:
    """Read raw cells, before any conversion.

    Returns
    -------
    DataFrame
        One column per header cell in the file's order (headers may repeat). The index is the row
        as a spreadsheet counts it, the header being row 1. Cells of text files are text.

    Raises
    ------
    TrialProblem
        If the file is empty or not a table of its kind.
    """
    if not file.content.strip():
        raise _unreadable(file, "the file is empty", "choose a file with a header and one row per feature")
    suffix = Path(file.name).suffix.lower()
    if suffix in (".parquet", ".pq") or file.content[:4] == b"PAR1":
        cells = _read_parquet(file)
    elif suffix in (".xlsx", ".xlsm") or file.content[:4] == b"PK\x03\x04":
        cells = _read_workbook(file)
    else:
        cells = _read_text(file)
    cells.index = pd.RangeIndex(2, len(cells) + 2)
    blank = cells.isna() | (cells.map(lambda cell: str(cell).strip()) == "")
    cells = cells.loc[~blank.all(axis=1)]
    if cells.empty:
        raise _unreadable(file, "there is a header but no row", "add one row per measured feature")
    return cells


def _unreadable(file: InputFile, what: str, mend: str) -> TrialProblem:
    return TrialProblem([Problem(file.name, what, mend)])


def _read_parquet(file: InputFile) -> pd.DataFrame:
    import pyarrow

    try:
        return pd.read_parquet(io.BytesIO(file.content)).reset_index(drop=True)
    except (pyarrow.ArrowException, ValueError, OSError) as problem:
        raise _unreadable(file, f"not a Parquet file ({problem})", _SAVE_AGAIN) from problem


def _read_workbook(file: InputFile) -> pd.DataFrame:
    """Read the first sheet whose top row has known column names."""
    import zipfile

    import openpyxl
    from openpyxl.utils.exceptions import InvalidFileException

    try:
        book = openpyxl.load_workbook(io.BytesIO(file.content), read_only=True, data_only=True)
    except (zipfile.BadZipFile, InvalidFileException, KeyError, ValueError, OSError) as problem:
        raise _unreadable(file, f"not an XLSX workbook ({problem})", _SAVE_AGAIN) from problem
    sheets = [list(sheet.iter_rows(values_only=True)) for sheet in book.worksheets]
    rows = max(sheets, key=lambda sheet: _known_names(sheet[0]) if sheet else -1)
    if not rows:
        raise _unreadable(file, "the workbook is empty", "put the header in the first row")
    width = max((at + 1 for at, cell in enumerate(rows[0]) if cell is not None), default=0)
    header = ["" if cell is None else str(cell) for cell in rows[0][:width]]
    return pd.DataFrame([row[:width] for row in rows[1:]], columns=header, dtype=object)


def _read_text(file: InputFile) -> pd.DataFrame:
    text = _decode(file)
    delimiter = _delimiter(text)
    try:
        return pd.read_csv(
            io.StringIO(text), sep=delimiter, header=None, dtype=str, keep_default_na=False,
            skip_blank_lines=False, skipinitialspace=True, index_col=False,
        ).pipe(_first_row_as_header)
    except (pd.errors.ParserError, pd.errors.EmptyDataError) as problem:
        what = f"the rows do not have the same number of cells ({str(problem).strip()})"
        raise _unreadable(file, what, "give every row as many cells as the header has") from problem


def _first_row_as_header(cells: pd.DataFrame) -> pd.DataFrame:
    header = cells.iloc[0].fillna("").astype(str).str.strip()
    table = cells.iloc[1:]
    table.columns = pd.Index(header)
    return table


def _decode(file: InputFile) -> str:
    """Decode by byte-order mark, else by the zero bytes of UTF-16, else UTF-8, else Windows-1252."""
    content = file.content
    if content[:2] in (b"\xff\xfe", b"\xfe\xff"):
        encodings = ["utf-16"]
    elif content[1:40:2].count(0) > 10:
        encodings = ["utf-16-le"]
    elif content[0:40:2].count(0) > 10:
        encodings = ["utf-16-be"]
    else:
        encodings = ["utf-8-sig", "cp1252"]
    for encoding in encodings:
        try:
            text = content.decode(encoding)
        except UnicodeDecodeError:
            continue
        if not any(ord(letter) < 32 and letter not in "\t\r\n\x0c" for letter in text[:10000]):
            return text
    raise _unreadable(file, "not a text table, a workbook or a Parquet file", _SAVE_AGAIN)


def _delimiter(text: str) -> str:
    head = next(line for line in text.splitlines() if line.strip())
    return max(_DELIMITERS, key=lambda mark: _score(head, mark))


def _score(head: str, mark: str) -> tuple[int, int]:
    cells = next(csv.reader([head], delimiter=mark))
    return _known_names(cells), len(cells)


def _known_names(cells) -> int:
    return sum(column_name(str(cell))[0] in COLUMNS for cell in cells if cell is not None)


def column_name(header: str) -> tuple[str, str | None]:
    """Canonical column name and unit of a header cell.

    Examples
    --------
    >>> column_name("Cell volume [BCM]")
    ('cell_volume', 'BCM')
    """
    name, unit = split_header(header.strip().strip('"').lstrip("\ufeff"))
    canonical = name.lower().replace(" ", "_").replace("-", "_")
    return (canonical, unit) if canonical in COLUMNS else (name, unit)
