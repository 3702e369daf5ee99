"""What an engineer decides about scans: accepted, excluded with a reason, levelled on stretches that were pointed out.

A decision belongs to the bytes of a scan (their SHA-256), so that it is repeated when the same scan is read again, and
is not when another one has its name.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from pathlib import Path
from types import MappingProxyType

import numpy as np

from pwindow.declarations import Table, read_toml
from pwindow.errors import DeclarationProblem, UnitProblem, UnusableInput, first_few, shown
from pwindow.inputs import InputFile
from pwindow.metrology.topography import Topography
from pwindow.metrology.trace import Trace
from pwindow.units import read_quantity

Stretch = tuple[float, float]
Key = tuple[str, str]
_MOST_BYTES = 5_000_000  # a decision has some 250
_LONGEST, _MOST_STRETCHES = 200, 20
_KEYS = ("file", "sha256", "profile", "decision", "reason", "bare_film")
_STRETCH = re.compile(r"(?P<low>[+-]?[\d.]+)\s*(?:to|–|…|\.\.)\s*(?P<high>[+-]?[\d.]+)\s*(?P<unit>\S*)")
_DIGEST = re.compile(r"[0-9a-f]{64}")


class Verdict(StrEnum):
    """What is decided about a scan."""

    ACCEPTED = "accepted"
    EXCLUDED = "excluded"


@dataclass(frozen=True, kw_only=True)
class Decision:
    """A decision about one scan.

    Attributes
    ----------
    file : str
        Name of the scan's file when it was decided on.
    sha256 : str
        Of the file's bytes.
    profile : str
        Which profile of the file; "" where it holds one scan.
    verdict : Verdict or None
        None where only the levelling was changed.
    reason : str
        Why it is excluded.
    film : tuple of (float, float)
        Stretches of bare film to level on, µm along the profile; found unless given.
    """

    file: str
    sha256: str
    profile: str = ""
    verdict: Verdict | None = None
    reason: str = ""
    film: tuple[Stretch, ...] = ()

    @property
    def key(self) -> Key:
        return self.sha256, self.profile

    @property
    def empty(self) -> bool:
        """Whether it decides nothing, as one that was undone."""
        return self.verdict is None and not self.film

    @property
    def excluded(self) -> bool:
        return self.verdict is Verdict.EXCLUDED

    def texts(self) -> dict[str, str]:
        """By the keys of a file of decisions; "" where it does not say."""
        return {
            "file": self.file,
            "sha256": self.sha256,
            "profile": self.profile,
            "decision": self.verdict or "",
            "reason": self.reason,
            "bare_film": ", ".join(map(stretch_words, self.film)),
        }

    @classmethod
    def of_texts(cls, texts: Mapping[str, str]) -> Decision:
        """Of what `texts` gives; raises UnitProblem where a stretch is none."""
        return cls(
            file=texts["file"],
            sha256=texts["sha256"],
            profile=texts["profile"],
            verdict=Verdict(texts["decision"]) if texts["decision"] else None,
            reason=texts["reason"],
            film=read_stretches(texts["bare_film"]),
        )

    def words(self) -> str:
        """As a sentence without its end."""
        said = [] if self.verdict is None else [self.verdict + (f": {self.reason}" if self.reason else "")]
        if self.film:
            said.append(f"levelled on {', '.join(map(stretch_words, self.film))}")
        return "; ".join(said)


@dataclass(frozen=True)
class Decisions:
    """Decisions about scans, the one of each scan."""

    by_key: Mapping[Key, Decision] = field(default_factory=lambda: MappingProxyType({}))

    def __iter__(self) -> Iterator[Decision]:
        return iter(self.by_key.values())

    def __len__(self) -> int:
        return len(self.by_key)

    def on(self, scan: Trace | Topography) -> Decision | None:
        """The decision about a scan; None where there is none."""
        return self.by_key.get(key_of(scan))

    def taking(self, *decisions: Decision) -> Decisions:
        """With more decisions, which take the place of earlier ones about the same scans."""
        return Decisions(MappingProxyType({**self.by_key, **{one.key: one for one in decisions}}))

    def undoing(self, decision: Decision) -> Decisions:
        """Without a decision."""
        return Decisions(
            MappingProxyType({key: one for key, one in self.by_key.items() if key != decision.key})
        )

    def outdated(self, scans: Iterable[Trace | Topography]) -> tuple[str, ...]:
        """Names of files that were decided on and have other bytes now, so that their decisions do not hold."""
        now: dict[str, set[str]] = {}
        for scan in scans:
            now.setdefault(scan.file, set()).add(scan.sha256)
        return tuple(sorted({one.file for one in self if one.sha256 not in now.get(one.file, {one.sha256})}))

    def not_holding(self, scans: Sequence[Trace | Topography]) -> tuple[str, ...]:
        """In sentences, decisions that seem to be about these scans and hold for none of them."""
        return (*map(changed_since, self.outdated(scans)), *self.without_profile(scans))

    def without_profile(self, scans: Iterable[Trace | Topography]) -> tuple[str, ...]:
        """In sentences, decisions about profiles that the files with their bytes do not hold."""
        there: dict[str, list[str]] = {}
        for scan in scans:
            digest, profile = key_of(scan)
            there.setdefault(digest, []).append(profile)
        return tuple(
            _no_such_profile(one, there[one.sha256])
            for one in self
            if one.profile not in there.get(one.sha256, [one.profile])
        )

    def text(self) -> str:
        """As a file has it, in TOML."""
        return "\n".join(["# decisions on scans", *(_written(one) for one in self)]) + "\n"


def key_of(scan: Trace | Topography) -> Key:
    """By what a decision knows its scan: the bytes of its file, and which profile of it."""
    return scan.sha256, scan.profile if isinstance(scan, Trace) else ""


def excluded_apart(
    scans: Sequence[Trace | Topography], decisions: Decisions
) -> tuple[list[Trace | Topography], list[Trace | Topography]]:
    """The scans to measure, and those that are excluded."""
    found: dict[bool, list[Trace | Topography]] = {True: [], False: []}
    for scan in scans:
        decision = decisions.on(scan)
        found[decision is not None and decision.excluded].append(scan)
    return found[False], found[True]


def changed_since(file: str) -> str:
    """That a file is not what it was when it was decided on."""
    return f"{file} has changed since it was decided on; that decision is not used: look at the scan again"


def _no_such_profile(decision: Decision, there: Sequence[str]) -> str:
    of = f"of its profile “{shown(decision.profile)}”" if decision.profile else "without naming a profile"
    holds = f"profiles {first_few(there)}: name one of them" if any(there) else "one profile without a name"
    return f"{decision.file}: “{decision.words()}” was decided {of}, and it holds {holds}; that decision is not used"


def decision_on(
    scan: Trace | Topography,
    verdict: Verdict | None,
    reason: str = "",
    film: Sequence[Stretch] = (),
) -> Decision:
    """A decision about a scan, checked.

    Parameters
    ----------
    scan : Trace or Topography
    verdict : Verdict or None
    reason : str
        Needed of a scan that is excluded.
    film : sequence of (float, float)
        Stretches of bare film, µm.

    Raises
    ------
    UnusableInput
        If a scan is excluded without a reason, or a stretch has no points of the scan.
    """
    digest, profile = key_of(scan)
    found = Decision(
        file=scan.file,
        sha256=digest,
        profile=profile,
        verdict=verdict,
        reason=reason.strip(),
        film=tuple(film),
    )
    if found.excluded and not found.reason:
        raise UnusableInput(f"{scan.name}: to exclude a scan needs a reason, such as “dust on line 2”")
    if len(found.reason) > _LONGEST or len(found.film) > _MOST_STRETCHES:
        raise UnusableInput(
            f"{scan.name}: at most {_LONGEST} characters of a reason, and {_MOST_STRETCHES} stretches"
        )
    film_of(scan, found)
    return found


def film_of(scan: Trace | Topography, decision: Decision | None) -> np.ndarray | None:
    """Points of a profile that a decision says are bare film, shape (n,); None where it does not say.

    Raises
    ------
    UnusableInput
        If the scan is a topography, or a stretch holds none of its points.
    """
    if decision is None or not decision.film:
        return None
    if isinstance(scan, Topography):
        raise UnusableInput(f"{scan.name}: the bare film of a topography is always found, never stated")
    film = np.zeros(len(scan.x), bool)
    for low, high in decision.film:
        inside = (scan.x >= low) & (scan.x <= high) & scan.seen
        if not inside.any():
            raise UnusableInput(
                f"{scan.name}: no point of it lies in {stretch_words((low, high))}; it runs from "
                f"{scan.x[0]:.4g} to {scan.x[-1]:.4g} µm"
            )
        film |= inside
    return film


def read_stretches(text: str) -> tuple[Stretch, ...]:
    """Stretches along a profile, parted by commas, in µm unless they say otherwise.

    Parameters
    ----------
    text : str

    Raises
    ------
    UnitProblem
        If one is no stretch.

    Examples
    --------
    >>> read_stretches("0 to 40, 0.18 to 0.24 mm")
    ((0.0, 40.0), (180.0, 240.0))
    """
    return tuple(_stretch(part) for part in text.split(",") if part.strip())


def _stretch(text: str) -> Stretch:
    found = _STRETCH.fullmatch(text.strip())
    if found is None:
        raise UnitProblem(f"“{shown(text.strip())}” is no stretch; write it like “0 to 40 µm”")
    low, high = (read_quantity(f"{found[end]} {found['unit'] or 'µm'}", "µm") for end in ("low", "high"))
    if not low < high:
        raise UnitProblem(f"“{shown(text.strip())}”: the second number must be larger than the first")
    return low, high


def stretch_words(stretch: Stretch) -> str:
    """A stretch as `read_stretches` reads it."""
    return f"{stretch[0]:.10g} to {stretch[1]:.10g} µm"


def _written(one: Decision) -> str:
    lines = [f"{key} = {_quoted(text)}" for key, text in one.texts().items() if text]
    return "\n[[scan]]\n" + "\n".join(lines)


def _quoted(text: str) -> str:
    """A TOML string; its escapes are those of JSON, but for the one control character that JSON leaves as it is."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def read_decisions(source: str | Path | InputFile) -> Decisions:
    """Decisions of a file, as `Decisions.text` writes it.

    Raises
    ------
    UnusableInput
        If it is no file of decisions; the message says where.
    """
    file = InputFile.of(source)
    document = read_toml(file, _MOST_BYTES)
    entries = document.take("scan", [])
    document.close("[[scan]]")
    if not isinstance(entries, list) or not all(isinstance(one, dict) for one in entries):
        raise DeclarationProblem(f"{file.name}: write each decision as a table [[scan]]")
    found = [_read(Table(one, f"{file.name}, scan {at}")) for at, one in enumerate(entries, 1)]
    keys = [one.key for one in found]
    repeated = sorted({one.file for one in found if keys.count(one.key) > 1})
    if repeated:
        raise DeclarationProblem(f"{file.name}: two decisions on {first_few(repeated)}; keep one of them")
    return Decisions().taking(*found)


def _read(table: Table) -> Decision:
    texts = {key: _text(table, key) for key in _KEYS}
    table.close(", ".join(_KEYS))
    texts["sha256"] = texts["sha256"].lower()
    if not _DIGEST.fullmatch(texts["sha256"]):
        raise DeclarationProblem(
            f"{table.where}: sha256 must be the 64 hexadecimal digits of the scan's file"
        )
    if texts["decision"] not in ("", *Verdict):
        raise DeclarationProblem(
            f"{table.where}: decision “{shown(texts['decision'])}” must be {' or '.join(Verdict)}"
        )
    try:
        found = Decision.of_texts(texts)
    except UnitProblem as problem:
        raise DeclarationProblem(f"{table.where}, bare_film: {problem}") from problem
    if found.excluded and not found.reason:
        raise DeclarationProblem(f"{table.where}: an excluded scan needs a reason")
    return found


def _text(table: Table, key: str) -> str:
    value = table.take(key, "")
    if not isinstance(value, str):
        raise DeclarationProblem(f'{table.where}: {key} must be a text, written {key} = "…"')
    return value
