"""What a server was started with: the evidence of its pages, and the archive that they use."""

from __future__ import annotations

import os
from collections.abc import Iterable, Sequence
from functools import lru_cache
from pathlib import Path

from pwindow.environment import ARCHIVE, PRODUCTS, SHARED, SHEET, STUDY, TRIAL
from pwindow.errors import UnusableInput
from pwindow.inputs import InputFile
from pwindow.product import read_product
from pwindow.shipped import demo
from pwindow.study import Roll, Study, read_study
from pwindow.surfaces import fit
from pwindow.trials import Trial
from pwindow.trials.archive import USED, Archive, Standing
from pwindow.workflows.evidence import ARCHIVED, Evidence, NothingToJudge, first_window
from pwindow.workflows.gathered import gathered
from pwindow.workflows.orderable import leaves_plate_open

_TEMPORARY = "trials.db"


def given_evidence() -> Evidence:
    """The evidence that the server was started with; the demo where it was started with none.

    An archive stands in for trials that were not given. The temporary archive of a server without one goes first as soon as it has a trial: decisions made in it count.
    """
    trials, products, study = _given_paths()
    address = _shown_archive()
    if address is None:
        return _evidence_of(trials, products, study, os.environ.get(SHEET))
    of_demo = not trials and archive_is_temporary()
    return _of_archive(address, products, study or (_demo_study() if of_demo else None))


def trials_in_use() -> tuple[tuple[int, str], ...]:
    """Numbers and standings of the trials that the evidence of pages stands on, as the archive has them now.

    Files that were given count as the temporary archive will have them.
    """
    address = _shown_archive()
    if address is not None:
        return _in_use(Archive(address))
    given = _given_paths()[0]
    return tuple((1 + at, Standing.SAME_PROCESS) for at in range(max(len(given), 1)))


def _shown_archive() -> str | None:
    """Address of the archive that pages show; None where they show files."""
    trials, _, _ = _given_paths()
    if os.environ.get(ARCHIVE):
        return None if trials else os.environ[ARCHIVE]
    temporary = _temporary_address()
    filled = temporary is not None and Path(temporary).exists() and len(Archive(temporary).trials())
    return temporary if filled else None


def _in_use(archive: Archive) -> tuple[tuple[int, str], ...]:
    trials = archive.trials()
    used = trials[trials["standing"].isin(USED)]
    return tuple(zip(used.index.tolist(), used["standing"].tolist()))


def _given_paths() -> tuple[tuple[str, ...], tuple[str, ...], str | None]:
    """Paths of trials, products and a study that the server was started with."""
    trials, products, studies = (
        tuple(filter(None, os.environ.get(name, "").split(os.pathsep))) for name in (TRIAL, PRODUCTS, STUDY)
    )
    return trials, products, studies[0] if studies else None


def given_study_path() -> str | None:
    """Path of the study that the server was started with."""
    return _given_paths()[2]


def _of_archive(address: str, products: tuple[str, ...], study: str | None) -> Evidence:
    """Products as given, else those the archive keeps, else the demo's where there is a trial; rolls as they were
    last measured.
    """
    archive = Archive(address)
    used = _in_use(archive)
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
    trial, declared = gathered((), Archive(address), study)
    return _evidence(trial, products, declared, ARCHIVED)


def _evidence(trial: Trial | None, products: Iterable[InputFile], study: Study, source: str) -> Evidence:
    surfaces = None if trial is None else fit(trial, make_readies=study.make_readies)
    read = [read_product(file) for file in products]
    return Evidence(
        surfaces=surfaces, study=study, products={product.name: product for product in read}, source=source
    )


def _demo_products() -> tuple[str, ...]:
    return tuple(str(demo(name)) for name in ("tag.toml", "mesh.toml"))


def _demo_study() -> str:
    return str(demo("study.toml"))


def given_address() -> str | None:
    """Address of the archive that the server was started with, else of its temporary one; None without a server."""
    return os.environ.get(ARCHIVE) or _temporary_address()


def given_archive() -> Archive:
    """The archive that the server was started with, else its temporary one, filled at its first use.

    Raises
    ------
    UnusableInput
        If no server made a place for one.
    """
    address = os.environ.get(ARCHIVE)
    if address:
        return Archive(address)
    temporary = _temporary_address()
    if temporary is None:
        raise UnusableInput("this server has no archive; start it with `pwindow serve --archive trials.db`")
    return _filled(Archive(temporary))


def given_beside_archive() -> tuple[str, ...]:
    """Names of the trial files that pages show though the server was started with an archive too; none where they show that."""
    return tuple(Path(path).name for path in _given_paths()[0]) if os.environ.get(ARCHIVE) else ()


def archive_is_temporary() -> bool:
    """Whether the archive of this server is deleted when it stops."""
    return not os.environ.get(ARCHIVE)


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
            InputFile.of(path, os.environ.get(SHEET)),
            Standing.SAME_PROCESS,
            "loaded when the server started",
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
    """Refuse files that a page could not show, before a server is started on them.

    Parameters
    ----------
    trials, products : sequence of Path
    study : Path or None
    archive : str, optional
        Path of an SQLite file, or a URL; read where there are no trial files.
    sheet : str, optional
        Sheet to read of a trial that is a workbook.

    Raises
    ------
    UnusableInput
        If a file cannot be used, or the trial can judge none of the products and order a plate for none.
    """
    paths, declared = tuple(map(str, products)), None if study is None else str(study)
    if archive and not trials:
        evidence = _of_archive(archive, paths, declared)
    elif trials or products or study:
        evidence = _evidence_of(tuple(map(str, trials)), paths, declared, sheet)
    else:
        return
    if products and evidence.surfaces is not None:
        _check_judged(evidence)


def _check_judged(evidence: Evidence) -> None:
    """Refuse evidence that can judge no product, unless a plate is still to be ordered for one of them."""
    try:
        first_window(evidence)
    except NothingToJudge:
        if not any(leaves_plate_open(evidence, product) for product in evidence.products.values()):
            raise


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
    """Read and fit; `stamps` are the files' times, so that a changed file is read again."""
    files = [InputFile.of(path, sheet) for path in trials]
    trial, declared = gathered(files, None, None if study is None else Path(study))
    return _evidence(trial, map(InputFile.of, products), declared, "files")
