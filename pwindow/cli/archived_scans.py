"""The command that lists the scans an archive keeps, and writes them back."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import click

from pwindow.cli.guarded import guarded, reply
from pwindow.cli.sources import ARCHIVE, archive_of
from pwindow.errors import UnusableInput


@click.command()
@click.argument("named", nargs=-1, metavar="[SCAN…]")
@ARCHIVE
@click.option(
    "--trial",
    type=click.IntRange(1),
    metavar="NUMBER",
    help="Only scans that this trial was measured from.",
)
@click.option("--print", "print_id", metavar="ID", help="Only scans of this print; needs --trial.")
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path, file_okay=False),
    metavar="FOLDER",
    help="Write the files there, each after its SHA-256 was checked; no other file is overwritten.",
)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document on standard output.")
@guarded
def scans(
    *,
    named: Sequence[str],
    archive: str | None,
    trial: int | None,
    print_id: str | None,
    output: Path | None,
    as_json: bool,
) -> None:
    """List the scans that an archive keeps, or write their files to a folder.

    A SCAN is named by its SHA-256, the first six digits of it or more, or the name of its file. `trace --keep-scans` keeps
    them.
    """
    from pwindow.cli.archived_answers import scans_answer
    from pwindow.cli.archived_tables import scans_text
    from pwindow.workflows.kept_scans import find_scans, write_back

    if print_id is not None and trial is None:
        raise click.UsageError("--print needs --trial NUMBER")
    kept = archive_of(archive, there=True)
    found = find_scans(kept, named, trial, print_id)
    for name in found.missing:
        click.echo(f"{name}, which trial {trial} was measured from, is not kept in the archive", err=True)
    if output is not None and found.scans.empty:
        raise UnusableInput(f"archive {kept.address} keeps none of these scans; nothing was written")
    written = None if output is None else write_back(kept, found.scans, output)
    reply(scans_answer(kept, found, written), scans_text, as_json=as_json)
