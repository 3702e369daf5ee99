"""A review as pages: one self-contained HTML text each, with every name escaped by the templates.

Pictures are drawn by plotly.js, which the report carries inside once: it needs no browser to be made and
no other host to be read. The run sheet has no picture and no script.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from functools import cache
from typing import Literal

import plotly.graph_objects as go
from jinja2 import Environment, pass_context
from markupsafe import Markup

from pwindow.charts.palette import FONT, LIGHT
from pwindow.errors import WindowProblem
from pwindow.markup import templates_of
from pwindow.product import KINDS
from pwindow.review.cautions import CAUTIONS
from pwindow.review.picture import WINDOW_HEIGHT
from pwindow.review.records import Judgement, Review
from pwindow.review.words import in_hundred, program, up_to_hundred
from pwindow.window.bands import limited_by
from pwindow.window.calibration import CANNOT_SEE
from pwindow.window.run.first_prints import LEVEL, MAKE_READIES, SURE
from pwindow.window.shortfall.words import conflicts, promise, remedies
from pwindow.window.trade_offs import CONFORMANCE
from pwindow.wording import (
    amount,
    asked,
    percent,
    points,
    pressure,
    speed,
    volume,
    with_interval,
)

Paper = Literal["A4", "Letter"]
PICTURE_WIDTH = 680  # px, what an A4 page holds between its margins
_HEIGHTS = {"window": WINDOW_HEIGHT, "conformance": 340, "limiting": 440}  # px


def report_html(review: Review, paper: Paper | None = None) -> str:
    """The report for a design review.

    Parameters
    ----------
    review : Review
    paper : {'A4', 'Letter'}, optional
        Paper it is laid out for; that of the printer unless given.
    """
    drawn = {name: _picture(figure, _HEIGHTS[name]) for name, figure in review.pictures.items()}
    return _page("report.html.j2", review, paper, script=_plotly(), pictures=drawn)


def run_sheet_html(review: Review, paper: Paper | None = None) -> str:
    """The sheet for the press side: one printed page.

    Raises
    ------
    WindowProblem
        If no set-up was asked for and none is assured, or its roll is only planned.
    """
    if review.chosen == "closest":
        raise WindowProblem(
            f"no set-up reaches {asked(review.level)}, so there is none to put on a run sheet; choose one, knowing "
            f"that it is not assured, or ask for a lower assurance: the closest reaches {percent(review.joint, review.level)}"
        )
    if review.setup.roll.planned:
        raise WindowProblem(
            f"roll {review.setup.roll.id} is only planned: a run sheet is for a roll that can be mounted; choose one of those"
        )
    return _page("run_sheet.html.j2", review, paper)


def _page(template: str, review: Review, paper: Paper | None, **more) -> str:
    return (
        _templates()
        .get_template(template)
        .render(
            review=review,
            paper=paper,
            cautions=CAUTIONS,
            palette=LIGHT,
            font=Markup(FONT),
            kinds=KINDS,
            **more,
        )
    )


@cache
def _templates() -> Environment:
    found = templates_of("pwindow.review")
    found.filters |= {
        "percent": _percent,
        "in_hundred": in_hundred,
        "up_to_hundred": up_to_hundred,
        "short": amount,
        "plain": "{:g}".format,
        "setting": _setting,
        "predicted": _predicted,
        "program": program,
        "cell": _cell,
        "difference": _difference,
    }
    found.globals |= {"cannot_see": CANNOT_SEE, "LEVEL": LEVEL, "MAKE_READIES": MAKE_READIES, "SURE": SURE}
    found.globals |= {
        "promise": promise,
        "conflicts": conflicts,
        "remedies": remedies,
        "limited_by": limited_by,
    }
    return found


@pass_context
def _percent(context, value: float) -> str:
    return percent(value, context["review"].level)


def _predicted(one: Judgement) -> tuple[str, str, str]:
    """A prediction and the ends of its interval."""
    return with_interval(one.mean, one.low, one.high)


def _setting(value: float, name: str) -> str:
    """What a setting of the press is set to, by its name."""
    return {"speed": speed, "press speed": speed, "pressure": pressure}.get(name, volume)(value)


@pass_context
def _cell(context, one: Mapping, row: Mapping) -> str:
    """What stands in one cell of the table of set-ups side by side."""
    value = one["value"]
    if not isinstance(value, float):
        return str(value)
    if row["what"] == CONFORMANCE:
        return percent(value, context["review"].level)
    if math.isnan(value):
        return "–"
    if math.isnan(one["low"]):
        return amount(value)
    value, low, high = with_interval(value, one["low"], one["high"])
    return f"{value} ({low} … {high})"


def _difference(one: Mapping, row: Mapping) -> str:
    """The difference to the first set-up; "" where there is none."""
    apart = one.get("difference", math.nan)
    if math.isnan(apart) or apart == 0.0:
        return ""
    if row["what"] == CONFORMANCE:
        return f"{points(apart)} percentage points"
    low, high = one["difference_low"], one["difference_high"]
    if math.isnan(low):
        return "+" * (apart > 0) + amount(apart)
    apart, low, high = with_interval(apart, low, high, "+")
    return f"{apart} ({low} … {high})"


@cache
def _plotly() -> Markup:
    from plotly.offline import get_plotlyjs

    return Markup(get_plotlyjs())


def _picture(figure: go.Figure, height: int) -> Markup:
    """A figure as a piece of a page; plotly escapes what could end its script."""
    sized = go.Figure(figure).update_layout(width=PICTURE_WIDTH, height=height)
    sized.update_layout(font={"size": 12}, title={"font": {"size": 14}})
    return Markup(sized.to_html(full_html=False, include_plotlyjs=False, config={"displayModeBar": False}))
