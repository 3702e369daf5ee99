"""The command that turns measured profiles into rows of a trial file."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import click
from click.core import ParameterSource

from pwindow.cli.guarded import guarded, reply
from pwindow.cli.pictures import file_option
from pwindow.cli.sources import ARCHIVE, archive_of
from pwindow.errors import UnusableInput

if TYPE_CHECKING:  # loaded by the command
    from pwindow.metrology.decisions import Decisions
    from pwindow.metrology.topography import Topography
    from pwindow.metrology.trace import Trace
    from pwindow.workflows.scan_kinds import Kind

_INSTRUMENTS = ("optical", "stylus")
_FEET = ("tenth", "three-deviations")
_MANY = 40  # profiles from which on several processes are worth their start


@click.command()
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="FILE…")
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path),
    help="Trial file (CSV) to write: one row per line, gap or count.",
)
@click.option(
    "--runs",
    type=click.Path(path_type=Path),
    help="Run list: a table with one row per print, joined by “print”.",
)
@click.option(
    "--list",
    "scan_list",
    type=click.Path(path_type=Path),
    help="Scan list: a table with one row per scan: “scan”, “print”, and what else is known of it, such as plate_gap.",
)
@click.option(
    "--name",
    "pattern",
    metavar="PATTERN",
    help="Pattern of file names, used when a file does not name its print, such as “{print}_*.csv”.",
)
@click.option(
    "--decisions",
    "decided",
    type=click.Path(path_type=Path),
    help="Decisions on scans (TOML), as saved on the page Traces: excluded ones are left out.",
)
@ARCHIVE
@click.option(
    "--instrument",
    type=click.Choice(_INSTRUMENTS),
    default="optical",
    show_default=True,
    help="Instrument whose height uncertainty is assumed.",
)
@click.option(
    "--foot",
    type=click.Choice(_FEET),
    default=_FEET[0],
    show_default=True,
    help="Where the foot of a line lies: at a tenth of its step height, or three standard deviations above the film.",
)
@click.option(
    "--scale",
    type=click.FloatRange(min=0.0, min_open=True),
    metavar="METRES",
    help="Length unit of a topography in metres, where its file has none or a wrong one, such as 1e-6.",
)
@click.option(
    "--of",
    type=click.Choice(["print", "plate"]),
    default="print",
    show_default=True,
    help="What was scanned. Of a plate: widths of raised lines, gaps with their lips and depth.",
)
@click.option(
    "--picture",
    type=click.Path(path_type=Path, dir_okay=False),
    callback=file_option((".html", ".svg", ".png"), "a picture"),
    help="Write a picture of each scan with what was measured on it: .html; of one scan also .svg or .png.",
)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document on standard output.")
@guarded
def trace(
    *,
    files: Sequence[Path],
    output: Path | None,
    runs: Path | None,
    scan_list: Path | None,
    pattern: str | None,
    decided: Path | None,
    archive: str | None,
    instrument: str,
    foot: str,
    scale: float | None,
    of: str,
    picture: Path | None,
    as_json: bool,
) -> None:
    """Measure lines and gaps on the height profiles and topographies in FILEs, or in all files of a folder.

    A profile is a CSV with columns such as “x [µm],z [nm]”; several columns of heights, or a column “trace”, hold
    several. A topography is an X3P file, a text grid (.sdf), or a CSV grid. Each is levelled on the bare film, and its
    lines are found without being told where. Decisions on scans that an archive keeps hold here too.
    """
    from pwindow.cli.traced_answers import traces_answer, traces_text
    from pwindow.cli.traced_plates import plates_answer, plates_text
    from pwindow.workflows.scan_kinds import KINDS

    if of == "plate" and (runs is not None or foot != _FEET[0]):
        raise click.UsageError("a plate has no run list and no foot; leave out --runs and --foot")
    from pwindow.inputs import InputFile
    from pwindow.metrology.decisions import changed_since, excluded_apart
    from pwindow.metrology.rows import listed_scans, names_of, not_there
    from pwindow.outputs import csv_of, plain, write_file
    from pwindow.trials.files import read_cells

    kind = KINDS[of]
    scans, failed = _read(files, scale)
    decisions = _decisions(decided, archive)
    kept, excluded = excluded_apart(scans, decisions)
    run_list = None if runs is None else read_cells(InputFile.of(runs))[0]
    listed = None if scan_list is None else listed_scans(read_cells(InputFile.of(scan_list))[0])
    named = any(one is not None for one in (output, run_list, listed, pattern))
    names = names_of(kept, pattern, kind.field, listed) if named else {}
    found, unmeasured = _measure(kept, instrument, decisions, _how(kind, foot))
    failed += unmeasured
    if not found:
        raise UnusableInput(*(failed or ["all scans are excluded; nothing is left to measure"]))
    if output is not None:
        write_file(output, csv_of(kind.rows(found, names, run_list, listed)).encode())
    if picture is not None:
        from pwindow.cli.traced_pictures import save_scan_pictures

        save_scan_pictures(found, picture)
    if listed is not None and (missing := not_there(listed, scans)):
        failed.append(missing)
    for reason in [*failed, *map(changed_since, decisions.outdated(scans))]:
        click.echo(reason, err=True)
    answer, text = (plates_answer, plates_text) if of == "plate" else (traces_answer, traces_text)
    reply(plain(answer(found, names, failed, decisions, excluded)), partial(text, found), as_json=as_json)


def _decisions(file: Path | None, archive: str | None) -> Decisions:
    """Decisions of a file, which go before those of an archive."""
    from pwindow.metrology.decisions import Decisions, read_decisions

    kept = Decisions()
    if archive is not None and not _to_be_made(archive):
        from pwindow.workflows.scanned import archived_decisions

        kept = archived_decisions(archive_of(archive, there=True))
    return kept if file is None else kept.taking(*read_decisions(file))


def _to_be_made(archive: str) -> bool:
    """Whether an archive that only the environment names is not there yet: scans come before the first trial."""
    from pwindow.trials.archive.connection import file_of

    named = click.get_current_context().get_parameter_source("archive")
    file = file_of(archive)
    return named is ParameterSource.ENVIRONMENT and file is not None and not file.exists()


def _read(files: Sequence[Path], scale: float | None) -> tuple[list[Trace | Topography], list[str]]:
    """The scans of files and of the files in folders, in the order of their names, and why others cannot be read."""
    from pwindow.metrology.scans import SUFFIXES, read_or_why

    paths = []
    for one in files:
        inside = (
            sorted(path for path in one.iterdir() if path.suffix.lower() in SUFFIXES)
            if one.is_dir()
            else [one]
        )
        if not inside:
            raise UnusableInput(f"{one}: the folder holds no file that ends in {', '.join(SUFFIXES)}")
        paths += inside
    with click.progressbar(paths, label="reading", file=sys.stderr, hidden=len(paths) < 2) as bar:
        read = [read_or_why(path, scale) for path in bar]
    scans = [scan for one in read if not isinstance(one, str) for scan in one]
    return scans, [one for one in read if isinstance(one, str)]


def _how(kind: Kind, foot: str) -> Callable:
    """How scans of a kind are measured; a plate has no foot."""
    from pwindow.metrology.foot import FOOT_RULES

    return kind.measure if foot == _FEET[0] else partial(kind.measure, rule=FOOT_RULES[foot])


def _measure(
    scans: Sequence[Trace | Topography], instrument: str, decisions: Decisions, how: Callable
) -> tuple[list, list[str]]:
    """What was measured on each scan, and why others could not be."""
    from joblib import Parallel, delayed

    from pwindow.metrology.instruments import instrument_named
    from pwindow.metrology.scans import measured_or_why

    assumed = instrument_named(instrument)
    workers = Parallel(n_jobs=1 if len(scans) < _MANY else -1, return_as="generator")
    work = workers(delayed(measured_or_why)(one, assumed, decisions.on(one), how) for one in scans)
    with click.progressbar(
        work,
        length=len(scans),
        label="measuring",
        file=sys.stderr,
        hidden=len(scans) < _MANY,
    ) as bar:
        outcomes = list(bar)
    return [one for one in outcomes if not isinstance(one, str)], [
        one for one in outcomes if isinstance(one, str)
    ]
