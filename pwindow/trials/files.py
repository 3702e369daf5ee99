"""Bytes of a CSV, XLSX or Parquet file to a table of raw cells."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pandas as pd

from pwindow.errors import Problem, TrialProblem, at_rows
from pwindow.inputs import InputFile
from pwindow.trials.bounds import check_size, unreadable
from pwindow.trials.headers import HEAD, header_row, known_names
from pwindow.trials.parquet import read_parquet
from pwindow.trials.workbook import read_workbook

_DELIMITERS = (",", ";", "\t", "|")
_CONTROL = re.compile(r"[\x01-\x08\x0b\x0e-\x1f]")  # what no text holds


def read_cells(file: InputFile) -> tuple[pd.DataFrame, list[str]]:
    """Read raw cells, before any conversion.

    Returns
    -------
    cells : DataFrame
        One column per header cell in the file's order (headers may repeat). The index is the row
        as a spreadsheet counts it, the header being row 1. Cells of text files are text.
    notes : list of str
        Which sheet of a workbook was read, where that is a question.

    Raises
    ------
    TrialProblem
        If the file is empty or not a table of its kind.
    """
    if not file.content.strip():
        raise unreadable(file, "the file is empty", "choose a file with a header and one row per feature")
    suffix = Path(file.name).suffix.lower()
    if suffix == ".toml":
        mend = "load it as the product or the study (--product, --study), and give a file of measured features here"
        raise unreadable(file, "a .toml file is a product or a study, not a trial", mend)
    packed = suffix in (".xlsx", ".xlsm") or file.content[:4] == b"PK\x03\x04"
    if file.sheet is not None and not packed:
        raise unreadable(file, "a sheet is named, but the file is not a workbook", "leave out the sheet")
    notes: list[str] = []
    if suffix in (".parquet", ".pq") or file.content[:4] == b"PAR1":
        cells = read_parquet(file)
    elif packed:
        cells, notes = read_workbook(file)
    else:
        cells = _read_text(file)
    cells = cells.loc[~_blank(cells)]
    if cells.empty:
        raise unreadable(file, "there is a header but no rows", "add one row per measured feature")
    return cells, notes


def _blank(cells: pd.DataFrame) -> np.ndarray:
    """Rows without a filled cell, shape (n,)."""
    blank = np.ones(len(cells), dtype=bool)
    for at in range(cells.shape[1]):
        rest = cells.iloc[blank.nonzero()[0], at]
        blank[blank] = rest.isna() | rest.map(lambda cell: str(cell).strip() == "").astype(bool)
    return blank


def _read_text(file: InputFile) -> pd.DataFrame:
    text = decode(file)
    if not text.strip():
        raise unreadable(file, "the file is empty", "choose a file with a header and one row per feature")
    head = text.splitlines()[:HEAD]
    delimiter = max(_DELIMITERS, key=lambda mark: max(_score(line, mark) for line in head))
    first = header_row([_split(line, delimiter) for line in head]) or 0
    text = "\n".join(text.splitlines()[first:]) if first else text
    check_size(file, max(text.count("\n"), text.count("\r")) + 1, _width(text, delimiter, file))
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
    header, *rows = _rows(text, delimiter, file)
    width = len(header)
    long = [at for at, row in enumerate(rows) if any(cell.strip() for cell in row[width:])]
    if len(long) > len(rows) / 2:
        raise unreadable(
            file,
            f"{len(long)} of {len(rows)} rows have more cells than the header",
            f"a decimal comma needs another delimiter than “{delimiter}”, or quotes",
        )
    if long:
        raise TrialProblem(
            at_rows(
                long,
                lambda at: Problem(
                    file=file.name,
                    what=f"the row has {len(rows[at])} cells, the header {width}",
                    mend="give it as many as the header; put text that contains the delimiter in quotes",
                    row=first + 2 + at,
                    value=next(cell for cell in rows[at][width:] if cell.strip()),
                    kind="the row has more cells than the header",
                ),
            )
        )
    filled = [[*row[:width], *[""] * (width - len(row))] for row in rows]
    return pd.DataFrame(filled, columns=pd.Index([cell.strip() for cell in header]), dtype=object)


def _width(text: str, delimiter: str, file: InputFile) -> int:
    """Cells of the first row."""
    return len(next(_rows(text, delimiter, file), []))


def _rows(text: str, delimiter: str, file: InputFile) -> Iterator[list[str]]:
    try:
        yield from csv.reader(io.StringIO(text, newline=None), delimiter=delimiter, skipinitialspace=True)
    except csv.Error as problem:
        raise unreadable(file, f"not a text table ({problem})") from problem


def _first_row_as_header(cells: pd.DataFrame) -> pd.DataFrame:
    header = cells.iloc[0].fillna("").astype(str).str.strip()
    table = cells.iloc[1:]
    table.columns = pd.Index(header)
    return table


def decode(file: InputFile) -> str:
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
        if not _CONTROL.search(text, 0, 10_000):
            return _without_zero_bytes(text, file)
    raise unreadable(file, "not a text table, a workbook or a Parquet file")


def _without_zero_bytes(text: str, file: InputFile) -> str:
    at = text.find("\0")
    if at < 0:
        return text
    row = text.count("\n", 0, at) + 1
    mend = "the file is damaged or not text: save it again as CSV, XLSX or Parquet"
    raise TrialProblem([Problem(file=file.name, what="the text contains a zero byte", mend=mend, row=row)])


def _score(line: str, mark: str) -> tuple[int, int]:
    cells = _split(line, mark)
    return len(known_names(cells)), len(cells)


def _split(line: str, mark: str) -> list[str]:
    return next(csv.reader([line[:10_000]], delimiter=mark), [])
