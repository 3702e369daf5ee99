"""Scans that are looked at: read, measured, decided about, and handed over as rows of a trial file."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from pathlib import Path

import pandas as pd

from pwindow.environment import ARCHIVE, SCANS, TRIAL
from pwindow.errors import UnusableInput
from pwindow.inputs import InputFile
from pwindow.metrology.areas import MeasuredArea
from pwindow.metrology.decisions import (
    Decision,
    Decisions,
    decision_on,
    excluded_apart,
    read_decisions,
)
from pwindow.metrology.features import Measured
from pwindow.metrology.instruments import INSTRUMENTS, Instrument
from pwindow.metrology.rows import names_of, trial_rows
from pwindow.metrology.scans import SUFFIXES, measure_scan, measured_or_why, read_scans
from pwindow.metrology.topography import Topography
from pwindow.metrology.trace import Trace
from pwindow.outputs import csv_of
from pwindow.shipped import shipped
from pwindow.trials.archive import Archive
from pwindow.trials.files import read_cells
from pwindow.trials.headers import column_name
from pwindow.workflows.given import given_address

Scan = Trace | Topography
Outcome = Measured | MeasuredArea | str


@dataclass(frozen=True, kw_only=True)
class ScanSet:
    """Scans with what was decided about them; each is measured once.

    Attributes
    ----------
    scans : tuple of Trace or Topography
    decisions : Decisions
        Also about scans that are not there.
    runs : DataFrame or None
        Cells of a run list.
    instrument : Instrument
    archive : Archive or None
        Where decisions are kept beyond this set.
    unread : tuple of str
        Why files that it was started with cannot be used.
    """

    scans: tuple[Scan, ...] = ()
    decisions: Decisions = field(default_factory=Decisions)
    runs: pd.DataFrame | None = None
    instrument: Instrument = INSTRUMENTS["optical"]
    archive: Archive | None = None
    unread: tuple[str, ...] = ()
    _outcomes: dict = field(default_factory=dict, repr=False, compare=False)

    @classmethod
    def of(cls, files: Iterable[str | Path | InputFile], archive: Archive | None = None) -> ScanSet:
        """Of files and of folders, with the decisions of an archive; files that cannot be used do not hold up the others."""
        decisions = Decisions() if archive is None else archived_decisions(archive)
        found = cls(decisions=decisions, archive=archive)
        for one in _files_of(files):
            try:
                found = found._with(one)
            except UnusableInput as problem:
                found = replace(found, unread=(*found.unread, str(problem)))
        return found

    def with_files(self, files: Iterable[str | Path | InputFile]) -> ScanSet:
        """With more files, whatever they are: scans, decisions on scans, a run list.

        A scan of the same name is replaced; a run list replaces the one before; decisions are added.

        Parameters
        ----------
        files : iterable of str, Path or InputFile

        Raises
        ------
        UnusableInput
            If one cannot be used; all is as before then.
        """
        found = replace(self, archive=None)
        for one in _files_of(files):
            found = found._with(one)
        new = [one for one in found.decisions if self.decisions.by_key.get(one.key) != one]
        return replace(self.deciding(*new), scans=found.scans, runs=found.runs)

    def _with(self, file: InputFile) -> ScanSet:
        if file.name.lower().endswith(".toml"):
            return self.deciding(*read_decisions(file))
        runs = _run_list(file)
        if runs is not None:
            return replace(self, runs=runs)
        new = {scan.name: scan for scan in read_scans(file)}
        return replace(self, scans=tuple(({scan.name: scan for scan in self.scans} | new).values()))

    def deciding(self, *decisions: Decision) -> ScanSet:
        """With more decisions; one that decides nothing undoes the one before."""
        found = self.decisions
        for one in decisions:
            if one != found.by_key.get(one.key) and self.archive is not None:
                self.archive.keep_scan_decision(one.texts())
            found = found.undoing(one) if one.empty else found.taking(one)
        return replace(self, decisions=found)

    def undoing(self, scan: Scan) -> ScanSet:
        """Without the decision about a scan."""
        return self.deciding(decision_on(scan, None))

    @property
    def measured(self) -> bool:
        """Whether each scan was measured, or tried to be."""
        return all(self._key(scan) in self._outcomes for scan in self.scans)

    def measured_before(self, scan: Scan) -> Outcome | None:
        """What was measured on a scan; None where it was not yet."""
        return self._outcomes.get(self._key(scan))

    def outcome(self, scan: Scan) -> Outcome:
        """What was measured on a scan, or why it could not be."""
        key = self._key(scan)
        if key not in self._outcomes:
            self._outcomes[key] = measured_or_why(
                scan, self.instrument, self.decisions.on(scan), measure_scan
            )
        return self._outcomes[key]

    def _key(self, scan: Scan) -> tuple:
        decision = self.decisions.on(scan)
        return (scan.sha256, scan.name, () if decision is None else decision.film)

    def measure_all(self, tell: Callable[[str], None]) -> None:
        """Measure what was not yet, and tell each before it is."""
        for at, scan in enumerate(self.scans, 1):
            tell(f"measuring {scan.name} ({at} of {len(self.scans)})")
            self.outcome(scan)

    def warnings(self) -> tuple[str, ...]:
        """Files that cannot be used, and decisions that do not hold any more."""
        return (*self.unread, *self.decisions.not_holding(self.scans))

    def rows(self) -> str:
        """Rows of a trial file (CSV) of all scans but those that are excluded or cannot be measured.

        Raises
        ------
        UnusableInput
            If a scan does not say its print, the run list lacks one, or nothing was measured.
        """
        kept, _ = excluded_apart(self.scans, self.decisions)
        found = [one for scan in kept if not isinstance(one := self.outcome(scan), str)]
        if not found:
            raise UnusableInput("no scan was measured that is not excluded")
        measured = [scan for scan in kept if not isinstance(self.outcome(scan), str)]
        return csv_of(trial_rows(found, names_of(measured), self.runs))


def given_scans() -> ScanSet:
    """The scans that the server was started with; those of the demo where it was started on the demo."""
    paths: list[str | Path] = list(filter(None, os.environ.get(SCANS, "").split(os.pathsep)))
    if not (paths or os.environ.get(TRIAL) or os.environ.get(ARCHIVE)):
        demo = shipped("data_demo")
        paths = [demo / "scans", demo / "scans_runs.csv"]
    address = given_address()
    return ScanSet.of(paths, None if address is None else Archive(address))


def archived_decisions(archive: Archive) -> Decisions:
    """The last decision about each scan that an archive knows, but for those that were undone."""
    found = Decisions()
    for texts in archive.scan_decisions().to_dict("records"):
        one = Decision.of_texts({str(key): text for key, text in texts.items()})
        found = found.undoing(one) if one.empty else found.taking(one)
    return found


def _files_of(sources: Iterable[str | Path | InputFile]) -> Iterable[InputFile]:
    for source in sources:
        if isinstance(source, InputFile) or not Path(source).is_dir():
            yield InputFile.of(source)
        else:
            paths = (path for path in Path(source).iterdir() if path.suffix.lower() in (*SUFFIXES, ".toml"))
            yield from map(InputFile.of, sorted(paths))


def _run_list(file: InputFile) -> pd.DataFrame | None:
    """Cells of a run list; None where a file is none, having no column of prints or a speed beside it."""
    if not file.name.lower().endswith((".csv", ".tsv", ".txt", ".xlsx", ".parquet")):
        return None
    try:
        cells = read_cells(file)[0]
    except UnusableInput:
        return None
    names = {column_name(str(name))[0] for name in cells}
    return cells if "print" in names and "speed" in names else None
