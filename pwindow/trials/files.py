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
        table = pd.read_parquet(io.BytesIO(file.content))
    except (pyarrow.ArrowException, ValueError, OSError) as problem:
        raise _unreadable(file, f"not a Parquet file ({problem})", _SAVE_AGAIN) from problem
    named = [name for name in table.index.names if name is not None and column_name(str(name))[0] in COLUMNS]
    table = table.reset_index(named) if named else table
    return table.set_axis(pd.RangeIndex(2, len(table) + 2))


def _read_workbook(file: InputFile) -> pd.DataFrame:
    """Read the sheet whose first filled row has the most known column names."""
    import openpyxl

    try:
        book = openpyxl.load_workbook(io.BytesIO(file.content), read_only=True, data_only=True)
        sheets = [list(sheet.iter_rows(values_only=True)) for sheet in book.worksheets]
    except Exception as problem:  # a torn workbook raises whatever its zip or its XML stumbles over
        raise _unreadable(file, f"not an XLSX workbook ({problem})", _SAVE_AGAIN) from problem
    tables = [(at, sheet[at:]) for sheet in sheets if (at := _first_filled(sheet)) is not None]
    if not tables:
        raise _unreadable(file, "the workbook is empty", "put the header in the first row")
    first, rows = max(tables, key=lambda table: _known_names(table[1][0]))
    header = ["" if cell is None else str(cell) for cell in rows[0]]
    filled = [(*row[: len(header)], *[None] * (len(header) - len(row))) for row in rows[1:]]
    return pd.DataFrame(
        filled, columns=header, dtype=object, index=pd.RangeIndex(first + 2, first + 2 + len(filled))
    )


def _first_filled(rows: list[tuple]) -> int | None:
    return next((at for at, row in enumerate(rows) if any(cell is not None for cell in row)), None)


def _read_text(file: InputFile) -> pd.DataFrame:
    text = _decode(file)
    if not text.strip():
        raise _unreadable(file, "the file is empty", "choose a file with a header and one row per feature")
    first = next(at for at, line in enumerate(text.splitlines()) if line.strip())
    text = "\n".join(text.splitlines()[first:]) if first else text
    delimiter = _delimiter(text)
    try:
        cells = pd.read_csv(
            io.StringIO(text), sep=delimiter, header=None, dtype=str, keep_default_na=False,
            skip_blank_lines=False, skipinitialspace=True, index_col=False,
        ).pipe(_first_row_as_header)
        cells.index = pd.RangeIndex(first + 2, first + 2 + len(cells))
        return cells
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
    head = next(line for line in text.splitlines() if line.strip())[:10_000]
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
