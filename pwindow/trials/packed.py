"""What a workbook unpacks to, measured before anything of it is kept."""

from __future__ import annotations

import copy
import io
import zipfile
from xml.parsers import expat

from pwindow.errors import TrialProblem
from pwindow.inputs import InputFile
from pwindow.trials.bounds import too_large, unreadable

_LEAST_BYTES, _BYTES_PER_BYTE = 64_000_000, 40
"""Sheets of measured values unpack to about ten times their size; repeated ones to thirty."""

_LEAST_ELEMENTS, _ELEMENTS_PER_BYTE = 1_000_000, 1
"""A cell is two elements of XML and takes at least three bytes when packed."""

_MOST_STYLES = 200_000
"""Elements of the style sheet; each becomes an object of about 1 kB. Worn-out workbooks have some ten thousand."""

_MOST_SHEETS = 200
"""Of a workbook with trials in it; many names could stand for one sheet, which would be read as often."""

_LAST_ROW, _LAST_COLUMN = 1_048_576, 16_384  # of the format, ECMA-376
_CHUNK = 65_536


def check_packed(file: InputFile) -> None:
    """Refuse a workbook that unpacks to more than its size makes likely, or whose rows are out of order.

    Sizes that it declares are checked first; since they can be wrong, its parts are then unpacked piece
    by piece, and counted.

    Raises
    ------
    TrialProblem
        Also where it is no packed workbook at all.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(file.content)) as archive:
            _check_declared(archive, file)
            budget = _LEAST_ELEMENTS + _ELEMENTS_PER_BYTE * len(file.content)
            for part in archive.infolist():
                budget -= _count_elements(archive, part, budget, file)
    except TrialProblem:
        raise
    except Exception as problem:  # a torn workbook raises whatever its zip or its XML stumbles over
        raise unreadable(file, f"not an XLSX workbook ({str(problem)[:200]})") from problem


def _check_declared(archive: zipfile.ZipFile, file: InputFile) -> None:
    most = _LEAST_BYTES + _BYTES_PER_BYTE * len(file.content)
    unpacked = sum(part.file_size for part in archive.infolist())
    if unpacked > most:
        raise too_large(
            file,
            f"{len(file.content) / 1e6:.1f} MB that unpack to {unpacked / 1e6:.0f} MB (limit {most / 1e6:.0f} MB)",
        )


def _count_elements(archive: zipfile.ZipFile, part: zipfile.ZipInfo, most: int, file: InputFile) -> int:
    """Elements of a part, which is unpacked to its end, wherever the archive says that it ends."""
    if "styles" in part.filename.lower():
        most = min(most, _MOST_STYLES)
    elements = _Elements(most, file)
    whole = copy.copy(part)
    whole.file_size = part.file_size + 1
    size, is_xml = 0, True
    with archive.open(whole) as stream:
        while piece := stream.read(_CHUNK):
            size += len(piece)
            if is_xml:
                is_xml = elements.feed(piece)
    if size != part.file_size:
        raise unreadable(file, "not an XLSX workbook (the size of a part does not match)")
    return elements.count


class _Elements:
    """Counts the elements of XML as it comes in pieces, and looks at the places of rows and cells."""

    def __init__(self, most: int, file: InputFile):
        self.count, self._most, self._file = 0, most, file
        self._row, self._column, self._sheets = 0, 0, 0
        self._parser = expat.ParserCreate()
        self._parser.StartElementHandler = self._start
        self._parser.StartDoctypeDeclHandler = self._doctype

    def feed(self, piece: bytes) -> bool:
        """Take a piece; False where it is not XML, which is then for the reader to refuse."""
        try:
            self._parser.Parse(piece, False)
        except expat.ExpatError:
            return False
        return True

    def _doctype(self, *_: object) -> None:
        raise unreadable(self._file, "not an XLSX workbook (it declares entities)")

    def _start(self, name: str, attributes: dict[str, str]) -> None:
        self.count += 1
        if self.count > self._most:
            raise too_large(self._file, f"more than {self._most} cells and other elements")
        kind = name.rpartition(":")[2]
        if kind == "c" and self._row:
            reference = attributes.get("r", "").rstrip("0123456789")
            column = _column_number(reference) if reference else self._column + 1
            self._column = self._in_order(column, self._column, _LAST_COLUMN)
        elif kind == "row":
            row = int(attributes.get("r", self._row + 1))
            self._row, self._column = self._in_order(row, self._row, _LAST_ROW), 0
        elif kind == "sheet":
            self._sheets += 1
            if self._sheets > _MOST_SHEETS:
                raise too_large(self._file, f"more than {_MOST_SHEETS} sheets")

    def _in_order(self, number: int, before: int, last: int) -> int:
        if not before < number <= last:
            raise unreadable(self._file, f"the cells of the workbook are out of order in row {self._row}")
        return number


def _column_number(letters: str) -> int:
    """
    >>> _column_number("A"), _column_number("XFD")
    (1, 16384)
    """
    number = 0
    for letter in letters[:4]:
        number = 26 * number + ord(letter) - 64
    return number
