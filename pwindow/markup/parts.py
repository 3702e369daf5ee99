"""Templates of a package, and parts of pages that are filled from them."""

from __future__ import annotations

import re
from functools import cache
from typing import Any

from jinja2 import ChoiceLoader, Environment, PackageLoader, PrefixLoader, StrictUndefined
from jinja2.environment import TemplateModule
from markupsafe import Markup

from pwindow.wording import (
    amount,
    asked,
    at_least,
    listed,
    percent,
    points,
    pressure,
    signed,
    speed,
    speed_change,
    volume,
)

_SHARED = "pwindow.markup"
_FILTERS = (amount, asked, at_least, listed, percent, points, pressure, signed, speed, speed_change, volume)
_BEFORE_UNIT = re.compile(r"(?<=\d) (?=(?:%|µm|BCM|thou|pli|kPa|psi|Ω|mm|[a-zA-ZΩ]{1,2}[³]?/[a-z²]+)(?!\w))")


def templates_of(package: str) -> Environment:
    """The environment of the templates that lie in the folder ``templates`` of a package.

    Everything that is put in is escaped, and a name that was not given raises. Numbers are written by the filters of
    `pwindow.wording`. Macros that all packages share are imported from ``shared/parts.html.j2``.

    Parameters
    ----------
    package : str
        Its dotted name.
    """
    shared = PrefixLoader({"shared": PackageLoader(_SHARED)})
    found = Environment(
        loader=ChoiceLoader([PackageLoader(package), shared]),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        auto_reload=False,
        finalize=together,
    )
    found.filters |= {words.__name__: words for words in (*_FILTERS, capitalize_first)}
    return found


def part(package: str, template: str, name: str, /, **values: object) -> Markup:
    """A part of a page: a macro of a template, filled. The template is read and compiled once.

    Parameters
    ----------
    package : str
        Its dotted name.
    template : str
        Name of the template without its ending ``.html.j2``.
    name : str
        Of the macro.
    **values : object
        Its parameters.

    Raises
    ------
    UndefinedError
        If the macro uses a value that is not given.
    TypeError
        If it has no parameter of a name.
    """
    return getattr(_macros(package, template), name)(**values)


@cache
def _macros(package: str, template: str) -> TemplateModule:
    return templates_of(package).get_template(f"{template}.html.j2").module


def capitalize_first(text: str) -> str:
    """A sentence with its first letter as a capital, the others as they are.

    Examples
    --------
    >>> capitalize_first("line width in µm")
    'Line width in µm'
    """
    return text[:1].upper() + text[1:]


def together(value: Any) -> Any:
    """What a template writes, with a number and its unit on one line.

    Examples
    --------
    >>> together("at least 95 % at 98.8 m/min")
    'at least 95\\xa0% at 98.8\\xa0m/min'
    """
    written = isinstance(value, Markup) or not isinstance(value, str)
    return value if written else _BEFORE_UNIT.sub("\u00a0", value)
