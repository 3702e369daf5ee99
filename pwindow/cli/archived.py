"""Commands that keep trials in an archive, record decisions about them, and refit."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pwindow.cli.guarded import guarded, reply
from pwindow.cli.pictures import PICTURE, save_picture
from pwindow.cli.sources import (
    ARCHIVE,
    FILES,
    LEAVE_OUT,
    PRODUCTS,
    SHEET,
    STUDY,
    TERMS,
    UNITS,
    Files,
    archive_of,
    units_of_archive,
    with_sheet,
)

if TYPE_CHECKING:  # loaded by the commands that need them
    import datetime

    from pwindow.surfaces import Form

_JSON = click.option("--json", "as_json", is_flag=True, help="Print one JSON document on standard output.")
_REASON = click.option("--reason", default="", help="Reason, in a few words; it is kept with the decision.")
_NUMBER = click.argument("number", type=click.IntRange(1))


@click.command()
@FILES
@ARCHIVE
@click.option("--accept", is_flag=True, help="Use the added trials in fits from now on; needs --reason.")
@_REASON
@PICTURE
@_JSON
@guarded
def add(
    *, files: Files, archive: str | None, accept: bool, reason: str, picture: Path | None, as_json: bool
) -> None:
    """Add trial FILEs to an archive, and compare each with the fit of the earlier trials.

    Files of measured plates are kept, so that trials may name their features.

    The first trial is used in fits at once; later ones await a decision: `accept`, `accept-change` or
    `set-aside`.
    """
    from pwindow.cli.archived_answers import added_answer, plates_answer
    from pwindow.cli.archived_tables import added_text
    from pwindow.inputs import InputFile
    from pwindow.trials.archive import Standing
    from pwindow.trials.files import read_cells
    from pwindow.trials.plates import is_plate_table
    from pwindow.workflows.adding import add_trial, keep_plates

    if not files:
        raise click.UsageError("give trial FILEs to add")
    if accept and not reason.strip():
        raise click.UsageError("--accept needs a --reason")
    if picture is not None and len(files) > 1:
        raise click.UsageError("--picture shows one trial; add one FILE at a time")
    kept = archive_of(archive)
    standing = Standing.SAME_PROCESS if accept else Standing.UNDECIDED
    given = [InputFile.of(path) for path in files]
    of_plates = [is_plate_table(read_cells(file)[0]) for file in given]
    plates = [keep_plates(kept, file) for file, of_plate in zip(given, of_plates) if of_plate]
    found = [
        add_trial(kept, file, standing, reason) for file, of_plate in zip(given, of_plates) if not of_plate
    ]
    if picture is not None and found and found[0].agreement is not None:
        from pwindow.charts.agreement import agreement_figure

        save_picture(agreement_figure(found[0].agreement), picture, found[0].agreement.to_frame)
    answers = [added_answer(kept, one) for one in found]
    answer: dict[str, object] = {"archive": kept.address, "added": answers}
    if plates:
        answer["plates"] = plates_answer(plates[-1])
    reply(answer, added_text, as_json=as_json)


@click.command()
@click.argument("number", type=click.IntRange(1), required=False)
@ARCHIVE
@_JSON
@guarded
def trials(*, number: int | None, archive: str | None, as_json: bool) -> None:
    """List the trials of an archive, or the history of trial NUMBER: what was found and decided."""
    from pwindow.cli.archived_answers import history_answer, trials_answer
    from pwindow.cli.archived_tables import history_text, trials_text

    if number is not None:
        reply(history_answer(archive_of(archive, there=True), number), history_text, as_json=as_json)
        return
    reply(trials_answer(archive_of(archive, there=True)), trials_text, as_json=as_json)


def _decision(name: str, standing: str, doc: str) -> click.Command:
    """A command that decides about a trial; `standing` is the name of a `Standing`, which is loaded with the archive."""

    @guarded
    def decide(*, number: int, archive: str | None, reason: str, as_json: bool) -> None:
        from pwindow.cli.archived_answers import trials_answer
        from pwindow.cli.archived_tables import trials_text
        from pwindow.trials.archive import Standing

        if not reason.strip():
            raise click.UsageError(f"{name} needs a --reason, which is kept with the decision")
        kept = archive_of(archive, there=True)
        kept.decide(number, Standing[standing], reason)
        reply(trials_answer(kept), trials_text, as_json=as_json)

    return click.command(name, help=doc)(_NUMBER(ARCHIVE(_REASON(_JSON(decide)))))


accept = _decision("accept", "SAME_PROCESS", "Use trial NUMBER in fits, as more prints of the same process.")
accept_change = _decision(
    "accept-change",
    "CHANGED_PROCESS",
    "Use trial NUMBER in fits, as prints of a process that has changed: predictions describe the changed process.",
)
set_aside = _decision("set-aside", "SET_ASIDE", "Keep trial NUMBER out of fits; `accept` brings it back.")


@click.command()
@ARCHIVE
@PRODUCTS
@STUDY
@TERMS
@LEAVE_OUT
@UNITS
@_JSON
@guarded
def refit(
    *,
    archive: str | None,
    products: Sequence[Path],
    study: Path | None,
    terms: Form,
    leave_out: Sequence[str],
    units: str | None,
    as_json: bool,
) -> None:
    """Fit the accepted trials, judge products on them, keep the fit, and compare it with the previous one."""
    from pwindow.cli.archived_answers import compared_answer, kept_answer
    from pwindow.cli.archived_tables import refit_text
    from pwindow.inputs import InputFile
    from pwindow.workflows.compare import compare as compare_fits
    from pwindow.workflows.kept import kept_fit
    from pwindow.workflows.kept import refit as refit_archive

    kept = archive_of(archive, there=True)
    before = kept.fits()
    declared = None if study is None else InputFile.of(study)
    now = refit_archive(kept, [InputFile.of(path) for path in products], declared, terms, leave_out)
    earlier = before[before["fingerprint"] != now.fingerprint]
    compared = None
    if len(earlier):
        last = kept_fit(kept, str(earlier.index[-1]))
        compared = compared_answer(last, now, compare_fits(kept, last, now))
    text = partial(refit_text, units=units_of_archive(kept, units))
    reply({"fit": kept_answer(now), "compared": compared}, text, as_json=as_json)


@click.command()
@ARCHIVE
@UNITS
@_JSON
@guarded
def fits(*, archive: str | None, units: str | None, as_json: bool) -> None:
    """List the fits of an archive: the trials each used and the set-up it recommended."""
    from pwindow.cli.archived_answers import fits_answer
    from pwindow.cli.archived_tables import fits_text

    kept = archive_of(archive, there=True)
    reply(fits_answer(kept), partial(fits_text, units=units_of_archive(kept, units)), as_json=as_json)


@click.command()
@click.argument("before", metavar="A")
@click.argument("after", metavar="[B]", required=False)
@ARCHIVE
@PICTURE
@UNITS
@_JSON
@guarded
def compare(
    *,
    before: str,
    after: str | None,
    archive: str | None,
    picture: Path | None,
    units: str | None,
    as_json: bool,
) -> None:
    """Compare fit A with fit B, each named by its number or fingerprint, down to the coefficients.

    With A alone, reproduce the fit from the archive and compare it, and the files, rows and decisions it used,
    with what was stored; exit status 1 if anything differs. The picture shows the windows of the first product
    at the plate and pressure that fit B recommends.
    """
    from pwindow.cli.archived_answers import again_answer, compared_answer
    from pwindow.cli.archived_tables import again_text, compared_text
    from pwindow.errors import UnusableInput
    from pwindow.workflows.compare import compare as compare_fits
    from pwindow.workflows.compare import windows_side_by_side
    from pwindow.workflows.kept import kept_fit

    kept = archive_of(archive, there=True)
    one = kept_fit(kept, before)
    if after is None:
        answer = again_answer(one, kept)
        reply(answer, again_text, as_json=as_json)
        if not answer["same_as_printed"]:
            raise UnusableInput(
                f"fit {one.number} is not reproduced as it was stored, or the data it used were changed"
            )
        return
    other = kept_fit(kept, after)
    if picture is not None:
        from pwindow.charts.before_after import before_after_figure

        both = windows_side_by_side(kept, one, other)
        save_picture(before_after_figure(both), picture, both.to_frame)
    text = partial(compared_text, units=units_of_archive(kept, units))
    reply(compared_answer(one, other, compare_fits(kept, one, other)), text, as_json=as_json)


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@SHEET
@ARCHIVE
@click.option("--fit", "which", help="Number or fingerprint of the fit to confirm; default: the last one.")
@UNITS
@_JSON
@guarded
def confirm(
    *, file: Path, sheet: str | None, archive: str | None, which: str | None, units: str | None, as_json: bool
) -> None:
    """Compare confirmation prints of a run with the predictions of a fit, and update its probabilities.

    FILE is a trial file with the prints of the run. It is added to the archive and awaits a decision.
    """
    from pwindow.cli.archived_answers import confirmed_answer
    from pwindow.cli.archived_tables import confirmed_text
    from pwindow.errors import UnusableInput
    from pwindow.inputs import InputFile
    from pwindow.workflows.confirm import confirm as hold_against
    from pwindow.workflows.kept import kept_fit

    kept = archive_of(archive, there=True)
    numbers = kept.fits().index
    if not len(numbers):
        raise UnusableInput("there is no fit to confirm yet; make one with `pwindow refit --product …`")
    fit = kept_fit(kept, which or str(numbers[-1]))
    shown = units_of_archive(kept, units)
    found = hold_against(kept, fit, InputFile.of(with_sheet((file,), sheet)[0]))
    answer = confirmed_answer(kept, fit, found, shown)
    reply(answer, partial(confirmed_text, units=shown), as_json=as_json)


@click.command()
@ARCHIVE
@click.option(
    "--roll", metavar="ID", help="Record a measurement of this roll; without it, list the inventory."
)
@click.option("--volume", help="Measured cell volume, such as “4.4 cm3/m2” or “2.8 BCM”.")
@click.option(
    "--measured", type=click.DateTime(["%Y-%m-%d"]), help="Date of the measurement; default: today."
)
@click.option("--gone", is_flag=True, help="Mark the roll as retired.")
@click.option("--note", default="", help="How it was measured, in a few words.")
@UNITS
@_JSON
@guarded
def rolls(
    *,
    archive: str | None,
    roll: str | None,
    volume: str | None,
    measured: datetime.datetime | None,
    gone: bool,
    note: str,
    units: str | None,
    as_json: bool,
) -> None:
    """List the roll inventory of an archive with its dated volumes, or record a new measurement."""
    import datetime

    from pwindow.cli.archived_answers import volumes_answer
    from pwindow.cli.archived_tables import volumes_text
    from pwindow.errors import UnitProblem
    from pwindow.units import read_quantity

    if (roll is None) != (volume is None and not gone) or (gone and volume is not None):
        raise click.UsageError("give --roll together with --volume, or with --gone")
    kept = archive_of(archive, there=True)
    if roll is not None and gone:
        kept.keep_volume(roll, 0.0, datetime.date.today(), note or "retired")
    elif roll is not None:
        try:
            size = read_quantity(volume, "cm³/m²")
        except UnitProblem as problem:
            raise click.BadParameter(str(problem), param_hint="--volume") from problem
        if size <= 0:
            raise click.BadParameter("the volume must be above zero", param_hint="--volume")
        day = datetime.date.today() if measured is None else measured.date()
        if day > datetime.date.today():
            raise click.BadParameter(f"{day} is in the future", param_hint="--measured")
        kept.keep_volume(roll, size, day, note)
    text = partial(volumes_text, units=units_of_archive(kept, units))
    reply(volumes_answer(kept), text, as_json=as_json)


COMMANDS = (rolls, add, trials, accept, accept_change, set_aside, refit, fits, compare, confirm)
