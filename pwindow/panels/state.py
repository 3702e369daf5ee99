"""What the set-up speed page knows and works out, without any widget."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from functools import cached_property, lru_cache
from pathlib import Path

import pandas as pd

from pwindow.charts import MapContent, content_at
from pwindow.demo import demo
from pwindow.errors import UnusableInput, WindowProblem
from pwindow.inputs import InputFile
from pwindow.panels.uploads import SHARED, Loaded
from pwindow.product import Product, check_product, read_product
from pwindow.study import Roll, Study, read_study
from pwindow.surfaces import Surfaces, fit
from pwindow.surfaces.honesty import Finding, findings
from pwindow.surfaces.make_readies import Known
from pwindow.trials import Trial, read_trial
from pwindow.trials.archive import USED, Archive
from pwindow.window import Window, find_window
from pwindow.window.bands import bands_at
from pwindow.window.maps import WindowMap, window_map
from pwindow.window.recommend import neighbours, recommend
from pwindow.window.setup import Setup
from pwindow.window.shortfall import Shortfall, shortfall
from pwindow.window.starting import StartingSetup, starting_setup

ARCHIVED, UPLOADED = "the archive", "uploaded files"
"""Where trials came from that an archive keeps, or that a visitor loaded."""
_TEMPORARY = "trials.db"
MAP_CELLS = 80
"""Speeds and volumes of a map on a page."""


@dataclass(frozen=True)
class Evidence:
    """The fit that the page stands on, and what it may be asked for.

    Attributes
    ----------
    surfaces : Surfaces or None
        None where there is no trial yet.
    study : Study
    products : mapping of str to Product
    terms : str
        Form of the surfaces, as `fit` names it.
    source : str
        Where the trials came from.
    made : datetime
        When they were read and fitted, UTC.
    """

    surfaces: Surfaces | None
    study: Study
    products: Mapping[str, Product]
    terms: str = "all"
    source: str = "files"
    made: datetime = field(default_factory=lambda: datetime.now(UTC), compare=False)
    _findings: list = field(default_factory=list, repr=False, compare=False)
    _questions: dict = field(default_factory=dict, repr=False, compare=False)

    @property
    def unrecorded(self) -> str | None:
        """What is stated of make-readies that the trial does not record, as `MakeReadies`; None where it does."""
        if self.surfaces is None or self.surfaces.mountings.known is Known.RECORDED:
            return None
        return self.study.make_readies.unrecorded

    @property
    def findings(self) -> tuple[Finding, ...]:
        """What speaks against the fit; worked out once, and kept when products are replaced."""
        if self.surfaces is None:
            return ()
        if not self._findings:
            self._findings.append(findings(self.surfaces))
        return self._findings[0]

    def question(self, name: str) -> Question:
        """What a product of that name asks, found out once; raises UnusableInput as `ask`."""
        if name not in self._questions:
            self._questions[name] = ask(self, self.products[name])
        return self._questions[name]


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


class NothingToJudge(WindowProblem):
    """There is no trial yet, or none of the products can be judged by it.

    Attributes
    ----------
    why : tuple of str
        For each product why the trial cannot judge it; empty where there is no trial.
    """

    def __init__(self, text: str, why: Sequence[str] = ()):
        self.why = tuple(why)
        super().__init__(text)


def ask(evidence: Evidence, product: Product) -> Question:
    """The question, where the trial can judge the product; raises UnusableInput otherwise."""
    if evidence.surfaces is None:
        raise NothingToJudge("there is no trial yet")
    return Question(evidence, product, find_window(evidence.surfaces, product, evidence.study))


def kept_setup(before: Question, after: Question, chosen: Setup) -> Setup:
    """The set-up to look at when another question is asked of the same trial.

    What the visitor chose stays, where it can be had; what the page chose gives way to what it would choose now.
    """
    can_be_had = chosen.plate in after.window.plates and chosen.roll in after.window.rolls
    return chosen if can_be_had and chosen != before.start() else after.start()


def given_evidence() -> Evidence:
    """The evidence that the server was started with; the demo where it was started with none.

    ``PWINDOW_TRIAL``, ``PWINDOW_PRODUCTS`` and ``PWINDOW_STUDY`` hold paths, ``PWINDOW_ARCHIVE`` the
    address of an archive that stands in for trials that were not given. The temporary archive of a server
    without one goes first as soon as it has a trial: decisions made in it count.
    """
    trials, products, study = _given_paths()
    if not trials and os.environ.get("PWINDOW_ARCHIVE"):
        return _of_archive(os.environ["PWINDOW_ARCHIVE"], products, study)
    temporary = _temporary_address()
    if temporary is not None and Path(temporary).exists() and len(Archive(temporary).trials()):
        return _of_archive(temporary, products, study or (None if trials else _demo_study()))
    return _evidence_of(trials, products, study, os.environ.get("PWINDOW_SHEET"))


def get_ready() -> None:
    """Find out what pages show first, before there are any: what is kept of it serves them all.

    What fails is told by the page that fails in the same way.
    """
    with suppress(UnusableInput):
        evidence = given_evidence()
        question = first_judgeable(evidence, None)
        question.content(question.start())
        len(evidence.findings)


def _given_paths() -> tuple[tuple[str, ...], tuple[str, ...], str | None]:
    """Paths of trials, products and a study that the server was started with."""
    trials, products, studies = (
        tuple(filter(None, os.environ.get(name, "").split(os.pathsep)))
        for name in ("PWINDOW_TRIAL", "PWINDOW_PRODUCTS", "PWINDOW_STUDY")
    )
    return trials, products, studies[0] if studies else None


def _of_archive(address: str, products: tuple[str, ...], study: str | None) -> Evidence:
    """Products as given, else those the archive keeps, else the demo's where there is a trial; rolls as they were
    last measured.
    """
    archive = Archive(address)
    standings = archive.trials()["standing"]
    used = tuple(standings[standings.isin(USED)].items())
    files = [InputFile.of(path) for path in products] or archive.declarations("product")
    declared = None if study is None else InputFile.of(study)
    if not used:
        return _evidence(None, files, Study() if declared is None else read_study(declared), ARCHIVED)
    files = files or [InputFile.of(path) for path in _demo_products()]
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


def _evidence(trial: Trial | None, products: Iterable[InputFile], study: Study, source: str) -> Evidence:
    surfaces = None if trial is None else fit(trial, make_readies=study.make_readies)
    read = [read_product(file) for file in products]
    return Evidence(surfaces, study, {product.name: product for product in read}, source=source)


def _demo_products() -> tuple[str, ...]:
    return tuple(str(demo(name)) for name in ("tag.toml", "mesh.toml"))


def _demo_study() -> str:
    return str(demo("study.toml"))


def given_archive() -> Archive:
    """The archive that the server was started with, else its temporary one, filled at its first use.

    Raises
    ------
    UnusableInput
        If no server made a place for one.
    """
    address = os.environ.get("PWINDOW_ARCHIVE")
    if address:
        return Archive(address)
    temporary = _temporary_address()
    if temporary is None:
        raise UnusableInput("this server has no archive; start it with `pwindow serve --archive trials.db`")
    return _filled(Archive(temporary))


def archive_is_temporary() -> bool:
    """Whether the archive of this server is lost when it stops."""
    return not os.environ.get("PWINDOW_ARCHIVE")


def _temporary_address() -> str | None:
    folder = os.environ.get(SHARED)
    return None if folder is None or not archive_is_temporary() else str(Path(folder) / _TEMPORARY)


def _filled(archive: Archive) -> Archive:
    """The temporary archive with the trials that the server was started with, else those of the demo."""
    if len(archive.trials()):
        return archive
    trials, products, _ = _given_paths()
    first = trials or (str(demo("trial_first.csv")),)
    for path in products or _demo_products():
        archive.keep_declaration("product", InputFile.of(path))
    for path in first:
        archive.add(
            InputFile.of(path, os.environ.get("PWINDOW_SHEET")),
            "same process",
            "what the server was started with",
        )
    if not trials:
        archive.add(InputFile.of(demo("trial_second.csv")))
    return archive


def given_declarations() -> tuple[list[InputFile], InputFile | None]:
    """The products and the study that the server was started with."""
    trials, products, study = _given_paths()
    if study is None and not trials and archive_is_temporary():
        study = _demo_study()
    return [InputFile.of(path) for path in products], InputFile.of(study) if study else None


def check_given(
    trials: Sequence[Path],
    products: Sequence[Path],
    study: Path | None,
    archive: str | None = None,
    sheet: str | None = None,
) -> None:
    """Refuse files that a page could not show, before a server is started on them."""
    paths, declared = tuple(map(str, products)), None if study is None else str(study)
    if archive and not trials:
        evidence = _of_archive(archive, paths, declared)
    elif trials or products or study:
        evidence = _evidence_of(tuple(map(str, trials)), paths, declared, sheet)
    else:
        return
    if products and evidence.surfaces is not None:
        first_judgeable(evidence, None)


def _evidence_of(
    trials: tuple[str, ...], products: tuple[str, ...], study: str | None, sheet: str | None = None
) -> Evidence:
    """Files as given; the demo's stand in for a trial, and for products, that were not given."""
    if not trials:
        trials, study, sheet = (str(demo("trial_first.csv")),), study or _demo_study(), None
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


def sort_files(files: Sequence[InputFile]) -> Loaded:
    """Tell trials, products and a study apart; raises UnusableInput where a product cannot be read."""
    declared = [file for file in files if file.name.lower().endswith(".toml")]
    products = [file for file in declared if b"[requirements" in file.content]
    studies = [file for file in declared if file not in products]
    return Loaded(
        tuple(file for file in files if file not in declared),
        {read_product(file).name: file for file in products},
        studies[-1] if studies else None,
    )


def loaded_evidence(files: Sequence[InputFile] | Loaded, before: Evidence) -> tuple[Evidence, str | None]:
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
    loaded = files if isinstance(files, Loaded) else sort_files(files)
    surfaces, study = before.surfaces, before.study
    fitted = {"source": before.source, "made": before.made, "_findings": before._findings}
    if loaded.trials:
        study = Study(ink=before.study.ink)
    if loaded.study is not None:
        study = read_study(loaded.study)
    trial = read_trial(loaded.trials) if loaded.trials else None
    if trial is None and surfaces is not None and study.make_readies != before.study.make_readies:
        trial = surfaces.trial
    if trial is not None:
        surfaces = fit(trial, before.terms, make_readies=study.make_readies)
        fitted = {"source": UPLOADED if loaded.trials else before.source}
    added = {name: read_product(file) for name, file in loaded.products.items()}
    evidence = Evidence(surfaces, study, {**before.products, **added}, before.terms, **fitted)
    return evidence, list(added)[-1] if added else None


def reshaped(evidence: Evidence, terms: str, unrecorded: str | None = None) -> Evidence:
    """The same trial fitted otherwise.

    Parameters
    ----------
    evidence : Evidence
    terms : str
        Form of the surfaces, as `fit` names it.
    unrecorded : str, optional
        What is stated of make-readies that the trial does not record; as it was unless given.
    """
    if evidence.surfaces is None:
        return replace(evidence, terms=terms)
    study = evidence.study
    if unrecorded is not None:
        study = replace(study, make_readies=replace(study.make_readies, unrecorded=unrecorded))
    surfaces = fit(evidence.surfaces.trial, terms, make_readies=study.make_readies)
    return Evidence(surfaces, study, evidence.products, terms, evidence.source)


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
        evidence.question(product)
    except UnusableInput as problem:
        return str(problem)
    return ""


def first_judgeable(evidence: Evidence, wanted: str | None) -> Question:
    """The wanted product on the fit, else the first product that the trial can judge.

    Raises
    ------
    NothingToJudge
        If there is no trial yet, or it can judge no product; says why for each.
    """
    names = [wanted] if wanted in evidence.products else []
    reasons = []
    if evidence.surfaces is None:
        raise NothingToJudge("there is no trial yet; load one, or add one to the archive")
    for name in [*names, *(name for name in evidence.products if name not in names)]:
        try:
            return evidence.question(name)
        except UnusableInput as problem:
            reasons.append(f"{name}: {problem}")
    raise NothingToJudge(
        "the trial was read, but it cannot judge any product here: "
        + "; ".join(reasons)
        + ". Load a product file (TOML) that it can judge",
        reasons,
    )
