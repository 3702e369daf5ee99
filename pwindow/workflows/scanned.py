"""Scans that are looked at: read, measured, decided about, and handed over as rows of a trial file."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache, partial
from itertools import takewhile
from time import monotonic

import pandas as pd

from pwindow.environment import ARCHIVE, SCANS, TRIAL
from pwindow.errors import UnusableInput, first_few
from pwindow.metrology.decisions import (
    Decision,
    Decisions,
    decision_on,
    excluded_apart,
    key_of,
)
from pwindow.metrology.foot import FOOT_RULES, TENTH, FootRule
from pwindow.metrology.instruments import INSTRUMENTS, Instrument, instrument_as
from pwindow.metrology.rows import names_of, not_there
from pwindow.metrology.scans import measured_or_why
from pwindow.outputs import csv_of
from pwindow.shipped import shipped
from pwindow.study import FEET, ScansStated, read_study
from pwindow.trials.archive import Archive
from pwindow.workflows.given import given_address, given_study_path
from pwindow.workflows.scan_files import Content, Source, content_of, sources_in
from pwindow.workflows.scan_kinds import KINDS, PRINT, Found, Kind, Listed, Scan

Outcome = Found | str
_PREPARING = 5.0  # s after which no more scans are prepared: other pages wait for them


@dataclass(frozen=True, kw_only=True)
class ScanSet:
    """Scans with what was decided about them; each is measured once for a kind, an instrument and a foot.

    Attributes
    ----------
    loaded : tuple of Trace or Topography
        Of prints and of plates.
    kind : Kind
        Which of them are looked at, and how they are measured.
    instrument : Instrument
        Whose uncertainty of heights is assumed.
    decisions : Decisions
        Also about scans that are not there.
    rule : FootRule
        Where the foot of a line lies.
    stated : ScansStated
        What a study says of them.
    runs : DataFrame or None
        Cells of a run list.
    listed : mapping or None
        What a scan list says, as `listed_scans` gives it.
    archive : Archive or None
        Where decisions are kept beyond this set.
    unread : tuple of str
        Why files that it was started with cannot be used.
    """

    loaded: tuple[Scan, ...] = ()
    kind: Kind = PRINT
    instrument: Instrument = INSTRUMENTS["optical"]
    decisions: Decisions = field(default_factory=Decisions)
    rule: FootRule = TENTH
    stated: ScansStated = field(default_factory=ScansStated)
    runs: pd.DataFrame | None = None
    listed: Listed | None = None
    archive: Archive | None = None
    unread: tuple[str, ...] = ()
    _outcomes: dict = field(default_factory=dict, repr=False, compare=False)

    @classmethod
    def of(
        cls,
        files: Iterable[Source],
        archive: Archive | None = None,
        outcomes: dict | None = None,
        stated: ScansStated | None = None,
    ) -> ScanSet:
        """Of files and of folders, with the decisions of an archive; files that cannot be used do not hold up the others.

        Parameters
        ----------
        files : iterable of str, Path or InputFile
        archive : Archive, optional
        outcomes : dict, optional
            What was measured before, to which more is added.
        stated : ScansStated, optional
            What a study says of them.
        """
        stated = stated or ScansStated()
        found = cls(
            decisions=Decisions() if archive is None else archived_decisions(archive),
            archive=archive,
            instrument=instrument_as(stated),
            rule=FOOT_RULES[stated.foot or FEET[0]],
            stated=stated,
            _outcomes={} if outcomes is None else outcomes,
        )
        for one in sources_in(files):
            try:
                found = found._with(content_of(one))
            except UnusableInput as problem:
                found = replace(found, unread=(*found.unread, str(problem)))
        return found._turned_to(found.loaded)

    @property
    def scans(self) -> tuple[Scan, ...]:
        """Those of the kind that is looked at."""
        return self.of_kind(self.kind)

    def of_kind(self, kind: Kind) -> tuple[Scan, ...]:
        """Those of a kind."""
        return tuple(filter(kind.holds, self.loaded))

    def with_files(self, files: Iterable[Source]) -> ScanSet:
        """With more files, whatever they are: scans, decisions on scans, a run list, a scan list.

        Scans of files that differ are all kept, whatever they are called; a list replaces the one before; decisions
        are added. Where none of the new scans is of the kind that is looked at, their kind is.

        Parameters
        ----------
        files : iterable of str, Path or InputFile

        Raises
        ------
        UnusableInput
            If one cannot be used; all is as before then.
        """
        found = replace(self, archive=None)
        for one in sources_in(files):
            found = found._with(content_of(one))
        new = [one for one in found.decisions if self.decisions.by_key.get(one.key) != one]
        taken = replace(self.deciding(*new), loaded=found.loaded, runs=found.runs, listed=found.listed)
        return taken._turned_to(found.loaded[len(self.loaded) :])

    def _with(self, content: Content) -> ScanSet:
        if isinstance(content, Decisions):
            return self.deciding(*content)
        if isinstance(content, pd.DataFrame):
            return replace(self, runs=content)
        if isinstance(content, Mapping):
            return replace(self, listed=content)
        return replace(self, loaded=(*self.loaded, *self._told_apart(content)))

    def _told_apart(self, scans: Iterable[Scan]) -> Iterator[Scan]:
        """Scans that are not here yet, numbered where a file of their name but with other bytes is."""
        here = {(scan.file, key_of(scan)) for scan in self.loaded}
        for scan in scans:
            if (scan.file, key_of(scan)) in here:
                continue
            others = {digest for file, (digest, _) in here if file == scan.file} - {scan.sha256}
            yield replace(scan, name=f"{scan.name} ({len(others) + 1})") if others else scan

    def _turned_to(self, new: Sequence[Scan]) -> ScanSet:
        """Looking at the kind of new scans, where none of them is of the present one."""
        if not new or any(map(self.kind.holds, new)):
            return self
        return replace(self, kind=next(kind for kind in KINDS.values() if any(map(kind.holds, new))))

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
            measure = self.kind.measured_by(self.rule)
            self._outcomes[key] = measured_or_why(scan, self.instrument, self.decisions.on(scan), measure)
        return self._outcomes[key]

    def _key(self, scan: Scan) -> tuple:
        decision = self.decisions.on(scan)
        film = () if decision is None else decision.film
        rule = self.rule if self.kind.footed else None
        return (self.kind.name, self.instrument, rule, scan.sha256, scan.name, film)

    def measure_all(self, tell: Callable[[str], None]) -> None:
        """Measure what was not yet, and tell each before it is."""
        for at, scan in enumerate(self.scans, 1):
            tell(f"measuring {scan.name} ({at} of {len(self.scans)})")
            self.outcome(scan)

    def warnings(self) -> tuple[str, ...]:
        """Files that cannot be used, scans of a list that are not there, decisions that do not hold any more, and files of
        one name that differ.
        """
        there = {name for scan in self.loaded for name in (scan.name, scan.file)}
        missing = None if self.listed is None else not_there(self.listed, there)
        return (
            *self.unread,
            *([] if missing is None else [missing]),
            *self.decisions.not_holding(self.loaded),
            *self._called_alike(),
        )

    def _called_alike(self) -> Iterator[str]:
        digests: dict[str, set[str]] = {}
        for scan in self.loaded:
            digests.setdefault(scan.file, set()).add(scan.sha256)
        for file, different in digests.items():
            if len(different) > 1:
                names = first_few([scan.name for scan in self.loaded if scan.file == file])
                yield (
                    f"{len(different)} different files are named {file}; their scans are listed as {names}: exclude any "
                    "that another one replaces"
                )

    def rows(self) -> str:
        """Rows (CSV) of all scans of the kind that is looked at, but those that are excluded or cannot be measured.

        Raises
        ------
        UnusableInput
            If a scan does not say its print or its plate, the run list lacks a print, or nothing was measured.
        """
        kept, _ = excluded_apart(self.scans, self.decisions)
        measured = [scan for scan in kept if not isinstance(self.outcome(scan), str)]
        if not measured:
            raise UnusableInput("no scan was measured that is not excluded")
        names = names_of(measured, self.stated.pattern_for(self.kind.field), self.kind.field, self.listed)
        return csv_of(self.kind.rows(list(map(self.outcome, measured)), names, self.runs, self.listed))


def given_scans() -> ScanSet:
    """The scans that the server was started with; those of the demo where it was started on the demo."""
    address = given_address()
    archive = None if address is None else Archive(address)
    return ScanSet.of(_given_paths(), archive, _measured_here(), _given_statement())


def prepared_scans(seconds: float = _PREPARING) -> ScanSet:
    """Read and measure what the server was started with, without decisions, for pages that ask for it later.

    Parameters
    ----------
    seconds : float
        After which no more is begun.
    """
    end = monotonic() + seconds
    soon = partial(takewhile, lambda _: monotonic() < end)
    found = ScanSet.of(soon(sources_in(_given_paths())), outcomes=_measured_here(), stated=_given_statement())
    for scan in soon(found.scans):
        found.outcome(scan)
    return found


def _given_statement() -> ScansStated:
    """What the study that the server was started with says of scans."""
    study = given_study_path()
    return ScansStated() if study is None else read_study(study).scans


def _given_paths() -> list[Source]:
    paths: list[Source] = list(filter(None, os.environ.get(SCANS, "").split(os.pathsep)))
    if paths or os.environ.get(TRIAL) or os.environ.get(ARCHIVE):
        return paths
    demo = shipped("data_demo")
    return [demo / "scans", demo / "scans_runs.csv", demo / "scans_plate"]


@cache
def _measured_here() -> dict:
    """What was measured in this process of scans that the server was started with."""
    return {}


def archived_decisions(archive: Archive) -> Decisions:
    """The last decision about each scan that an archive knows, but for those that were undone."""
    found = Decisions()
    for texts in archive.scan_decisions().to_dict("records"):
        one = Decision.of_texts({str(key): text for key, text in texts.items()})
        found = found.undoing(one) if one.empty else found.taking(one)
    return found
