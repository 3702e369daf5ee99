"""Bytes of a CSV, XLSX or Parquet file to a table of raw cells."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import numpy as np
import pandas as pd

from pwindow.errors import Problem, TrialProblem
from pwindow.inputs import InputFile
from pwindow.trials.columns import COLUMNS
from pwindow.units import split_header

_DELIMITERS = (",", ";", "\t", "|")
_HEAD = 50  # rows in which the header must stand
_HEADER_NAMES = 3  # known names that make a row the header, whatever stands above it
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
    if suffix == ".toml":
        mend = "name it after --product or --study, and a file of measured features here"
        raise _unreadable(file, "a .toml file declares a product or a study and is not a trial", mend)
    if suffix in (".parquet", ".pq") or file.content[:4] == b"PAR1":
        cells = _read_parquet(file)
    elif suffix in (".xlsx", ".xlsm") or file.content[:4] == b"PK\x03\x04":
        cells = _read_workbook(file)
    else:
        cells = _read_text(file)
    cells = cells.loc[~_blank(cells)]
    if cells.empty:
        raise _unreadable(file, "there is a header but no row", "add one row per measured feature")
    return cells


def _blank(cells: pd.DataFrame) -> np.ndarray:
    """Rows without a filled cell, shape (n,)."""
    blank = np.ones(len(cells), dtype=bool)
    for at in range(cells.shape[1]):
        rest = cells.iloc[blank.nonzero()[0], at]
        blank[blank] = rest.isna() | rest.map(lambda cell: str(cell).strip() == "").astype(bool)
    return blank


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
    """Read the sheet whose header has the most known column names."""
    import openpyxl

    try:
        book = openpyxl.load_workbook(io.BytesIO(file.content), read_only=True, data_only=True)
        sheets = [list(sheet.iter_rows(values_only=True)) for sheet in book.worksheets]
    except Exception as problem:  # a torn workbook raises whatever its zip or its XML stumbles over
        raise _unreadable(file, f"not an XLSX workbook ({problem})", _SAVE_AGAIN) from problem
    tables = [(at, sheet[at:]) for sheet in sheets if (at := _header_row(sheet)) is not None]
    if not tables:
        raise _unreadable(file, "the workbook is empty", "put the header in the first row")
    first, rows = max(tables, key=lambda table: _known_names(table[1][0]))
    header = ["" if cell is None else str(cell) for cell in rows[0]]
    filled = [(*row[: len(header)], *[None] * (len(header) - len(row))) for row in rows[1:]]
    return pd.DataFrame(
        filled, columns=header, dtype=object, index=pd.RangeIndex(first + 2, first + 2 + len(filled))
    )


def _header_row(rows: list[tuple]) -> int | None:
    """The first row that names columns; a title or a comment may stand above it."""
    filled = [at for at, row in enumerate(rows[:_HEAD]) if any(cell not in (None, "") for cell in row)]
    return next((at for at in filled if _known_names(rows[at]) >= _HEADER_NAMES), min(filled, default=None))


def _read_text(file: InputFile) -> pd.DataFrame:
    text = _decode(file)
    if not text.strip():
        raise _unreadable(file, "the file is empty", "choose a file with a header and one row per feature")
    head = text.splitlines()[:_HEAD]
    delimiter = max(_DELIMITERS, key=lambda mark: max(_score(line, mark) for line in head))
    first = _header_row([_split(line, delimiter) for line in head]) or 0
    text = "\n".join(text.splitlines()[first:]) if first else text
    try:
        cells = pd.read_csv(
            io.StringIO(text),
            sep=delimiter,
            header=None,
            dtype=str,
            keep_default_na=False,
            skip_blank_lines=False,
            skipinitialspace=True,
            index_col=False,
        ).pipe(_first_row_as_header)
    except (pd.errors.ParserError, pd.errors.EmptyDataError):
        cells = _read_uneven(text, delimiter, first, file)
    cells.index = pd.RangeIndex(first + 2, first + 2 + len(cells))
    return cells


def _read_uneven(text: str, delimiter: str, first: int, file: InputFile) -> pd.DataFrame:
    """Rows of uneven length: empty cells past the header's last are dropped, filled ones are reported."""
    header, *rows = csv.reader(io.StringIO(text), delimiter=delimiter, skipinitialspace=True)
    width = len(header)
    problems = [
        Problem(
            file.name,
            f"the row has {len(row)} cells, the header {width}",
            "give it as many as the header; a text that holds the delimiter must stand in quotes",
            row=at,
            value=next(cell for cell in row[width:] if cell.strip()),
        )
        for at, row in enumerate(rows, start=first + 2)
        if any(cell.strip() for cell in row[width:])
    ]
    if len(problems) > len(rows) / 2:
        raise _unreadable(
            file,
            f"{len(problems)} of {len(rows)} rows have more cells than the header",
            f"a decimal comma needs another delimiter than “{delimiter}”, or quotes",
        )
    if problems:
        raise TrialProblem(problems)
    filled = [[*row[:width], *[""] * (width - len(row))] for row in rows]
    return pd.DataFrame(filled, columns=pd.Index([cell.strip() for cell in header]), dtype=object)


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


def _score(line: str, mark: str) -> tuple[int, int]:
    cells = _split(line, mark)
    return _known_names(cells), len(cells)


def _split(line: str, mark: str) -> list[str]:
    return next(csv.reader([line[:10_000]], delimiter=mark), [])


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
