"""Templates of a package, and parts of pages that are filled from them."""

from __future__ import annotations

from functools import cache

from jinja2 import ChoiceLoader, Environment, PackageLoader, PrefixLoader, StrictUndefined
from jinja2.environment import TemplateModule
from markupsafe import Markup

from pwindow.wording import (
    amount,
    asked,
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
_FILTERS = (amount, asked, listed, percent, points, pressure, signed, speed, speed_change, volume)


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
    )
    found.filters |= {words.__name__: words for words in (*_FILTERS, capitalize_first, together)}
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


def together(text: str) -> str:
    """A sentence whose lines do not break between a number and its per cent sign.

    Examples
    --------
    >>> together("at least 95 %")
    'at least 95\\xa0%'
    """
    return text.replace(" %", "\u00a0%")
