"""The report as a page.

Pictures are drawn by plotly.js, which the report carries inside once: it needs no browser to be made and
no other host to be read.
"""

from __future__ import annotations

import math

import plotly.graph_objects as go
from jinja2 import pass_context
from jinja2.runtime import Context
from markupsafe import Markup
from plotly.offline import get_plotlyjs

from pwindow.review.alternatives import Compared
from pwindow.review.pages import Paper, page, percent_of
from pwindow.review.picture import WINDOW_HEIGHT
from pwindow.review.report import Judgement, Report
from pwindow.window.calibration import CANNOT_SEE
from pwindow.window.shortfall.words import conflicts, promise, remedies
from pwindow.window.trade_offs import CONFORMANCE
from pwindow.wording import amount, points, pressure, speed, speed_change, volume, with_interval

PICTURE_WIDTH = 760  # px
PRINTED_WIDTH = 680  # px, what an A4 page holds between its margins
_HEIGHTS = {"window": WINDOW_HEIGHT, "conformance": 380, "limiting": 410}  # px


def report_html(report: Report, paper: Paper | None = None) -> str:
    """The report for a design review.

    Parameters
    ----------
    report : Report
    paper : {'A4', 'Letter'}, optional
        Paper it is laid out for; that of the printer unless given.
    """
    drawn = {name: _picture(getattr(report.pictures, name), height) for name, height in _HEIGHTS.items()}
    return page(
        "report.html.j2",
        report.essentials,
        paper,
        report=report,
        script=Markup(get_plotlyjs()),
        pictures=drawn,
        printed_share=PRINTED_WIDTH / PICTURE_WIDTH,
        **_WORDS,
    )


def _setting(value: float, name: str) -> str:
    """What a setting of the press is set to, by its name."""
    return {"speed": speed, "press speed": speed, "pressure": pressure}.get(name, volume)(value)


@pass_context
def _predicted(context: Context, judgement: Judgement) -> tuple[str, str, str, str]:
    """A prediction, the ends of its interval, and their unit."""
    unit = context["promise"].units.of(judgement.unit)
    return *with_interval(
        *(unit.of(one) for one in (judgement.mean, judgement.low, judgement.high))
    ), unit.name


@pass_context
def _cell(context: Context, compared: Compared, what: str) -> str:
    """What stands in one cell of the table of set-ups side by side."""
    value = compared.value
    if not isinstance(value, float):
        return str(value)
    if what == CONFORMANCE:
        return percent_of(context, value)
    if math.isnan(value):
        return "–"
    if math.isnan(compared.low):
        return _setting(value, what)
    value, low, high = with_interval(value, compared.low, compared.high)
    return f"{value} ({low} … {high})"


def _difference(compared: Compared, what: str) -> str:
    """The difference to the first set-up; "" where there is none."""
    difference = compared.difference
    if difference is None or math.isnan(difference.value) or difference.value == 0.0:
        return ""
    if what == CONFORMANCE:
        return f"{points(difference.value)} percentage points"
    if math.isnan(difference.low):
        if what == "speed":
            return speed_change(difference.value)
        return "+" * (difference.value > 0) + amount(difference.value)
    apart, low, high = with_interval(difference.value, difference.low, difference.high, "+")
    return f"{apart} ({low} … {high})"


def _picture(figure: go.Figure, height: int) -> Markup:
    """A figure as a piece of a page; plotly escapes what could end its script."""
    sized = go.Figure(figure).update_layout(width=PICTURE_WIDTH, height=height)
    sized.update_layout(font={"size": 12}, title={"font": {"size": 14}})
    return Markup(sized.to_html(full_html=False, include_plotlyjs=False, config={"displayModeBar": False}))


_WORDS = {
    "cell": _cell,
    "difference": _difference,
    "setting": _setting,
    "predicted": _predicted,
    "closeness": promise,
    "conflicts": conflicts,
    "remedies": remedies,
    "cannot_see": CANNOT_SEE,
}
"""What the template calls beside the filters that all templates have."""
