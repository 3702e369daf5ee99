"""What leaves the tool: files that are whole or not there, tables that run nothing in a spreadsheet, values for JSON."""

from __future__ import annotations

import errno
import math
import os
import re
import secrets
import stat
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any, overload

import numpy as np
import pandas as pd

from pwindow.errors import UnusableInput

_MENDS: Mapping[int | None, str] = {
    errno.ENOSPC: "free some space, or name a file on another disk",
    errno.EDQUOT: "free some space, or name a file on another disk",
    errno.EACCES: "check the permissions of the file and its folder, or name a file elsewhere",
    errno.EPERM: "check the permissions of the file and its folder, or name a file elsewhere",
    errno.EROFS: "name a file on a disk that is not read-only",
    errno.EISDIR: "that is a folder: name a file in it",
    errno.ENAMETOOLONG: "give it a shorter name",
}
_NEW = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)


def write_file(path: str | Path, content: bytes) -> None:
    """Write a file, all of it or nothing: beside its place first, and then in one step into it.

    What was there before stays until then. A new file has the usual permissions, one that is replaced those
    it had; of a link, what it leads to is replaced. What is no regular file, such as a pipe, is written to.

    Parameters
    ----------
    path : str or Path
    content : bytes

    Raises
    ------
    UnusableInput
        If it cannot be written; says why.
    """
    try:
        goal = Path(os.path.realpath(path))
        if goal.exists() and not goal.is_file():
            goal.write_bytes(content)
        else:
            _replace(goal, content)
    except OSError as problem:
        mend = _MENDS.get(problem.errno, "name a file elsewhere")
        raise UnusableInput(f"{path}: cannot be written ({problem.strerror}); {mend}") from problem


def _replace(goal: Path, content: bytes) -> None:
    before = _kept(goal)
    beside = goal.with_name(f".pwindow-{secrets.token_hex(8)}.part")
    try:
        with open(os.open(beside, _NEW, 0o666), "wb") as stream:
            stream.write(content)
            stream.flush()
            os.fsync(stream.fileno())
        if before is not None:
            _make_alike(beside, before)
        beside.replace(goal)
    except BaseException:
        beside.unlink(missing_ok=True)
        raise
    _keep_the_name(goal.parent)


def _kept(goal: Path) -> os.stat_result | None:
    """Owner and permissions of the file that is there; one that may not be written is refused."""
    if not goal.exists():
        return None
    if not os.access(goal, os.W_OK):
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES), str(goal))
    return goal.stat()


def _make_alike(file: Path, before: os.stat_result) -> None:
    if hasattr(os, "chown"):
        with suppress(PermissionError):  # only an administrator gives files away
            os.chown(file, before.st_uid, before.st_gid)
    file.chmod(stat.S_IMODE(before.st_mode))


def _keep_the_name(folder: Path) -> None:
    """Put the new name of a file on the disk too, where the system lets a folder be opened."""
    with suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


_RUN_BY_SPREADSHEETS = re.compile(r"[=+\-@\t\r\n＝＋－＠]")
_NUMBER = re.compile(r"[+-]?\d+([.,]\d+)?([eE][+-]?\d+)?")


def csv_of(frame: pd.DataFrame) -> str:
    """A table as comma-separated values, in which a spreadsheet runs nothing.

    Numbers stay as they are, also text that is nothing but a number, such as the id ``-12``.

    Parameters
    ----------
    frame : DataFrame

    Examples
    --------
    >>> print(csv_of(pd.DataFrame({"print": ["=1+1", "A-1", "-12"], "closure": [-3.2, 0.5, 1.0]})), end="")
    print,closure
    '=1+1,-3.2
    A-1,0.5
    -12,1.0
    """
    safe = frame.rename(columns=_defused)
    for at, kind in enumerate(safe.dtypes):
        if not pd.api.types.is_numeric_dtype(kind):
            column = safe.iloc[:, at].astype(object).map(_defused)
            safe.isetitem(at, column)  # type: ignore[arg-type]  # pandas takes a Series, its stubs do not say so
    return safe.to_csv(index=False)


def _defused(value: object) -> object:
    """A cell behind an apostrophe, where it is text that a spreadsheet would take for a formula."""
    if not isinstance(value, str) or _NUMBER.fullmatch(value):
        return value
    return f"'{value}" if _RUN_BY_SPREADSHEETS.match(value) else value


@overload
def plain(value: Mapping) -> dict[str, Any]: ...


@overload
def plain(value: object) -> Any: ...


def plain(value: object) -> Any:
    """A value that JSON can hold: numbers of numpy as Python's, NaN and infinity as null."""
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple, np.ndarray)):
        return [plain(item) for item in value]
    if isinstance(value, np.generic):
        value = value.item()
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value
