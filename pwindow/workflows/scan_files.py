"""Files that a page on scans takes: scans, run lists, scan lists and decisions, told apart by what is in them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from functools import cache
from pathlib import Path

import pandas as pd

from pwindow.errors import UnusableInput
from pwindow.inputs import InputFile
from pwindow.metrology.decisions import Decisions, read_decisions
from pwindow.metrology.reading import ALONG, HEIGHTS
from pwindow.metrology.rows import listed_scans
from pwindow.metrology.scans import SUFFIXES, read_scans
from pwindow.trials.files import read_cells
from pwindow.trials.headers import column_name
from pwindow.workflows.scan_kinds import Listed, Scan

Source = str | Path | InputFile
Content = Decisions | pd.DataFrame | Listed | tuple[Scan, ...]
"""Of a file: decisions on scans, the cells of a run list, what a scan list says, or scans."""


def sources_in(sources: Iterable[Source]) -> Iterator[Source]:
    """Files, and those in folders in the order of their names.

    Parameters
    ----------
    sources : iterable of str, Path or InputFile

    Raises
    ------
    UnusableInput
        If a folder cannot be read.
    """
    for source in sources:
        yield from [source] if isinstance(source, InputFile) else _paths(Path(source))


def _paths(path: Path) -> list[Path]:
    try:
        if not path.is_dir():
            return [path]
        return sorted(one for one in path.iterdir() if one.suffix.lower() in (*SUFFIXES, ".toml"))
    except OSError as problem:
        raise UnusableInput(f"{path}: cannot be read ({problem.strerror}); check the path") from problem


def content_of(source: Source) -> Content:
    """What a file holds; a path is read once, and again where its file has changed.

    Parameters
    ----------
    source : str, Path or InputFile

    Raises
    ------
    UnusableInput
        If it cannot be used.
    """
    if isinstance(source, InputFile):
        return _read(source)
    path = Path(source)
    return _content_at(path, _changed(path))


def _changed(path: Path) -> int | None:
    """When a file was changed; None where it is not there, which reading it says."""
    try:
        return path.stat().st_mtime_ns
    except (OSError, ValueError):  # a path may hold a zero byte
        return None


@cache
def _content_at(path: Path, _changed: int | None) -> Content:
    return _read(InputFile.of(path))


def _read(file: InputFile) -> Content:
    if file.name.lower().endswith(".toml"):
        return read_decisions(file)
    found = _list_of(file)
    return read_scans(file) if found is None else found


def _list_of(file: InputFile) -> pd.DataFrame | Listed | None:
    """Cells of a run list, which has a speed of each print, or what a scan list says; None where a file is none."""
    if not file.name.lower().endswith((".csv", ".tsv", ".txt", ".xlsx", ".parquet")):
        return None
    try:
        cells = read_cells(file)[0]
    except UnusableInput:
        return None
    names = {column_name(str(name))[0] for name in cells}
    if "print" in names and "speed" in names:
        return cells
    return listed_scans(cells) if "scan" in names and not names & {*ALONG, *HEIGHTS} else None
