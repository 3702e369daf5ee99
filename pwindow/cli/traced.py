"""The command that turns measured profiles into rows of a trial file."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
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
    from pwindow.metrology.instruments import Instrument
    from pwindow.metrology.topography import Topography
    from pwindow.metrology.trace import Trace
    from pwindow.workflows.scan_kinds import Found

_INSTRUMENTS = ("optical", "stylus")
_FEET = ("tenth", "three-deviations")
_MANY = 40  # profiles from which on several processes are worth their start


@dataclass(frozen=True)
class _Read:
    """Scans, why other files cannot be read, the file of each scan by its SHA-256, and the names of all files."""

    scans: list[Trace | Topography]
    failed: list[str]
    paths: dict[str, Path]
    names: set[str]


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
@click.option(
    "--study",
    type=click.Path(path_type=Path),
    help="Study file, whose [scans] says where feet lie, which instrument measured, and how files are called.",
)
@ARCHIVE
@click.option(
    "--keep-scans",
    is_flag=True,
    help="Keep the files of the scans that are measured in the archive, each once; `scans` gives them back.",
)
@click.option(
    "--instrument",
    type=click.Choice(_INSTRUMENTS),
    help="Instrument whose height uncertainty is assumed; optical unless the study says otherwise.",
)
@click.option(
    "--foot",
    type=click.Choice(_FEET),
    help="Where the foot of a line lies: at a tenth of its step height, or three standard deviations above the film; a "
    "tenth unless the study says otherwise.",
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
    study: Path | None,
    keep_scans: bool,
    instrument: str | None,
    foot: str | None,
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

    if of == "plate" and (runs is not None or foot is not None):
        raise click.UsageError("a plate has no run list and no foot; leave out --runs and --foot")
    if keep_scans and archive is None:
        raise click.UsageError("--keep-scans needs --archive ADDRESS, or PWINDOW_ARCHIVE")
    from pwindow.inputs import InputFile
    from pwindow.metrology.decisions import excluded_apart
    from pwindow.metrology.foot import FOOT_RULES
    from pwindow.metrology.instruments import instrument_as
    from pwindow.metrology.rows import listed_scans, names_of
    from pwindow.outputs import csv_of, plain, write_file
    from pwindow.study import ScansStated, read_study
    from pwindow.trials.files import read_cells

    kind, paths = KINDS[of], _paths(files)
    stated = ScansStated() if study is None else read_study(study).scans
    pattern, assumed = pattern or stated.pattern_for(kind.field), instrument_as(stated, instrument)
    measure = kind.measured_by(FOOT_RULES[foot or stated.foot or _FEET[0]])
    if keep_scans:
        _refuse_large(paths)
    read = _read(paths, scale)
    decisions = _decisions(decided, archive, keep_scans=keep_scans)
    scans, excluded = excluded_apart(read.scans, decisions)
    run_list = None if runs is None else read_cells(InputFile.of(runs))[0]
    listed = None if scan_list is None else listed_scans(read_cells(InputFile.of(scan_list))[0])
    named = any(one is not None for one in (output, run_list, listed, pattern))
    names = names_of(scans, pattern, kind.field, listed) if named else {}
    found, unmeasured = _measure(scans, assumed, decisions, measure)
    failed = [*read.failed, *unmeasured]
    if not found:
        raise UnusableInput(*(failed or ["all scans are excluded; nothing is left to measure"]))
    rows = None
    if output is not None:
        rows = kind.rows(found, names, run_list, listed)
    kept = _keep(found, read.paths, archive) if keep_scans else None
    if output is not None and rows is not None:
        write_file(output, csv_of(rows).encode())
    if picture is not None:
        from pwindow.cli.traced_pictures import save_scan_pictures

        save_scan_pictures(found, picture)
    notes = [*_notes_on_names(read, pattern, kind.field, listed), *decisions.not_holding(read.scans)]
    for reason in [*failed, *notes]:
        click.echo(reason, err=True)
    answer, text = (plates_answer, plates_text) if of == "plate" else (traces_answer, traces_text)
    document = answer(found, names, failed, decisions, excluded) | {"notes": notes, "scans_kept": kept}
    reply(plain(document), partial(text, found), as_json=as_json)


def _notes_on_names(
    read: _Read, pattern: str | None, what: str, listed: Mapping[str, Mapping[str, str]] | None
) -> list[str]:
    """Scans of a list that are not there, and prints or plates that are said differently."""
    from pwindow.metrology.rows import contradictions, not_there

    there = {*(scan.name for scan in read.scans), *read.names}
    notes = [
        None if listed is None else not_there(listed, there),
        contradictions(read.scans, pattern, what, listed),
    ]
    return [note for note in notes if note is not None]


def _refuse_large(paths: Iterable[Path]) -> None:
    """Before anything is read, refuse what the archive would not keep."""
    from pwindow.trials.archive.scans import refuse_large

    for path in paths:
        if path.exists():
            refuse_large(str(path), path.stat().st_size)


def _keep(found: Sequence[Found], paths: Mapping[str, Path], archive: str | None) -> dict:
    """Keep the files of what was measured; says how many were kept, and how many were there."""
    from pwindow.metrology.scans import scan_of
    from pwindow.workflows.kept_scans import keep_measured

    opened = archive_of(archive)
    measured = {scan_of(one).sha256 for one in found}
    kept = keep_measured(opened, {digest: path for digest, path in paths.items() if digest in measured})
    return {"archive": opened.address, "kept": kept.new, "already_there": kept.known}


def _decisions(file: Path | None, archive: str | None, *, keep_scans: bool) -> Decisions:
    """Decisions of a file, which go before those of an archive."""
    from pwindow.metrology.decisions import Decisions, read_decisions

    kept = Decisions()
    if archive is not None and not _to_be_made(archive, keep_scans=keep_scans):
        from pwindow.workflows.scanned import archived_decisions

        kept = archived_decisions(archive_of(archive, there=True))
    return kept if file is None else kept.taking(*read_decisions(file))


def _to_be_made(archive: str, *, keep_scans: bool) -> bool:
    """Whether an archive that is not there need not be: scans come before the first trial.

    That is so where only the environment names it, or where it is made to keep them.
    """
    from pwindow.trials.archive.connection import file_of

    named = click.get_current_context().get_parameter_source("archive")
    file = file_of(archive)
    needless = keep_scans or named is ParameterSource.ENVIRONMENT
    return needless and file is not None and not file.exists()


def _paths(files: Sequence[Path]) -> list[Path]:
    """Files, and those in folders in the order of their names."""
    from pwindow.metrology.scans import SUFFIXES

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
    return paths


def _read(paths: Sequence[Path], scale: float | None) -> _Read:
    """The scans of files, and why others cannot be read."""
    from pwindow.metrology.scans import read_or_why

    read = _one_by_one("reading", read_or_why, [(path, scale) for path in paths], told_from=2)
    scans: list[Trace | Topography] = []
    by_digest: dict[str, Path] = {}
    for path, one in zip(paths, read):
        if not isinstance(one, str):
            scans += one
            by_digest.setdefault(one[0].sha256, path)
    return _Read(
        scans=scans,
        failed=[one for one in read if isinstance(one, str)],
        paths=by_digest,
        names={path.name for path in paths},
    )


def _one_by_one(label: str, work: Callable, given: Sequence[tuple], told_from: int) -> list:
    """What work makes of each, on all cores where they are many, with a progress bar from so many on."""
    from joblib import Parallel, delayed

    workers = Parallel(n_jobs=1 if len(given) < _MANY else -1, return_as="generator")
    with click.progressbar(
        workers(delayed(work)(*one) for one in given),
        length=len(given),
        label=label,
        file=sys.stderr,
        hidden=len(given) < told_from,
    ) as bar:
        return list(bar)


def _measure(
    scans: Sequence[Trace | Topography], instrument: Instrument, decisions: Decisions, how: Callable
) -> tuple[list, list[str]]:
    """What was measured on each scan, and why others could not be."""
    from pwindow.metrology.scans import measured_or_why

    asked = [(one, instrument, decisions.on(one), how) for one in scans]
    outcomes = _one_by_one("measuring", measured_or_why, asked, told_from=_MANY)
    return [one for one in outcomes if not isinstance(one, str)], [
        one for one in outcomes if isinstance(one, str)
    ]
