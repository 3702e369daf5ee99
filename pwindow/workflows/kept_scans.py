"""Files of scans in an archive: kept once they were measured, found again, and written back."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path, PurePath

import pandas as pd

from pwindow.errors import UnusableInput, first_few, shown
from pwindow.inputs import InputFile
from pwindow.outputs import write_file
from pwindow.trials.archive import Archive
from pwindow.trials.archive.adding import checksum_of
from pwindow.trials.files import read_cells
from pwindow.trials.headers import column_name

_FEWEST_DIGITS = 6  # of a SHA-256 by whose beginning a scan is named


@dataclass(frozen=True)
class Kept:
    """How many files were kept, and how many were in the archive already."""

    new: int
    known: int


@dataclass(frozen=True)
class Found:
    """Scans that were asked for.

    Attributes
    ----------
    scans : DataFrame
        Rows of `Archive.scans`.
    missing : tuple of str
        Files that a trial was measured from and the archive does not keep.
    """

    scans: pd.DataFrame
    missing: tuple[str, ...] = ()


@dataclass(frozen=True)
class Written:
    """Files that were written, and those that were in the folder already."""

    new: tuple[Path, ...]
    known: tuple[Path, ...]


def keep_measured(archive: Archive, paths: Mapping[str, Path]) -> Kept:
    """Keep the files that were measured.

    Parameters
    ----------
    archive : Archive
    paths : mapping of str to Path
        By the SHA-256 of what was measured.

    Raises
    ------
    UnusableInput
        If one has changed since, or is larger than an archive keeps.
    """
    new = archive.keep_scans(_unchanged(paths, set(archive.scans()["sha256"])))
    return Kept(new, len(paths) - new)


def _unchanged(paths: Mapping[str, Path], known: set[str]) -> Iterator[InputFile]:
    for digest, path in paths.items():
        if digest in known:
            continue
        file = InputFile.of(path)
        if checksum_of(file) != digest:
            raise UnusableInput(f"{path} changed while it was measured; run the command again")
        yield file


def find_scans(
    archive: Archive, named: Sequence[str] = (), trial: int | None = None, print_id: str | None = None
) -> Found:
    """Scans that an archive keeps: all, or those that are named, or of a trial, or of a print of it.

    Parameters
    ----------
    archive : Archive
    named : sequence of str
        Each by its SHA-256, or the first six digits of it or more, or the name of its file.
    trial : int, optional
        Number of a trial whose file says from which scans it was measured.
    print_id : str, optional
        Of that trial.

    Raises
    ------
    UnusableInput
        If one that is named is not kept, or the trial does not say its scans.
    """
    scans = archive.scans()
    for name in named:
        if not _is(scans, name).any():
            raise UnusableInput(
                f"archive {archive.address} keeps no scan “{shown(name)}”; list its scans with `pwindow scans`"
            )
    if named:
        scans = scans[pd.concat([_is(scans, name) for name in named], axis=1).any(axis=1)]
    if trial is None:
        return Found(scans)
    sources = _sources(archive.file(trial), trial, print_id)
    missing = () if named else tuple(sorted(set(sources[~sources.index.isin(scans["sha256"])])))
    return Found(scans[scans["sha256"].isin(sources.index)], missing)


def _is(scans: pd.DataFrame, name: str) -> pd.Series:
    begins = scans["sha256"].str.startswith(name.lower()) & (len(name) >= _FEWEST_DIGITS)
    return begins.astype(bool) | (scans["name"] == name)


def _sources(file: InputFile, trial: int, print_id: str | None) -> pd.Series:
    """Names of the scans that a trial was measured from, by their SHA-256."""
    cells = read_cells(file)[0]
    cells.columns = pd.Index([column_name(str(name))[0] for name in cells])
    if not {"print", "source_file", "source_sha256"} <= set(cells):
        raise UnusableInput(
            f"trial {trial}, {file.name}, does not say which scans it was measured from; `pwindow trace` writes that "
            "as source_file and source_sha256"
        )
    if print_id is not None:
        cells = cells[cells["print"].astype(str).str.strip() == print_id]
        if cells.empty:
            raise UnusableInput(f"trial {trial} has no print “{shown(print_id)}”")
    return cells.drop_duplicates("source_sha256").set_index("source_sha256")["source_file"].astype(str)


def write_back(archive: Archive, scans: pd.DataFrame, folder: Path) -> Written:
    """Write files of scans as they came, each after its SHA-256 was checked; no other file is overwritten.

    Parameters
    ----------
    archive : Archive
    scans : DataFrame
        As `Found.scans`.
    folder : Path
        Made where it is not there.

    Raises
    ------
    UnusableInput
        If the folder has another file of one of the names, or two scans have one name: then nothing is written; if one
        was changed in the archive, or cannot be written.
    """
    goals = {
        str(digest): folder / PurePath(name).name for digest, name in zip(scans["sha256"], scans["name"])
    }
    _refuse_same_names(goals)
    known = tuple(goal for digest, goal in goals.items() if _there(goal, digest))
    new = {digest: goal for digest, goal in goals.items() if goal not in known}
    _make(folder)
    for digest, goal in new.items():
        file = archive.scan(digest)
        if not _there(goal, digest):  # names may differ by capitals that the disk does not tell apart
            write_file(goal, file.content)
    return Written(tuple(new.values()), known)


def _refuse_same_names(goals: Mapping[str, Path]) -> None:
    by_name: dict[str, list[str]] = {}
    for digest, goal in goals.items():
        by_name.setdefault(goal.name, []).append(digest[:12])
    for name, digests in by_name.items():
        if len(digests) > 1:
            raise UnusableInput(
                f"{len(digests)} different scans are called “{shown(name)}”; name one by its SHA-256: {first_few(digests)}"
            )


def _there(goal: Path, digest: str) -> bool:
    """Whether a file is there already; another one in its place is refused."""
    if not goal.exists():
        return False
    if checksum_of(InputFile.of(goal)) != digest:
        raise UnusableInput(
            f"{goal} is there and is another file: its SHA-256 differs; it was not overwritten: name another folder"
        )
    return True


def _make(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as problem:
        raise UnusableInput(
            f"{folder}: cannot be made ({problem.strerror}); name another folder"
        ) from problem
