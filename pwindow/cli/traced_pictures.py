"""Pictures of scans that a command writes."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import click

from pwindow.charts.scan_picture import scan_figure
from pwindow.errors import UnusableInput
from pwindow.metrology.scans import scan_of
from pwindow.outputs import write_file
from pwindow.review.browser import image_of
from pwindow.workflows.scan_kinds import Found

_MOST = 200  # scans of one page


def save_scan_pictures(found: Sequence[Found], path: Path) -> None:
    """Write a page with the picture of each scan, or the image of one, as the file's ending says, and say so.

    Parameters
    ----------
    found : sequence of Measured, MeasuredArea or MeasuredPlate
    path : Path

    Raises
    ------
    UnusableInput
        If they are more than a page shows, or several for an image.
    """
    kind, most = path.suffix.lower()[1:], _MOST if path.suffix.lower() == ".html" else 1
    if len(found) > most:
        raise UnusableInput(
            f"{path.name} holds at most {most} of the {len(found)} scans; name fewer files"
            + (", or end it in .html" if most == 1 else "")
        )
    figures = [scan_figure(scan_of(one), one) for one in found]
    if kind == "html":
        parts = [
            figure.to_html(full_html=False, include_plotlyjs=not at) for at, figure in enumerate(figures)
        ]
        page = "<!DOCTYPE html><html><head><meta charset='utf-8'><title>Scans</title></head><body>"
        content = (page + "".join(parts) + "</body></html>").encode()
    else:
        content = image_of(figures[0], kind)
    write_file(path, content)
    click.echo(f"picture: {path}", err=True)
