"""What a report and a run sheet say of one set-up: numbers and sentences."""

from __future__ import annotations

import datetime
import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass

import plotly.graph_objects as go

from pwindow.product import Product
from pwindow.review.alternatives import Beside, Relaxed, Step
from pwindow.review.evidence import SurfaceFit
from pwindow.review.words import at_words
from pwindow.surfaces.findings import Finding
from pwindow.trials.archive import Archive
from pwindow.window.run.first_prints import FirstPrint, Stops
from pwindow.window.search.recommendation import Recommendation
from pwindow.window.search.starting import Choice
from pwindow.window.setup import Setup
from pwindow.window.shortfall.shortfall import Shortfall
from pwindow.window.shortfall.words import shortfall_dict


@dataclass(frozen=True)
class Setting:
    """One setting of the press: what it is set to, how far it may drift, and what was tried.

    Attributes
    ----------
    name, label, unit : str
    value : float
    drift : float or None
        Most that the setting may deviate, in `unit`; None where the product does not say.
    tried : (float, float)
        Ends of what the trial says something about, the other settings being as they are.
    """

    name: str
    label: str
    unit: str
    value: float
    drift: float | None
    tried: tuple[float, float]

    @property
    def held(self) -> tuple[float, float]:
        """How far it may drift within what was tried."""
        drift = self.drift or 0.0
        low, high = max(self.value - drift, self.tried[0]), min(self.value + drift, self.tried[1])
        return min(low, self.value), max(high, self.value)

    @property
    def held_words(self) -> str:
        """The same in words, with the digits that the drift leaves."""
        if not self.drift:
            return f"{self.value:g} {self.unit}"
        decimals = max(0, 1 - math.floor(math.log10(self.drift)))
        low, high = (f"{round(end, decimals):g}" for end in self.held)
        return f"{low} to {high} {self.unit}"

    @property
    def untried_drift(self) -> str:
        """Where a drift leaves what was tried, in words; "" where it does not."""
        if not self.drift:
            return ""
        slack = 1e-6 * self.drift
        ends = [
            f"{'below' if outward < 0 else 'above'} {end:.4g} {self.unit}"
            for outward, end in zip((-1, 1), self.tried)
            if outward * (self.value + outward * self.drift - end) > slack
        ]
        return " and ".join(ends)


@dataclass(frozen=True)
class RollVolume:
    """The cell volume a roll goes by, cm³/m², and when it was measured where that is known."""

    cell_volume: float
    measured: datetime.date | None = None
    note: str = ""


def last_volumes(archive: Archive) -> dict[str, RollVolume]:
    """The last measured volume of each roll that an archive knows, by its id."""
    last = archive.volumes().groupby("roll", sort=False).last()
    return {
        str(roll): RollVolume(float(row["cell_volume"]), row["measured"], row["note"])
        for roll, row in last.iterrows()
    }


@dataclass(frozen=True)
class Judgement:
    """One requirement at the set-up: 95 % interval of the next print, and the probability that it is met."""

    name: str
    label: str
    unit: str
    words: str
    least: float | None
    most: float | None
    mean: float
    low: float
    high: float
    conformance: float


@dataclass(frozen=True)
class Review:
    """What a report and a run sheet say; every probability is of the next run.

    Attributes
    ----------
    product : Product
    setup : Setup
    chosen : Choice
        Whose choice the set-up is; the closest where no set-up is assured.
    why : str
        Why it is recommended; "" where it is not.
    joint : float
    judgements : tuple of Judgement
    pressure_unit, pressure_key : str
    settings : tuple of Setting
    volume : RollVolume
    band : mapping or None
        The speed band that holds the set-up.
    bands : tuple of mapping
        As `pwindow speeds` answers them.
    recommended : Recommendation or None
    nearby : tuple of mapping
        Slower and faster speeds: conformance of each requirement, and of all.
    steps : tuple of Step
        What one step of a setting changes.
    relaxed : tuple of Relaxed
        What a limit relaxed by one step gives.
    beside : Beside or None
    silver_notes : tuple of str
    trial : mapping
        What was read, as `summarise` tells it.
    fit : tuple of SurfaceFit
    assumption : str
        What the probabilities stand on where the trial does not tell how far make-readies differ, else "".
    findings : tuple of Finding
    notes : tuple of str
    untried : tuple of str
    calibration : mapping or None
    first : tuple of FirstPrint
    gaps : int or None
        Gaps of one part, none of which may be bridged.
    stops : Stops
        How often a first print is held up though the press prints as in the trial.
    pattern : mapping of str to float
        What is on the plate of the set-up, µm: "plate_width", "plate_gap"; what is not known is left out.
    shortfall : Shortfall or None
        What there is to say where no set-up is assured.
    in_full : mapping of str to str
        All that product and study declare, in words.
    fit_options : str
        Options of a command that fits as this fit was made; "" where it was made without any.
    fit_notes : tuple of str
        What the fit took, left out or assumed.
    fingerprints, versions : mapping of str to str
    made : date
    command : str
        What makes the document again; "" where no command did.
    address : str
        Of the page that made it, which holds what was chosen there; "" where none did.
    loaded : tuple of str
        Names of the files that were loaded on that page.
    pictures : mapping of str to plotly Figure
        As of `pictures`; not in `to_dict`.
    """

    product: Product
    setup: Setup
    chosen: Choice
    why: str
    joint: float
    judgements: tuple[Judgement, ...]
    pressure_unit: str
    pressure_key: str
    settings: tuple[Setting, ...]
    volume: RollVolume
    band: Mapping | None
    bands: tuple[Mapping, ...]
    recommended: Recommendation | None
    nearby: tuple[Mapping, ...]
    steps: tuple[Step, ...]
    relaxed: tuple[Relaxed, ...]
    beside: Beside | None
    silver_notes: tuple[str, ...]
    trial: Mapping
    fit: tuple[SurfaceFit, ...]
    assumption: str
    findings: tuple[Finding, ...]
    notes: tuple[str, ...]
    untried: tuple[str, ...]
    calibration: Mapping | None
    first: tuple[FirstPrint, ...]
    gaps: int | None
    stops: Stops
    pattern: Mapping[str, float]
    shortfall: Shortfall | None
    in_full: Mapping[str, str]
    fit_options: str
    fit_notes: tuple[str, ...]
    fingerprints: Mapping[str, str]
    versions: Mapping[str, str]
    made: datetime.date
    command: str
    address: str
    loaded: tuple[str, ...]
    pictures: Mapping[str, go.Figure]

    @property
    def level(self) -> float:
        """Joint conformance probability asked for."""
        return self.product.assurance.level

    @property
    def assured(self) -> bool:
        """Whether the set-up reaches it."""
        return self.joint >= self.level

    @property
    def guarded(self) -> bool:
        """Whether an average answers for the worst of many gaps."""
        return any(one.every is not None and one.every > 1 for one in self.first)

    @property
    def recommended_here(self) -> bool:
        """Whether the recommended set-up lies on the map of this set-up's plate and pressure."""
        best = self.recommended
        return best is not None and (best.setup.plate, best.setup.pressure) == (
            self.setup.plate,
            self.setup.pressure,
        )

    @property
    def at_words(self) -> str:
        """The set-up as ``--at`` takes it."""
        return at_words(self.setup, self.pressure_unit)

    @property
    def limiting(self) -> Judgement:
        """The requirement with the lowest conformance probability."""
        return min(self.judgements, key=lambda one: one.conformance)

    def to_dict(self) -> dict:
        """The numbers and sentences of the document as nested mappings."""
        return {
            "product": self.product.name,
            "assurance": self.level,
            "setup": self.setup.to_dict(self.pressure_key),
            "chosen": str(self.chosen),
            "assured": self.assured,
            "conformance": {"joint": self.joint} | {one.name: one.conformance for one in self.judgements},
            "requirements": [asdict(one) for one in self.judgements],
            "settings": [asdict(one) for one in self.settings],
            "roll_volume": asdict(self.volume)
            | {"measured": self.volume.measured and str(self.volume.measured)},
            "band": self.band,
            "bands": self.bands,
            "recommended": self.recommended and self.recommended.to_dict(self.pressure_key),
            "nearby": self.nearby,
            "steps": [asdict(one) for one in self.steps],
            "relaxed": [asdict(one) for one in self.relaxed],
            "beside": None if self.beside is None else asdict(self.beside),
            "silver_notes": self.silver_notes,
            "trial": self.trial,
            "fit": [asdict(one) for one in self.fit],
            "assumption": self.assumption or None,
            "findings": [vars(one) for one in self.findings],
            "notes": self.notes,
            "untried": self.untried,
            "calibration": self.calibration,
            "first_prints": [one.to_dict() for one in self.first],
            "gaps_to_inspect": self.gaps,
            "stops": asdict(self.stops),
            "pattern": self.pattern,
            "shortfall": None if self.shortfall is None else shortfall_dict(self.shortfall),
            "in_full": self.in_full,
            "fit_notes": self.fit_notes,
            "fingerprints": self.fingerprints,
            "versions": self.versions,
            "made": str(self.made),
            "command": self.command,
            "address": self.address,
            "loaded": self.loaded,
        }
