"""What the set-up speed page knows and works out, without any widget."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from functools import cached_property, lru_cache
from pathlib import Path

import pandas as pd

from pwindow.charts import MapContent, content_at
from pwindow.demo import demo
from pwindow.errors import UnusableInput, WindowProblem
from pwindow.inputs import InputFile
from pwindow.product import Product, check_product, read_product
from pwindow.study import Roll, Study, read_study
from pwindow.surfaces import Surfaces, fit
from pwindow.surfaces.honesty import Finding, findings
from pwindow.trials import Trial, read_trial
from pwindow.trials.archive import USED, Archive
from pwindow.window import Window, find_window
from pwindow.window.bands import bands_at
from pwindow.window.maps import WindowMap, window_map
from pwindow.window.recommend import neighbours, recommend
from pwindow.window.setup import Setup
from pwindow.window.shortfall import Shortfall, shortfall
from pwindow.window.starting import StartingSetup, starting_setup

ARCHIVED = "the archive"
"""Where trials came from that an archive keeps."""
MAP_CELLS = 80
"""Speeds and volumes of a map on a page."""


@dataclass(frozen=True)
class Evidence:
    """The fit that the page stands on, and what it may be asked for.

    Attributes
    ----------
    surfaces : Surfaces
    study : Study
    products : mapping of str to Product
    terms : str
        Form of the surfaces, as `fit` names it.
    source : str
        Where the trials came from.
    made : datetime
        When they were read and fitted, UTC.
    """

    surfaces: Surfaces
    study: Study
    products: Mapping[str, Product]
    terms: str = "all"
    source: str = "files"
    made: datetime = field(default_factory=lambda: datetime.now(UTC), compare=False)
    _findings: list = field(default_factory=list, repr=False, compare=False)

    @property
    def findings(self) -> tuple[Finding, ...]:
        """What speaks against the fit; worked out once, and kept when products are replaced."""
        if not self._findings:
            self._findings.append(findings(self.surfaces))
        return self._findings[0]


@dataclass(frozen=True)
class Question:
    """One product on one fit: its window, bands and recommendation, each worked out once."""

    evidence: Evidence
    product: Product
    window: Window
    _maps: dict = field(default_factory=dict, repr=False, compare=False)

    @cached_property
    def bands(self) -> pd.DataFrame:
        return self.window.speed_bands()

    @cached_property
    def recommended(self) -> dict | None:
        return recommend(self.window, self.bands)

    @cached_property
    def starting(self) -> StartingSetup | None:
        """The recommended set-up, or the closest; None where no roll lies in the trial region."""
        return starting_setup(self.window, self.recommended)

    def start(self) -> Setup:
        """The set-up that a page opens at; the middle of what was tried where no roll was."""
        if self.starting is not None:
            return self.starting.setup
        trial, rolls = self.evidence.surfaces.trial, self.window.rolls
        return Setup(
            self.window.plates[0],
            rolls[len(rolls) // 2],
            trial.pressures[len(trial.pressures) // 2],
            float(trial.prints["speed"].median()),
        )

    def roll(self, identity: str) -> Roll:
        return next(roll for roll in self.window.rolls if roll.id == identity)

    def frame(self, setup: Setup) -> pd.DataFrame:
        return setup.frame(self.window)

    def map(self, plate: str, pressure: float) -> WindowMap:
        """The map at a plate and pressure; the last few are kept."""
        return self._kept(
            ("map", plate, pressure), lambda: window_map(self.window, plate, pressure, MAP_CELLS)
        )

    def content(self, setup: Setup) -> MapContent:
        """What the picture shows for a set-up."""
        shown = self.map(setup.plate, setup.pressure)
        bands = self._bands_at(setup.plate, setup.pressure)
        return content_at(self.window, setup, shown, bands, self.starting)

    @cached_property
    def shortfall(self) -> Shortfall | None:
        """What there is to say where nothing is assured; None where something is, or no roll was tried."""
        if self.starting is None or self.starting.assured:
            return None
        return shortfall(self.window, closest=self.starting)

    def _bands_at(self, plate: str, pressure: float) -> pd.DataFrame:
        """Speed bands of a map; those at pressures that were not tried are searched for once."""
        return self._kept(
            ("bands", plate, pressure), lambda: bands_at(self.window, self.bands, plate, pressure)
        )

    def _kept(self, key: tuple, work: Callable):
        """What `work` finds, of which the last few are kept."""
        if key not in self._maps:
            if len(self._maps) > 400:
                self._maps.clear()
            self._maps[key] = work()
        return self._maps[key]

    def neighbours(self, setup: Setup) -> pd.DataFrame:
        return neighbours(self.window, setup.plate, setup.roll.cell_volume, setup.pressure, setup.speed)


def ask(evidence: Evidence, product: Product) -> Question:
    """The question, where the trial can judge the product; raises UnusableInput otherwise."""
    return Question(evidence, product, find_window(evidence.surfaces, product, evidence.study))


def given_evidence() -> Evidence:
    """The evidence that the server was started with; the demo where it was started with none.

    ``PWINDOW_TRIAL``, ``PWINDOW_PRODUCTS`` and ``PWINDOW_STUDY`` hold paths, ``PWINDOW_ARCHIVE`` the
    address of an archive that stands in for trials that were not given.
    """
    trials, products, studies = (
        tuple(filter(None, os.environ.get(name, "").split(os.pathsep)))
        for name in ("PWINDOW_TRIAL", "PWINDOW_PRODUCTS", "PWINDOW_STUDY")
    )
    study = studies[0] if studies else None
    if not trials and os.environ.get("PWINDOW_ARCHIVE"):
        archive = given_archive()
        standings = archive.trials()["standing"]
        used = tuple(standings[standings.isin(USED)].items())
        if used:
            return _of_archive(os.environ["PWINDOW_ARCHIVE"], archive, used, products, study)
    return _evidence_of(trials, products, study, os.environ.get("PWINDOW_SHEET"))


def _of_archive(
    address: str, archive: Archive, used: tuple, products: tuple[str, ...], study: str | None
) -> Evidence:
    """Products as given, else those the archive keeps, else the demo's; rolls as they were last measured."""
    files = [InputFile.of(path) for path in products] or archive.declarations("product")
    files = files or [InputFile.of(path) for path in _demo_products()]
    declared = None if study is None else InputFile.of(study)
    return _fit_archived(address, used, tuple(files), archive.rolls(), declared)


@lru_cache(maxsize=4)
def _fit_archived(
    address: str,
    used: tuple,
    products: tuple[InputFile, ...],
    measured: tuple[Roll, ...],
    study: InputFile | None,
) -> Evidence:
    """Read and fit; `used` are the trials with their standings, and `measured` the rolls with their last
    volumes, so that decisions and measurements are minded.
    """
    archive = Archive(address)
    trial = archive.trial()
    declared = Study(rolls=archive.rolls(trial.rolls)) if study is None else read_study(study)
    return _evidence(trial, products, declared, ARCHIVED)


def _evidence(trial: Trial, products: Iterable[InputFile], study: Study, source: str) -> Evidence:
    surfaces = fit(trial, make_readies=study.make_readies)
    read = [read_product(file) for file in products]
    return Evidence(surfaces, study, {product.name: product for product in read}, source=source)


def _demo_products() -> tuple[str, ...]:
    return tuple(str(demo(name)) for name in ("tag.toml", "mesh.toml"))


def given_archive() -> Archive:
    """The archive that the server was started with.

    Raises
    ------
    UnusableInput
        If it was started with none.
    """
    address = os.environ.get("PWINDOW_ARCHIVE")
    if not address:
        raise UnusableInput("this server has no archive; start it with `pwindow serve --archive trials.db`")
    return Archive(address)


def given_declarations() -> tuple[list[InputFile], InputFile | None]:
    """The products and the study that the server was started with."""
    products, studies = (
        tuple(filter(None, os.environ.get(name, "").split(os.pathsep)))
        for name in ("PWINDOW_PRODUCTS", "PWINDOW_STUDY")
    )
    return [InputFile.of(path) for path in products], InputFile.of(studies[0]) if studies else None


def check_given(
    trials: Sequence[Path], products: Sequence[Path], study: Path | None, sheet: str | None = None
) -> None:
    """Refuse files that a page could not show, before a server is started on them."""
    if trials or products or study:
        evidence = _evidence_of(
            tuple(map(str, trials)), tuple(map(str, products)), None if study is None else str(study), sheet
        )
        first_judgeable(evidence, None)


def _evidence_of(
    trials: tuple[str, ...], products: tuple[str, ...], study: str | None, sheet: str | None = None
) -> Evidence:
    """Files as given; the demo's stand in for a trial, and for products, that were not given."""
    if not trials:
        trials, study, sheet = (str(demo("trial_first.csv")),), study or str(demo("study.toml")), None
    products = products or _demo_products()
    stamps = tuple(
        os.stat(path).st_mtime_ns
        for path in (*trials, *products, *filter(None, [study]))
        if os.path.exists(path)
    )
    return _fit_paths(trials, products, study, sheet, stamps)


@lru_cache(maxsize=4)
def _fit_paths(
    trials: tuple[str, ...],
    products: tuple[str, ...],
    study: str | None,
    sheet: str | None,
    stamps: tuple[int, ...],
) -> Evidence:
    """Read and fit; `stamps` are the files' times, so that a changed file is read anew."""
    declared = Study() if study is None else read_study(Path(study))
    trial = read_trial([InputFile.of(path, sheet) for path in trials])
    return _evidence(trial, map(InputFile.of, products), declared, "files")


def loaded_evidence(files: Sequence[InputFile], before: Evidence) -> tuple[Evidence, str | None]:
    """Evidence with uploaded files in it: trials replace the trial, a product or study is added.

    Returns
    -------
    Evidence
    str or None
        Name of the product that was added last.

    Raises
    ------
    UnusableInput
        If any file cannot be used; `before` stands then.
    """
    declared = [file for file in files if file.name.lower().endswith(".toml")]
    trials = [file for file in files if file not in declared]
    surfaces, study, products, added = before.surfaces, before.study, dict(before.products), None
    fitted = {"source": before.source, "made": before.made, "_findings": before._findings}
    if trials:
        study = Study(ink=before.study.ink)
    for file in declared:
        if b"[requirements" in file.content:
            product = read_product(file)
            products[product.name], added = product, product.name
        else:
            study = read_study(file)
    if trials or study.make_readies != before.study.make_readies:
        trial = read_trial(trials) if trials else before.surfaces.trial
        surfaces = fit(trial, before.terms, make_readies=study.make_readies)
        fitted = {"source": "uploaded files" if trials else before.source}
    return Evidence(surfaces, study, products, before.terms, **fitted), added


def reshaped(evidence: Evidence, terms: str) -> Evidence:
    """The same trial fitted with surfaces of another form, as `fit` names them."""
    surfaces = fit(evidence.surfaces.trial, terms, make_readies=evidence.study.make_readies)
    return Evidence(surfaces, evidence.study, evidence.products, terms, evidence.source)


def replaced_product(evidence: Evidence, product: Product) -> Evidence:
    """The evidence with a product in place of the one of its name."""
    return replace(evidence, products={**evidence.products, product.name: product})


def changed_limits(product: Product, limits: Mapping[str, Mapping[str, float]]) -> Product:
    """The product with other limits and counts, checked.

    Parameters
    ----------
    product : Product
    limits : mapping
        For each requirement ``least``, ``most`` and ``count`` as far as they change.
    """
    requirements = []
    for requirement in product.requirements:
        changes = dict(limits.get(requirement.name, {}))
        if "count" in changes:
            changes["parameters"] = {**requirement.parameters, "count": changes.pop("count")}
        requirements.append(replace(requirement, **changes))
    changed = replace(product, requirements=tuple(requirements))
    check_product(changed, product.name)
    return changed


def why_not(evidence: Evidence, product: str) -> str:
    """Why the trial cannot judge a product; "" where it can."""
    try:
        ask(evidence, evidence.products[product])
    except UnusableInput as problem:
        return str(problem)
    return ""


def first_judgeable(evidence: Evidence, wanted: str | None) -> Question:
    """The wanted product on the fit, else the first product that the trial can judge.

    Raises
    ------
    UnusableInput
        If the trial can judge none; says why for each.
    """
    names = [wanted] if wanted in evidence.products else []
    reasons = []
    for name in [*names, *(name for name in evidence.products if name not in names)]:
        try:
            return ask(evidence, evidence.products[name])
        except UnusableInput as problem:
            reasons.append(str(problem))
    raise WindowProblem(
        "the trial was read, but it cannot judge any product here: "
        + "; ".join(reasons)
        + ". Load a product file (TOML) together with the trial"
    )
