"""Files of scans that an archive keeps: each once, by the SHA-256 of its bytes, compressed."""

from __future__ import annotations

import zlib
from collections.abc import Iterable, Iterator, Sequence

import pandas as pd
from sqlalchemy import Connection, select

from pwindow.errors import UnusableInput
from pwindow.inputs import InputFile
from pwindow.trials.archive.adding import checksum_of, now
from pwindow.trials.archive.rows import read_frame
from pwindow.trials.archive.schema import SCANS

LARGEST = 100_000_000
"""Bytes of a file that is kept: four times a text grid of 2,000 by 2,000 points."""
_AT_ONCE = 20_000_000  # bytes of compressed files that are written together
_CHANGED = (
    "is not the file that was kept: something other than pwindow changed it; restore a backup of the archive"
)


def refuse_large(name: str, size: int) -> None:
    """Refuse a file that is larger than an archive keeps.

    Raises
    ------
    UnusableInput
        If it has more than `LARGEST` bytes.
    """
    if size > LARGEST:
        raise UnusableInput(
            f"{name} has {size / 1e6:,.1f} MB, and an archive keeps scans of at most {LARGEST / 1e6:g} MB; export it with "
            "fewer points, or do not keep it"
        )


def packed_scans(files: Iterable[InputFile]) -> Iterator[list[dict]]:
    """Files as rows of the table, as many at a time as fit into memory; errors as of `refuse_large`."""
    rows: list[dict] = []
    for file in files:
        rows.append(_packed(file))
        if sum(len(row["content"]) for row in rows) > _AT_ONCE:
            yield rows
            rows = []
    yield rows


def _packed(file: InputFile) -> dict:
    refuse_large(file.name, len(file.content))
    return {
        "sha256": checksum_of(file),
        "name": file.name,
        "size": len(file.content),
        "kept": now(),
        "content": zlib.compress(file.content),
    }


def write_scans(connection: Connection, rows: Sequence[dict]) -> int:
    """Write the files that are not there yet; gives how many those are.

    Parameters
    ----------
    connection : Connection
        In a transaction that writes.
    rows : sequence of dict
        As `packed_scans` gives them.
    """
    by_digest: dict[str, dict] = {}
    for row in rows:
        by_digest.setdefault(row["sha256"], row)
    there = set(connection.scalars(select(SCANS.c.sha256).where(SCANS.c.sha256.in_(by_digest))))
    new = [row for digest, row in by_digest.items() if digest not in there]
    if new:
        connection.execute(SCANS.insert(), new)
    return len(new)


def read_scans(connection: Connection) -> pd.DataFrame:
    """What is known of each file that is kept, the oldest first: all columns but the content."""
    columns = [column for column in SCANS.c if column.name != "content"]
    return read_frame(connection, select(*columns).order_by(SCANS.c.kept, SCANS.c.name, SCANS.c.sha256))


def read_scan(connection: Connection, sha256: str) -> InputFile:
    """A file as it was kept.

    Parameters
    ----------
    connection : Connection
    sha256 : str
        All 64 hexadecimal digits.

    Raises
    ------
    UnusableInput
        If it is not there, or does not have its fingerprint any more.
    """
    row = connection.execute(select(SCANS).where(SCANS.c.sha256 == sha256)).one_or_none()
    if row is None:
        raise UnusableInput(f"there is no scan {sha256}; list the scans with `pwindow scans`")
    file = InputFile(row.name, _unpacked(row.name, row.content))
    if checksum_of(file) != sha256:
        raise UnusableInput(f"{file.name} ({sha256[:12]}) {_CHANGED}")
    return file


def _unpacked(name: str, content: bytes) -> bytes:
    try:
        return zlib.decompressobj().decompress(content, LARGEST + 1)
    except zlib.error as problem:
        raise UnusableInput(f"{name} {_CHANGED} ({problem})") from problem
