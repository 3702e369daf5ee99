"""Commands that write documents: the report of a design review and the sheet for a press run."""

from __future__ import annotations

import json
import shlex
import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
from click.core import ParameterSource

from pwindow.cli.guarded import guarded
from pwindow.cli.pictures import file_option
from pwindow.cli.sources import (
    ARCHIVE,
    ASSURANCE,
    FILES,
    LEAVE_OUT,
    PLANNED,
    PRODUCT,
    STUDY,
    TERMS,
    UNITS,
    Files,
    archive_of,
    fitted,
    units_of,
    window_of,
)

if TYPE_CHECKING:  # loaded by the commands that need them
    from pwindow.review.essentials import Essentials, Subject
    from pwindow.review.pages import Paper
    from pwindow.review.report import Report
    from pwindow.surfaces import Form
    from pwindow.window import Window
    from pwindow.window.calibration import Calibration
    from pwindow.window.setup import Setup

_AT = click.option(
    "--at",
    metavar="SETTINGS",
    help="The set-up, such as “roll=2047, pressure=50 µm, speed=80 m/min”. Settings left out are those of the recommended set-up.",
)
_OUTPUT = click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path, dir_okay=False),
    callback=file_option((".html", ".pdf"), "a document"),
    help="Write the document to this file: .html or .pdf.",
)
_PAPER = click.option(
    "--paper",
    type=click.Choice(["A4", "Letter"]),
    help="Paper size; default: the printer's, or A4 for a PDF.",
)
_JSON = click.option("--json", "as_json", is_flag=True, help="Print the numbers of the document as JSON.")
_SETTINGS = ("roll", "pressure", "speed", "plate")


@click.command()
@FILES
@ARCHIVE
@PRODUCT
@STUDY
@PLANNED
@ASSURANCE
@_AT
@click.option(
    "--calibrate",
    "trials",
    type=click.IntRange(2, 10_000),
    help="Simulate this many trials, and report whether the stated probabilities hold up.",
)
@TERMS
@LEAVE_OUT
@_OUTPUT
@_PAPER
@UNITS
@_JSON
@guarded
def review(
    *, trials: int | None, output: Path | None, paper: Paper | None, as_json: bool, **asked: Any
) -> None:
    """Write the report on a set-up for a design review: reasons, alternatives, evidence, and what was not tried."""
    from pwindow.review.report import report
    from pwindow.review.report_page import report_html

    _refuse_unnamed(output, as_json=as_json)
    subject = _subject(**asked)
    calibration = None if trials is None else _calibrated(subject.window, trials)
    found = report(subject, calibration=calibration)
    if output is not None:
        _write(output, report_html(found, paper), paper)
    _reply(subject.essentials, lambda: _numbers(subject, found), output, as_json=as_json)


@click.command("run-sheet")
@FILES
@ARCHIVE
@PRODUCT
@STUDY
@PLANNED
@ASSURANCE
@_AT
@TERMS
@LEAVE_OUT
@_OUTPUT
@_PAPER
@UNITS
@_JSON
@guarded
def run_sheet(*, output: Path | None, paper: Paper | None, as_json: bool, **asked: Any) -> None:
    """Write the run sheet of a set-up: what to set, what to measure first, and what to do if it is off."""
    from pwindow.review.run_sheet import run_sheet as sheet_of
    from pwindow.review.run_sheet_page import run_sheet_html

    _refuse_unnamed(output, as_json=as_json)
    subject = _subject(**asked)
    if output is not None:
        _write(output, run_sheet_html(sheet_of(subject), paper), paper)
    _reply(subject.essentials, lambda: _numbers(subject), output, as_json=as_json)


def _refuse_unnamed(output: Path | None, *, as_json: bool) -> None:
    if output is None and not as_json:
        raise click.UsageError("name the document: --output FILE.html or FILE.pdf; or ask for --json")


def _subject(
    *,
    files: Files,
    archive: str | None,
    product: Path,
    study: Path | None,
    planned: Sequence[str],
    assurance: float | None,
    confidence: float | None,
    at: str | None,
    terms: Form,
    leave_out: Sequence[str],
    units: str | None,
) -> Subject:
    """What a document is about."""
    from pwindow.review.essentials import subject_of
    from pwindow.review.provenance import Origin
    from pwindow.review.settings import last_volumes

    wanted = None if at is None else _point(at)
    surfaces, declared = fitted(files, archive, study, terms, leave_out, planned)
    window = window_of(surfaces, product, declared, assurance, confidence)
    return subject_of(
        window,
        None if wanted is None else _setup(window, wanted),
        volumes=last_volumes(archive_of(archive, there=True)) if archive and not files else {},
        origin=Origin(command=_again()),
        units=units_of(surfaces.trial, units),
    )


def _numbers(subject: Subject, found: Report | None = None) -> dict[str, Any]:
    """All that documents say of a set-up, the same of both, in metric units; `found` is its report where there is one."""
    from pwindow.review.document import document_dict
    from pwindow.review.report import report
    from pwindow.review.run_sheet import run_sheet
    from pwindow.wording import metric

    kept = replace(subject, units=metric(subject.window.surfaces.trial.pressure_unit))
    if found is None or subject.units != kept.units:
        found = report(kept, calibration=None if found is None else found.evidence.calibration)
    return document_dict(found, run_sheet(kept))


def _reply(
    essentials: Essentials, numbers: Callable[[], dict[str, Any]], output: Path | None, *, as_json: bool
) -> None:
    """Say what the document is about, or all its numbers."""
    from pwindow.outputs import plain

    file = None if output is None else str(output)
    if as_json:
        click.echo(json.dumps(plain(numbers() | {"file": file}), indent=1))
    else:
        click.echo(_written_words(essentials, file))


def _point(text: str) -> dict[str, str]:
    """The set-up as it was typed."""
    from pwindow.cli.setups import parse_points

    points = parse_points([text])
    if len(points) > 1:
        raise click.BadParameter("a document describes one set-up; name each setting once", param_hint="--at")
    if set(points[0]) - set(_SETTINGS):
        raise click.BadParameter(
            "a document describes a roll of the inventory and the product's own pattern; --at takes "
            f"{', '.join(_SETTINGS)}",
            param_hint="--at",
        )
    return points[0]


def _setup(window: Window, point: dict[str, str]) -> Setup:
    """The set-up that was typed; what it leaves open is as in the recommended set-up, or in the closest."""
    from pwindow.cli.setups import read_setups
    from pwindow.review.essentials import recommended_setup
    from pwindow.window.setup import Setup

    if set(_SETTINGS) - set(point):
        best = recommended_setup(window)
        settings = {
            "roll": best.roll.id,
            "pressure": f"{best.pressure!r} {window.surfaces.trial.pressure_unit}",
            "speed": f"{best.speed!r} m/min",
        }
        point = settings | ({"plate": best.plate} if best.plate else {}) | point
    row = read_setups([point], window.surfaces, window.rolls, window).iloc[0]
    roll = window.roll(point["roll"])
    return Setup(str(row["plate"]), roll, float(row["pressure"]), float(row["speed"]))


def _calibrated(window: Window, trials: int) -> Calibration:
    from pwindow.window.calibration import calibrate

    def shown(finished: Iterator) -> Iterator:
        with click.progressbar(finished, length=trials, label="simulated trials", file=sys.stderr) as bar:
            yield from bar

    return calibrate(window, trials, progress=shown)


def _again() -> str:
    """The command as it was given, with nothing that was not: names of files without their folders, no password."""
    context = click.get_current_context()
    words = ["pwindow", str(context.info_name), *(path.name for path in context.params.get("files", ()))]
    for option in context.command.params:
        given = context.get_parameter_source(option.name)
        if (
            not isinstance(option, click.Option)
            or option.name == "as_json"
            or given == ParameterSource.DEFAULT
        ):
            continue
        value = context.params[option.name]
        if option.name == "archive":
            if context.params.get("files"):
                continue
            from pwindow.trials.archive.connection import file_of, shown

            value = file_of(value) or shown(value)
        for one in value if option.multiple else [value]:
            words += [option.opts[-1], one.name if isinstance(one, Path) else str(one)]
    return shlex.join(words)


def _write(output: Path, html: str, paper: Paper | None) -> None:
    from pwindow.outputs import write_file
    from pwindow.review.browser import pdf_of

    write_file(output, pdf_of(html, paper or "A4") if output.suffix.lower() == ".pdf" else html.encode())


def _written_words(essentials: Essentials, file: str | None) -> str:
    from pwindow.wording import percent, setup_words

    promise, at = essentials.promise, essentials.promise.setup
    return (
        f"{file}: {promise.product.name}, set-up {promise.chosen}: "
        f"{setup_words(at.roll.label, at.pressure, promise.units, at.speed)}, "
        f"{percent(promise.joint, promise.level)} probability of meeting all requirements "
        f"(document {essentials.provenance.fingerprints.document})"
    )


DOCUMENTS = (review, run_sheet)
