"""Commands: parse, call, print. Messages go to standard error, answers to standard output."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pwindow.cli.archived import COMMANDS
from pwindow.cli.archived_scans import scans
from pwindow.cli.asked_of_part import part
from pwindow.cli.documents import DOCUMENTS
from pwindow.cli.gauged import gauge
from pwindow.cli.guarded import guarded, reply
from pwindow.cli.ordered import plates
from pwindow.cli.pictures import PICTURE, save_picture
from pwindow.cli.server_settings import MOST_VISITORS
from pwindow.cli.sources import (
    ARCHIVE,
    ASSURANCE,
    FILES,
    LEAVE_OUT,
    PLANNED,
    PRODUCT,
    PRODUCTS,
    SHEET,
    STUDY,
    TERMS,
    UNITS,
    Files,
    archive_of,
    fitted,
    trial_of,
    units_of,
    window_of,
    with_sheet,
)
from pwindow.cli.traced import trace
from pwindow.errors import TrialProblem
from pwindow.shipped import __version__

if TYPE_CHECKING:  # loaded by the commands that need them
    from pwindow.surfaces import Form
    from pwindow.window import Window
    from pwindow.wording import Units

_JSON = click.option("--json", "as_json", is_flag=True, help="Print one JSON document on standard output.")


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(version=__version__)
def main() -> None:
    """From a trial of printed lines and gaps to the set-up speed of the next run."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")  # a terminal that lacks a sign shows “?” and goes on


@main.command()
@FILES
@ARCHIVE
@UNITS
@_JSON
@guarded
def check(*, files: Files, archive: str | None, units: str | None, as_json: bool) -> None:
    """Read trial FILEs and report what they contain, or what is wrong with them."""
    from pwindow.cli.tables import summary_text
    from pwindow.outputs import plain
    from pwindow.trials import summarise

    try:
        trial = trial_of(files, archive)
    except TrialProblem as problem:
        if as_json:
            click.echo(json.dumps({"problems": [vars(item) for item in problem.problems]}, indent=1))
        raise
    text = partial(summary_text, units=units_of(trial, units))
    reply(plain(summarise(trial).to_dict()), text, as_json=as_json)


@main.command()
@FILES
@ARCHIVE
@STUDY
@TERMS
@LEAVE_OUT
@_JSON
@guarded
def fit(
    *,
    files: Files,
    archive: str | None,
    study: Path | None,
    terms: Form,
    leave_out: Sequence[str],
    as_json: bool,
) -> None:
    """Fit the surfaces and report coefficients and checks."""
    from pwindow.cli.answers import fit_answer
    from pwindow.cli.tables import fit_text

    surfaces, _ = fitted(files, archive, study, terms, leave_out)
    reply(fit_answer(surfaces), fit_text, as_json=as_json)


@main.command()
@FILES
@ARCHIVE
@click.option(
    "--at",
    "points",
    multiple=True,
    required=True,
    metavar="SETTINGS",
    help="A set-up, such as “speed=60 m/min, roll=0412, pressure=50 µm”. Repeating a setting starts another set-up.",
)
@click.option(
    "--product",
    type=click.Path(path_type=Path),
    help="Product file: adds the probability of meeting its requirements.",
)
@STUDY
@PLANNED
@TERMS
@LEAVE_OUT
@UNITS
@_JSON
@guarded
def predict(
    *,
    files: Files,
    archive: str | None,
    points: Sequence[str],
    product: Path | None,
    study: Path | None,
    planned: Sequence[str],
    terms: Form,
    leave_out: Sequence[str],
    units: str | None,
    as_json: bool,
) -> None:
    """Predict the responses of the next print at set-ups."""
    from pwindow.cli.answers import predict_answer
    from pwindow.cli.setups import parse_points, read_setups
    from pwindow.cli.tables import place_words, predict_text
    from pwindow.window.setup import planned_rolls

    wanted = parse_points(points)
    surfaces, declared = fitted(files, archive, study, terms, leave_out, planned)
    window = None if product is None else window_of(surfaces, product, declared)
    rolls = declared.rolls or surfaces.trial.rolls
    answer = predict_answer(
        surfaces, read_setups(wanted, surfaces, rolls, window), window, planned_rolls(declared)
    )
    shown = units_of(surfaces.trial, units)
    for point in answer["points"]:
        if not point["in_trial_region"]:
            click.echo(f"outside the trial region: {place_words(point['at'], shown)}", err=True)
    reply(answer, partial(predict_text, units=shown), as_json=as_json)


@main.command()
@FILES
@ARCHIVE
@PRODUCT
@STUDY
@PLANNED
@click.option(
    "--pressure",
    "pressures",
    multiple=True,
    metavar="PRESSURE",
    help="A pressure with its unit, within the tried range; default: the tried pressures.",
)
@ASSURANCE
@click.option(
    "--limits", is_flag=True, help="Also the fastest speed with each limit 10 % tighter and 10 % looser."
)
@PICTURE
@TERMS
@LEAVE_OUT
@UNITS
@_JSON
@guarded
def speeds(
    *,
    files: Files,
    archive: str | None,
    product: Path,
    study: Path | None,
    planned: Sequence[str],
    pressures: Sequence[str],
    assurance: float | None,
    confidence: float | None,
    limits: bool,
    picture: Path | None,
    terms: Form,
    leave_out: Sequence[str],
    units: str | None,
    as_json: bool,
) -> None:
    """Speed bands of every roll and pressure, and the speed to run.

    The picture is the window at the plate and pressure of the recommended set-up, or of the closest one.
    """
    from pwindow.cli.answers import speeds_answer
    from pwindow.cli.tables import speeds_text
    from pwindow.errors import UnitProblem
    from pwindow.units import read_quantity
    from pwindow.wording import metric

    surfaces, declared = fitted(files, archive, study, terms, leave_out, planned)
    window = window_of(surfaces, product, declared, assurance, confidence)
    try:
        asked = sorted({read_quantity(text, surfaces.trial.pressure_unit) for text in pressures})
    except UnitProblem as problem:
        raise click.BadParameter(str(problem), param_hint="--pressure") from problem
    shown = units_of(surfaces.trial, units)
    sentences = metric(surfaces.trial.pressure_unit) if as_json else shown
    answer = speeds_answer(window, asked or None, sentences, limits=limits)
    if picture is not None:
        _draw_window(window, asked or None, picture, shown)
    reply(answer, partial(speeds_text, units=shown), as_json=as_json)


def _draw_window(window: Window, pressures: Sequence[float] | None, picture: Path, units: Units) -> None:
    from pwindow.charts.window_picture import window_figure
    from pwindow.review.picture import start_of

    figure = window_figure(start_of(window, pressures, units))
    save_picture(figure, picture, lambda: start_of(window, pressures).window_map.to_frame())


@main.command()
@FILES
@ARCHIVE
@PRODUCT
@STUDY
@click.option(
    "--trials", type=click.IntRange(2, 10_000), default=200, show_default=True, help="Trials to simulate."
)
@click.option(
    "--seed", type=click.IntRange(0), default=1, show_default=True, help="Seed of the random numbers."
)
@PICTURE
@TERMS
@LEAVE_OUT
@_JSON
@guarded
def calibrate(
    *,
    files: Files,
    archive: str | None,
    product: Path,
    study: Path | None,
    trials: int,
    seed: int,
    picture: Path | None,
    terms: Form,
    leave_out: Sequence[str],
    as_json: bool,
) -> None:
    """Simulate trials of this layout from its fit: do the stated probabilities hold up?"""
    from pwindow.charts.calibration import calibration_figure
    from pwindow.cli.answers import calibration_answer
    from pwindow.cli.tables import calibration_text
    from pwindow.window.calibration import calibrate as simulate

    surfaces, declared = fitted(files, archive, study, terms, leave_out)
    window = window_of(surfaces, product, declared)

    def shown(finished: Iterator) -> Iterator:
        with click.progressbar(finished, length=trials, label="simulated trials", file=sys.stderr) as bar:
            yield from bar

    found = simulate(window, trials, seed, shown)
    if picture is not None:
        save_picture(
            calibration_figure(found, window.product.name, window.surfaces.fingerprint),
            picture,
            found.to_frame,
        )
    reply(calibration_answer(window, found), calibration_text, as_json=as_json)


@main.command()
@click.argument("files", nargs=-1, type=click.Path(path_type=Path), metavar="[FILE…]")
@SHEET
@PRODUCTS
@STUDY
@ARCHIVE
@click.option(
    "--scans",
    multiple=True,
    type=click.Path(exists=True, path_type=Path),
    help="Scans for the page Traces: a file or a folder of them, a run list, decisions; may be repeated.",
)
@click.option("--port", type=click.IntRange(1, 65535), help="Port; default: the usual one, or a free one.")
@click.option("--host", default="127.0.0.1", show_default=True, help="Address to listen on.")
@click.option(
    "--password",
    is_flag=True,
    help="Ask visitors for the password in PWINDOW_PASSWORD, or generate one and print a link with it.",
)
@click.option(
    "--most-visitors",
    type=click.IntRange(1),
    default=MOST_VISITORS,
    show_default=True,
    help="Pages that may be open at the same time; each takes about 210 MB.",
)
@click.option("--no-browser", is_flag=True, help="Do not open a browser.")
@guarded
def serve(
    *,
    files: Sequence[Path],
    sheet: str | None,
    products: Sequence[Path],
    study: Path | None,
    archive: str | None,
    scans: Sequence[Path],
    port: int | None,
    host: str,
    password: bool,
    most_visitors: int,
    no_browser: bool,
) -> None:
    """Open the dashboards: on trial FILEs, on the trials of an archive, or on the demo data."""
    from pwindow.cli.serving import serve as serve_pages
    from pwindow.shipped import shipped
    from pwindow.workflows.given import check_given

    with_sheet(files, sheet)
    if archive:
        archive_of(archive)
    check_given(files, products, study, archive, sheet)
    sys.exit(
        serve_pages(
            shipped("dashboards"),
            port=port,
            host=host,
            open_browser=not no_browser,
            trials=files,
            sheet=sheet,
            products=products,
            study=study,
            archive=archive,
            scans=scans,
            password=password,
            most_visitors=most_visitors,
        )
    )


for command in (*DOCUMENTS, *COMMANDS, plates, part, trace, scans, gauge):
    main.add_command(command)
