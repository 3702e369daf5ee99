"""Pictures that commands write."""

from __future__ import annotations

from pathlib import Path

import click


def _checked(context, parameter, path):
    if path is not None and not path.absolute().parent.is_dir():
        raise click.BadParameter(f"there is no folder {path.parent}")
    return path


PICTURE = click.option(
    "--picture",
    type=click.Path(path_type=Path, dir_okay=False),
    callback=_checked,
    help="Write the picture to this HTML file.",
)


def save_picture(figure, path: Path) -> None:
    """Write a figure as a page of its own, and say so."""
    try:
        figure.write_html(path, include_plotlyjs=True)
    except OSError as problem:
        raise click.BadParameter(
            f"cannot be written: {problem.strerror}", param_hint="--picture"
        ) from problem
    click.echo(f"picture: {path}", err=True)
