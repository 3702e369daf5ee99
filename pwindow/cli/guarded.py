"""What every command does: answers on standard output, reasons on standard error."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Mapping
from functools import wraps
from typing import Any

import click

from pwindow.errors import UnusableInput

_MOST = 20  # reasons that are told


def guarded(command: Callable[..., None]) -> Callable[..., None]:
    """Turn unusable input into its reasons on standard error and exit status 1."""

    @wraps(command)
    def run(*args: Any, **kwargs: Any) -> None:
        try:
            command(*args, **kwargs)
        except UnusableInput as problem:
            for reason in problem.reasons[:_MOST]:
                click.echo(reason, err=True)
            if len(problem.reasons) > _MOST:
                click.echo(f"… and {len(problem.reasons) - _MOST} more", err=True)
            sys.exit(1)

    return run


def reply(document: Mapping[str, Any], text: Callable[[Any], str], *, as_json: bool) -> None:
    """Print a document, as JSON or as its text.

    Parameters
    ----------
    document : mapping
        What JSON can hold.
    text : callable
        Turns the document into what people read.
    as_json : bool
    """
    click.echo(json.dumps(document, indent=1) if as_json else text(document))
