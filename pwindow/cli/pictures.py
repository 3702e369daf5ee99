"""Pictures that commands write, and the numbers they draw."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:  # loaded by the commands that need them
    import pandas as pd
    import plotly.graph_objects as go

_ENDINGS = (".html", ".svg", ".png", ".csv")


def file_option(
    endings: tuple[str, ...], what: str
) -> Callable[[click.Context, click.Parameter, Path | None], Path | None]:
    """A callback for an option that names a file to write, with one of these endings."""

    def checked(context: click.Context, parameter: click.Parameter, path: Path | None) -> Path | None:
        if path is None:
            return None
        if path.suffix.lower() not in endings:
            raise click.BadParameter(
                f"{path.name}: the ending of {what} must be {', '.join(endings[:-1])} or {endings[-1]}"
            )
        if not path.absolute().parent.is_dir():
            raise click.BadParameter(f"there is no folder {path.parent}")
        return path

    return checked


PICTURE = click.option(
    "--picture",
    type=click.Path(path_type=Path, dir_okay=False),
    callback=file_option(_ENDINGS, "a picture"),
    help="Write the picture to this file: .html, .svg or .png; or .csv for the numbers in it (of a map: the grid of "
    "probabilities, and how many standard deviations of the next print the means lie inside the limits).",
)


def save_picture(figure: go.Figure, path: Path, numbers: Callable[[], pd.DataFrame]) -> None:
    """Write a figure in the form that the file's ending says, and say so.

    Parameters
    ----------
    figure : plotly Figure
    path : Path
    numbers : callable
        Makes the table of what the figure draws, a DataFrame.
    """
    from pwindow.outputs import csv_of, write_file
    from pwindow.review.browser import image_of

    kind = path.suffix.lower()
    if kind == ".html":
        content = figure.to_html(include_plotlyjs=True).encode()
    elif kind == ".csv":
        content = csv_of(numbers()).encode()
    else:
        content = image_of(figure, kind[1:])
    write_file(path, content)
    click.echo(f"picture: {path}", err=True)
