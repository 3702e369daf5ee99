"""Documents as pages: one self-contained HTML text each, with every name escaped by the templates."""

from __future__ import annotations

from functools import cache
from typing import Literal

from jinja2 import Environment, pass_context
from jinja2.runtime import Context
from markupsafe import Markup

from pwindow.charts.palette import FONT, LIGHT
from pwindow.markup import templates_of
from pwindow.product import REQUIREMENT_KINDS
from pwindow.review.cautions import CAUTIONS
from pwindow.review.essentials import Essentials
from pwindow.review.words import in_hundred, program, up_to_hundred
from pwindow.window.run.first_prints import LEVEL, MAKE_READIES, SURE
from pwindow.wording import amount, percent

Paper = Literal["A4", "Letter"]


def page(template: str, essentials: Essentials, paper: Paper | None, **own: object) -> str:
    """A template filled with what every document says, and with what is this document's own.

    Parameters
    ----------
    template : str
    essentials : Essentials
    paper : {'A4', 'Letter'}, optional
        Paper it is laid out for; that of the printer unless given.
    **own : object
        By the names that the template uses.
    """
    looks = {"palette": LIGHT, "font": Markup(FONT)}
    shared = vars(essentials) | {"paper": paper, "cautions": CAUTIONS, "kinds": REQUIREMENT_KINDS}
    return _templates().get_template(template).render(**shared, **looks, **own)


@cache
def _templates() -> Environment:
    templates = templates_of("pwindow.review")
    templates.filters |= {
        "percent": percent_of,
        "in_hundred": in_hundred,
        "up_to_hundred": up_to_hundred,
        "short": amount,
        "plain": "{:g}".format,
        "program": program,
    }
    templates.globals |= {"LEVEL": LEVEL, "MAKE_READIES": MAKE_READIES, "SURE": SURE}
    return templates


@pass_context
def percent_of(context: Context, value: float) -> str:
    """A probability in percent, with the digits that the assurance asked for needs."""
    return percent(value, context["promise"].level)
