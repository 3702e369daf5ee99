"""Commands that write documents: the report of a design review and the sheet for a press run."""

from __future__ import annotations

import shlex
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
from click.core import ParameterSource

from pwindow.cli.guarded import guarded, reply
from pwindow.cli.pictures import file_option
from pwindow.cli.sources import (
    ARCHIVE,
    ASSURANCE,
    FILES,
    LEAVE_OUT,
    PRODUCT,
    STUDY,
    TERMS,
    Files,
    archive_of,
    fitted,
    window_of,
)

if TYPE_CHECKING:  # loaded by the commands that need them
    from pwindow.review import Review
    from pwindow.review.pages import Paper
    from pwindow.surfaces import Form
    from pwindow.window import Window
    from pwindow.window.calibration import Calibration
    from pwindow.window.setup import Setup

_AT = click.option(
    "--at",
    metavar="SETTINGS",
    help="The set-up, such as “roll=2047, pressure=50 µm, speed=80 m/min”. What is not named is that of the recommended one.",
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
    help="Paper to lay it out for: that of the printer unless given; A4 of a PDF.",
)
_JSON = click.option("--json", "as_json", is_flag=True, help="Print the numbers of the document as JSON.")
_SETTINGS = ("roll", "pressure", "speed", "plate")


@click.command()
@FILES
@ARCHIVE
@PRODUCT
@STUDY
@ASSURANCE
@_AT
@click.option(
    "--calibrate",
    "trials",
    type=click.IntRange(2, 10_000),
    help="Simulate so many trials, and say whether such probabilities are kept.",
)
@TERMS
@LEAVE_OUT
@_OUTPUT
@_PAPER
@_JSON
@guarded
def review(trials: int | None, output: Path | None, paper: Paper | None, as_json: bool, **asked: Any) -> None:
    """Write the report of a set-up for a design review: why, what else, how sure, what was not tried."""
    from pwindow.review import report_html

    _answer(lambda: _reviewed(**asked, trials=trials), report_html, output, paper, as_json)


@click.command("run-sheet")
@FILES
@ARCHIVE
@PRODUCT
@STUDY
@ASSURANCE
@_AT
@TERMS
@LEAVE_OUT
@_OUTPUT
@_PAPER
@_JSON
@guarded
def run_sheet(output: Path | None, paper: Paper | None, as_json: bool, **asked: Any) -> None:
    """Write the sheet of a set-up for the press: what to set, what to measure first, and what if it is off."""
    from pwindow.review import run_sheet_html

    _answer(lambda: _reviewed(**asked), run_sheet_html, output, paper, as_json)


def _answer(
    collect: Callable[[], Review],
    page: Callable[[Review, Paper | None], str],
    output: Path | None,
    paper: Paper | None,
    as_json: bool,
) -> None:
    """Write the document where a file is named, and say what it is about."""
    from pwindow.outputs import plain

    if output is None and not as_json:
        raise click.UsageError("name the document: --output FILE.html or FILE.pdf; or ask for --json")
    found = collect()
    if output is not None:
        _write(output, page(found, paper), paper)
    reply(plain(found.to_dict() | {"file": None if output is None else str(output)}), _told, as_json)


def _reviewed(
    files: Files,
    archive: str | None,
    product: Path,
    study: Path | None,
    assurance: float | None,
    at: str | None,
    terms: Form,
    leave_out: Sequence[str],
    trials: int | None = None,
) -> Review:
    """The review that a document is made from."""
    from pwindow.review import last_volumes
    from pwindow.review import review as collect

    wanted = None if at is None else _point(at)
    surfaces, declared = fitted(files, archive, study, terms, leave_out)
    window = window_of(surfaces, product, declared, assurance)
    return collect(
        window,
        None if wanted is None else _setup(window, wanted),
        volumes=last_volumes(archive_of(archive, there=True)) if archive and not files else {},
        calibration=None if trials is None else _calibrated(window, trials),
        command=_again(),
    )


def _point(text: str) -> dict[str, str]:
    """The set-up as it was typed."""
    from pwindow.cli.setups import parse_points

    points = parse_points([text])
    if len(points) > 1:
        raise click.BadParameter("a document is about one set-up; name each setting once", param_hint="--at")
    if set(points[0]) - set(_SETTINGS):
        raise click.BadParameter(
            "a document is about a roll of the inventory and the product's own pattern: it takes "
            f"{', '.join(_SETTINGS)}",
            param_hint="--at",
        )
    return points[0]


def _setup(window: Window, point: dict[str, str]) -> Setup:
    """The set-up that was typed; what it leaves open is as in the recommended set-up, or in the closest."""
    from pwindow.cli.setups import read_setups
    from pwindow.review import recommended_setup
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
    from pwindow.trials.archive.connection import file_of, shown

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
            value = file_of(value) or shown(value)
        for one in value if option.multiple else [value]:
            words += [option.opts[-1], one.name if isinstance(one, Path) else str(one)]
    return shlex.join(words)


def _write(output: Path, html: str, paper: Paper | None) -> None:
    from pwindow.outputs import write_file
    from pwindow.review import pdf_of

    write_file(output, pdf_of(html, paper or "A4") if output.suffix.lower() == ".pdf" else html.encode())


def _told(answer: Mapping[str, Any]) -> str:
    from pwindow.wording import percent, setup_words

    at, pressure = answer["setup"], next(one for one in answer["settings"] if one["name"] == "pressure")
    setup = setup_words(at["roll"], pressure["value"], pressure["unit"], at["speed_m_min"])
    return (
        f"{answer['file']}: {answer['product']}, set-up {answer['chosen']}: {setup}, conformance "
        f"{percent(answer['conformance']['joint'], answer['assurance'])} "
        f"(fingerprint {answer['fingerprints']['document']})"
    )


DOCUMENTS = (review, run_sheet)
