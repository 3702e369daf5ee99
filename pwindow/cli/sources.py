"""Where a command takes its trials from, and how they are to be fitted."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
from click.core import ParameterSource

from pwindow.cli.guarded import guarded
from pwindow.environment import ARCHIVE as USUAL_ARCHIVE
from pwindow.inputs import InputFile

if TYPE_CHECKING:  # loaded by the commands that need them
    from pwindow.product import Product
    from pwindow.study import Study
    from pwindow.surfaces import Form, Surfaces
    from pwindow.trials import Trial
    from pwindow.trials.archive import Archive
    from pwindow.window import Window
    from pwindow.wording import Units

SHEET = click.option("--sheet", metavar="NAME", help="Sheet to read, if FILE is a workbook with several.")


Files = Sequence[Path | InputFile]
"""Trial files, as paths or read already."""


def FILES(command: Callable[..., None]) -> Callable[..., None]:
    """The trial FILEs of a command, and the sheet to read of a workbook."""
    named = click.argument("files", nargs=-1, type=click.Path(path_type=Path), metavar="[FILE…]")

    @named
    @SHEET
    @guarded
    @wraps(command)
    def given(files: Sequence[Path], sheet: str | None, **asked: Any) -> None:
        command(files=with_sheet(files, sheet), **asked)

    return given


def with_sheet(files: Sequence[Path], sheet: str | None) -> Files:
    """Paths as they are given; where a sheet is named, the one file it is of."""
    if sheet is None:
        return files
    if len(files) != 1:
        raise click.UsageError("--sheet applies to one workbook: give one FILE")
    return (InputFile.of(files[0], sheet),)


ARCHIVE = click.option(
    "--archive",
    metavar="ADDRESS",
    envvar=USUAL_ARCHIVE,
    help="Archive: an SQLite file or postgresql://…; default: PWINDOW_ARCHIVE.",
)
STUDY = click.option(
    "--study", type=click.Path(path_type=Path), help="Study file: roll inventory, ink and make-readies."
)
TERMS = click.option(
    "--terms",
    type=click.Choice(["all", "chosen", "bending"]),
    default="all",
    show_default=True,
    help="All second-order terms; those the corrected Akaike criterion keeps; or all with a smooth correction.",
)
PRODUCT = click.option("--product", required=True, type=click.Path(path_type=Path), help="Product file.")
PRODUCTS = click.option(
    "--product",
    "products",
    multiple=True,
    type=click.Path(path_type=Path),
    help="Product file; may be repeated.",
)
_LEVEL = click.option(
    "--assurance",
    type=click.FloatRange(0, 1, min_open=True, max_open=True),
    help="Assurance level instead of the product's own.",
)
_CONFIDENCE = click.option(
    "--confidence",
    type=click.FloatRange(0.5, 1, max_open=True),
    help="Confidence that the level is reached, such as 0.9, instead of the product's own.",
)


def ASSURANCE(command: Callable[..., None]) -> Callable[..., None]:
    """What is asked for, instead of what the product file asks for."""
    return _LEVEL(_CONFIDENCE(command))


UNITS = click.option(
    "--units",
    metavar="UNITS",
    help="Units of the answer, such as “ft/min, BCM”; or metric, or us. Default: those of the first trial file. JSON is metric.",
)
PLANNED = click.option(
    "--planned-roll",
    "planned",
    multiple=True,
    metavar="VOLUME",
    help="A roll you do not have, by its cell volume, such as “6.0 cm³/m²” or “3.9 BCM”; may be repeated. The rolls are “new 1”, “new 2” and so on.",
)
LEAVE_OUT = click.option(
    "--leave-out",
    multiple=True,
    metavar="TERM",
    help="Leave a term out, such as “pressure²” or “cell_volume × pressure”.",
)


def trial_of(files: Files, archive: str | None) -> Trial:
    """The trial of FILEs, or of the archive where none is given."""
    from pwindow.workflows.gathered import gathered

    return gathered(files, _archive_without(files, archive))[0]


def units_of(trial: Trial, asked: str | None) -> Units:
    """What an answer is written in: as asked, else as the first trial file has it."""
    return _chosen(asked, trial.units)


def _chosen(asked: str | None, of_file: Units) -> Units:
    from pwindow.errors import UnitProblem
    from pwindow.wording import chosen_units

    try:
        return chosen_units(asked or "", of_file)
    except UnitProblem as problem:
        raise click.BadParameter(str(problem), param_hint="--units") from problem


def units_of_archive(archive: Archive, asked: str | None) -> Units:
    """What an answer on an archive is written in: as asked, else as the file of its first trial has it."""
    from pwindow.wording import METRIC

    numbers = archive.trials().index
    if not len(numbers):
        return _chosen(asked, METRIC)
    return units_of(archive.trial([int(numbers[0])]), asked)


def fitted(
    files: Files,
    archive: str | None,
    study: Path | None,
    terms: Form,
    leave_out: Sequence[str],
    planned: Sequence[str] = (),
) -> tuple[Surfaces, Study]:
    """The surfaces of FILEs, or of the archive, and the study that they stand on.

    Parameters
    ----------
    files : sequence of Path or InputFile
    archive : str or None
        Path of an SQLite file, or a URL; read where there are no files.
    study : Path or None
    terms : {'all', 'chosen', 'bending'}
        As of `pwindow.surfaces.fit`.
    leave_out : sequence of str
        As of `pwindow.surfaces.fit`.
    planned : sequence of str, optional
        Cell volumes of planned rolls, with their units, which the inventory has too.
    """
    from pwindow.surfaces import fit
    from pwindow.window.setup import planned_study
    from pwindow.workflows.gathered import gathered

    volumes = [_planned_volume(text) for text in planned]
    trial, stated = gathered(files, _archive_without(files, archive), study)
    for volume in volumes:
        stated = planned_study(stated, trial, volume)
    return fit(trial, terms, leave_out, make_readies=stated.make_readies), stated


def _planned_volume(text: str) -> float:
    """A cell volume as it was typed, cm³/m²."""
    from pwindow.errors import UnitProblem
    from pwindow.units import read_quantity

    try:
        return read_quantity(text, "cm³/m²")
    except UnitProblem as problem:
        raise click.BadParameter(str(problem), param_hint="--planned-roll") from problem


def _archive_without(files: Files, archive: str | None) -> Archive | None:
    """The archive to read where no FILEs are given."""
    if not files and not archive:
        raise click.UsageError("give trial FILEs, or --archive")
    if not files:
        return archive_of(archive, there=True)
    if click.get_current_context().get_parameter_source("archive") is ParameterSource.COMMANDLINE:
        raise click.UsageError("give trial FILEs or --archive, not both")
    return None


def archive_of(address: str | None, *, there: bool = False) -> Archive:
    """The archive that was named; made where there is none, unless it must be `there`."""
    from pwindow.errors import UnusableInput
    from pwindow.trials.archive import Archive
    from pwindow.trials.archive.connection import file_of

    if not address:
        raise click.UsageError("name the archive: --archive ADDRESS, or PWINDOW_ARCHIVE")
    file = file_of(address)
    if there and file is not None and not file.exists():
        raise UnusableInput(f"there is no archive {address}; create it with `pwindow add`")
    return Archive(address)


def window_of(
    surfaces: Surfaces,
    product: Path,
    study: Study,
    assurance: float | None = None,
    confidence: float | None = None,
) -> Window:
    """The window of a product file on surfaces, held to another assurance level or confidence where one is given.

    Parameters
    ----------
    surfaces : Surfaces
    product : Path
    study : Study
    assurance : float, optional
        Joint conformance probability between 0 and 1; the product's own unless given.
    confidence : float, optional
        That the level is reached with; the product's own unless given.
    """
    from pwindow.window import find_window

    return find_window(surfaces, product_of(product, assurance, confidence), study)


def product_of(file: Path, assurance: float | None = None, confidence: float | None = None) -> Product:
    """A product file, held to another assurance level or confidence where one is given.

    Parameters
    ----------
    file : Path
    assurance : float, optional
        Joint conformance probability between 0 and 1; the product's own unless given.
    confidence : float, optional
        That the level is reached with; the product's own unless given.
    """
    from pwindow.product import read_product

    wanted = read_product(file)
    if assurance is not None:
        wanted = wanted.with_assurance(assurance)
    return wanted if confidence is None else wanted.with_confidence(confidence)
