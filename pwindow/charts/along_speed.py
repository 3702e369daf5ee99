"""One quantity of the next print along the press speed, a line and a band for each roll."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from pwindow.charts.labels import (
    LETTER,
    LINE,
    Box,
    Labels,
    as_text,
    asked_for,
    covered,
    moved_apart,
    overlap,
    title,
)
from pwindow.charts.palette import FONT, LIGHT, PERCENT_TICKS, Palette, placed_title
from pwindow.charts.roll_looks import RollLook, roll_looks
from pwindow.charts.speed_marks import Curves, draw_marks, move_selected, told
from pwindow.window.setup import Setup
from pwindow.window.trade_offs import CONFORMANCE, Shown, limits_of_mean, shown_quantities
from pwindow.window.window import Window
from pwindow.wording import Units, metric, percent, with_interval

MEETS_ALL = "probability that all requirements are met"
"""The joint conformance probability in words."""
_ROOM = 0.055  # between labels, as a share of the axis
_PLOT = (430, 210)  # px that a plot has at the least; where it has more, labels have more room
_SHARES = (-0.02, 1.04)  # of the axis of conformance
_APART = 0.08  # of the plot: nearer to another curve, it is not clear which one a label belongs to
_MUTED = 0.6  # of the width of the selected roll's line
_NOTHING = 0.01  # conformance of a roll below which its curve lies on the axis
_OPACITY, _OPACITIES = 0.13, 0.45  # of one band, and of all of them over one another


def along_speed_names(window: Window, plate: str) -> dict[str, str]:
    """What `along_speed_figure` can draw: words by name."""
    shown = shown_quantities(window, plate)
    return {name: one.label for name, one in shown.items()} | {CONFORMANCE: MEETS_ALL}


def along_speed_figure(
    window: Window,
    table: pd.DataFrame,
    name: str,
    plate: str,
    pressure: float,
    palette: Palette = LIGHT,
    *,
    selected: Setup | None = None,
    pins: Sequence[Setup] = (),
    units: Units | None = None,
) -> go.Figure:
    """Draw one quantity against speed.

    Parameters
    ----------
    window : Window
    table : DataFrame
        As `along_speed` makes it at this plate process and pressure; it holds what is drawn.
    name : str
        One of `along_speed_names`.
    plate : str
    pressure : float
        In the trial's unit of pressure.
    palette : Palette
    selected : Setup, optional
        Marked by a ring; its roll is drawn strongest. All rolls alike unless given.
    pins : sequence of Setup, optional
        Marked by their numbers, counted from 1, where they are of this plate and pressure and one is selected.
    units : Units, optional
        Of the picture; metric unless given.
    """
    units = units or metric(window.surfaces.trial.pressure_unit)
    numbered = dict(enumerate(pins, 1))
    here = {
        at: pin for at, pin in numbered.items() if pin.plate == plate and np.isclose(pin.pressure, pressure)
    }
    words = [] if selected is None else told(list(here), [at for at in numbered if at not in here])
    strongest = None if selected is None else selected.roll.id
    figure, curves = _drawn(window, table, name, (plate, pressure), palette, strongest, words, units)
    if selected is not None:
        draw_marks(figure, curves, selected, here, units.speed, palette)
    return figure


def select_along_speed(
    figure: go.Figure, window: Window, table: pd.DataFrame, name: str, selected: Setup, units: Units
) -> None:
    """Move the ring of a figure made by `along_speed_figure` to another speed of the same roll.

    Parameters
    ----------
    figure : Figure
    window : Window
    table : DataFrame
        What it was drawn of.
    name : str
        What it shows.
    selected : Setup
    units : Units
        Of the picture.
    """
    kept = None if name == CONFORMANCE else shown_quantities(window, selected.plate)[name]
    table, shown = _in_units(table, kept, units)
    move_selected(figure, _points(_by_roll(table), shown), selected, units.speed)


def _by_roll(table: pd.DataFrame) -> dict[str, pd.DataFrame]:
    return {roll: table[table["roll"] == roll] for roll in table["roll"].unique()}


def _points(by_roll: dict[str, pd.DataFrame], shown: Shown | None) -> Curves:
    return {
        roll: (members["speed_m_min"].to_numpy(float), _mean(members, shown).to_numpy(float))
        for roll, members in by_roll.items()
    }


def _drawn(
    window: Window,
    table: pd.DataFrame,
    name: str,
    place: tuple[str, float],
    palette: Palette,
    strongest: str | None,
    marks: Sequence[str],
    units: Units,
) -> tuple[go.Figure, Curves]:
    """The figure without marks, but with what they mean, and its curves."""
    plate, pressure = place
    looks = roll_looks(window.rolls, palette, units)
    kept = None if name == CONFORMANCE else shown_quantities(window, plate)[name]
    table, shown = _in_units(table, kept, units)
    figure, by_roll = go.Figure(), _by_roll(table)
    if shown is not None:
        for roll, members in by_roll.items():
            _draw_band(figure, members, shown, looks[roll].pale(min(_OPACITY, _OPACITIES / len(by_roll))))
    for members in by_roll.values():
        _draw_casing(figure, members, shown, palette)
    for roll, members in by_roll.items():
        strong = strongest in (None, roll) or strongest not in by_roll
        share = 1.0 if strong else _MUTED
        _draw_line(
            figure, members, shown, looks[roll], (palette.paper, units.speed.name), window.level, share
        )
    limits = _limits(window, plate, kept, units)
    y_range = _range(table, shown, [limit for limit, _ in limits])
    where = (plate, units.pressure.words(pressure))
    _lay_out(figure, window, shown, where, by_roll, y_range, palette, marks)
    figure.update_xaxes(title={"text": f"press speed, {units.speed.name}"})
    if table["speed_m_min"].nunique() > 1:
        figure.update_xaxes(range=[table["speed_m_min"].min(), table["speed_m_min"].max()])
    if shown is None:
        _draw_level(figure, *limits[0], palette)
        _label_curves(figure, by_roll, looks, window.level, palette)
        return figure, _points(by_roll, shown)
    taken: list[Box] = []
    curves = _together(_curves(by_roll, shown, y_range).values())
    for limit, words in limits:
        _draw_limit(figure, (limit, words), curves, taken, palette)
    _label_ends(figure, by_roll, shown, looks, y_range, palette)
    longest = max((len(line) for roll in by_roll for line in _end_words(looks[roll])), default=0)
    figure.update_layout(margin={"r": min(45 + 7.5 * longest, 280)})
    return figure, _points(by_roll, shown)


def _in_units(table: pd.DataFrame, shown: Shown | None, units: Units) -> tuple[pd.DataFrame, Shown | None]:
    """What is drawn, in the units of the picture."""
    table = table.assign(speed_m_min=units.speed.of(table["speed_m_min"]))
    if shown is None:
        return table, None
    unit = units.of(shown.unit)
    columns = {name: unit.of(table[name]) for name in shown.columns}
    return table.assign(**columns), replace(shown, unit=unit.name)


def _mean(members: pd.DataFrame, shown: Shown | None) -> pd.Series:
    return members[CONFORMANCE] if shown is None else members[f"{shown.key}_mean"]


def _draw_band(figure: go.Figure, members: pd.DataFrame, shown: Shown, fill: str) -> None:
    speeds = members["speed_m_min"]
    low, high = (members[f"{shown.key}_obs_ci_{end}"] for end in ("low", "high"))
    figure.add_scatter(
        x=[*speeds, *speeds[::-1]],
        y=[*low, *high[::-1]],
        fill="toself",
        fillcolor=fill,
        line={"width": 0},
        mode="lines",
        name="band",
        hoverinfo="skip",
    )


def _draw_casing(figure: go.Figure, members: pd.DataFrame, shown: Shown | None, palette: Palette) -> None:
    """Light beneath a line, which sets it off from bands that lie over one another."""
    line = {"color": palette.paper, "width": 6}
    figure.add_scatter(
        x=members["speed_m_min"], y=_mean(members, shown), mode="lines", line=line, opacity=0.8,
        name="casing", hoverinfo="skip",
    )  # fmt: skip


def _draw_line(
    figure: go.Figure,
    members: pd.DataFrame,
    shown: Shown | None,
    look: RollLook,
    ground_and_unit: tuple[str, str],
    level: float,
    share: float,
) -> None:
    """A thin line along all speeds, and a thick one over it where the set-up is assured; `share` of its full width."""
    mean, (ground, unit) = _mean(members, shown), ground_and_unit
    low, high = (mean if shown is None else members[f"{shown.key}_obs_ci_{end}"] for end in ("low", "high"))
    hover = {
        "customdata": np.column_stack([low, high, members[CONFORMANCE]]),
        "text": _hover_texts(members, shown, level),
        "hovertemplate": f"{as_text(look.words)}, %{{x:.1f}} {unit}<br>%{{text}}<extra></extra>",
    }
    assured = members["assured"].to_numpy(bool)
    # both parts hold the point where they meet
    elsewhere = ~assured | ~np.append(assured[1:], True) | ~np.insert(assured[:-1], 0, True)
    thin, thick = (share * width for width in ((4.2, 7.5) if look.hollow else (2.4, 5.5)))
    for where, width, words in ((elsewhere, thin, ""), (assured, thick, ", assured")):
        figure.add_scatter(
            x=members["speed_m_min"],
            y=mean.where(where),
            mode="lines",
            connectgaps=False,
            line={"color": look.colour, "dash": look.dash, "width": width, "shape": "spline"},
            opacity=share**0.5,
            name=as_text(look.words) + words,
            **hover,
        )
        if look.hollow:
            figure.add_scatter(
                x=members["speed_m_min"], y=mean.where(where), mode="lines", connectgaps=False,
                line={"color": ground, "width": 0.45 * width}, name="hollow", hoverinfo="skip",
            )  # fmt: skip


def _hover_texts(members: pd.DataFrame, shown: Shown | None, level: float) -> list[str]:
    """What a tooltip says at each speed: the quantity with its interval, and how likely all is met."""
    chances = [f"all requirements met: {percent(share, level)}" for share in members[CONFORMANCE]]
    if shown is None:
        return chances
    ends = members[[f"{shown.key}_{end}" for end in ("mean", "obs_ci_low", "obs_ci_high")]].to_numpy(float)
    values = (with_interval(*each) for each in ends)
    return [
        f"{value} {shown.unit}<br>95 % prediction interval {low} to {high} {shown.unit}<br>{chance}"
        for (value, low, high), chance in zip(values, chances)
    ]


def _limits(window: Window, plate: str, shown: Shown | None, units: Units) -> list[tuple[float, str]]:
    """Limits of what is drawn, and their words; where what is drawn is a mean, limits of the mean."""
    if shown is None:
        return [(window.level, asked_for(window.product.assurance))]
    if shown.requirement is None:
        return []
    at = limits_of_mean(window, plate, shown.requirement.name)
    parameters = shown.requirement.parameters
    count, length = parameters.get("count", 1), parameters.get("length")
    every = f"every one of {count} " if count > 1 else ""
    if shown.name == "gap" and length is not None:
        every = f"every one of {count}, {length:g} mm long, "
    words = (("least", shown.requirement.least), ("most", shown.requirement.most))
    unit = units.of(shown.unit)
    return [
        (unit.of(at[side]), f"{every}at {side} {unit.limit(limit)}")
        for side, limit in words
        if limit is not None and side in at
    ]


def _draw_level(figure: go.Figure, level: float, words: str, palette: Palette) -> None:
    """The level that is asked for; its words stand outside, where no curve runs."""
    figure.add_hline(y=level, line={"color": palette.mark, "width": 2}, layer="below")
    figure.add_annotation(
        x=1.0, xref="paper", xanchor="left", xshift=6, y=level, yanchor="middle", align="left",
        text=f"<b>{words}</b>", showarrow=False, font={"size": 13, "color": palette.mark},
    )  # fmt: skip


def _draw_limit(
    figure: go.Figure, limit: tuple[float, str], curves: np.ndarray, taken: list[Box], palette: Palette
) -> None:
    """A limit, and its words above or below the line where they cover the least of the curves."""
    at, words = limit
    figure.add_hline(y=at, line={"color": palette.mark, "width": 2})
    low, high = figure.layout.yaxis.range
    wide, tall = LETTER * 1.1 * len(words) / _PLOT[0], LINE / _PLOT[1]
    here = (at - low) / (high - low)
    places = [
        ((left, left + wide, here, here + tall) if above else (left, left + wide, here - tall, here), above)
        for above in (True, False)
        for left in np.linspace(0.004, max(0.996 - wide, 0.004), 7)
    ]
    inside = [place for place in places if place[0][2] >= 0 and place[0][3] <= 1] or places
    box, above = min(inside, key=lambda place: covered(place[0], curves) + 1000 * overlap(place[0], taken))
    taken.append(box)
    figure.add_annotation(
        x=box[0], xref="paper", xanchor="left", y=at, yanchor="bottom" if above else "top",
        text=f"<b>{words}</b>", showarrow=False, font={"size": 13, "color": palette.mark},
        bgcolor=palette.veil, borderpad=1,
    )  # fmt: skip


def _curves(by_roll: dict, shown: Shown | None, y_range: tuple[float, float]) -> dict[str, np.ndarray]:
    """Points of each roll's curve as shares of the plot, closely spaced, shape (m, 2)."""
    low, high = _speeds(by_roll)
    found = {}
    for roll, members in by_roll.items():
        x = (members["speed_m_min"].to_numpy() - low) / (high - low or 1.0)
        y = (_mean(members, shown).to_numpy(float) - y_range[0]) / (y_range[1] - y_range[0])
        at = np.linspace(0, len(x) - 1, 8 * len(x))
        found[roll] = np.column_stack([np.interp(at, range(len(x)), part) for part in (x, y)])
    return found


def _speeds(by_roll: dict) -> tuple[float, float]:
    speeds = [speed for members in by_roll.values() for speed in members["speed_m_min"].iloc[[0, -1]]]
    return min(speeds, default=0.0), max(speeds, default=1.0)


def _together(curves: Iterable[np.ndarray]) -> np.ndarray:
    return np.vstack([np.empty((0, 2)), *curves])


def _range(table: pd.DataFrame, shown: Shown | None, limits: Sequence[float]) -> tuple[float, float]:
    if shown is None:
        return _SHARES
    ends = table[[f"{shown.key}_obs_ci_low", f"{shown.key}_obs_ci_high"]].to_numpy(float).ravel()
    values = np.concatenate([ends[np.isfinite(ends)], limits])
    if not len(values):
        return 0.0, 1.0
    low, high = float(values.min()), float(values.max())
    room = 0.05 * (high - low) or 0.05 * abs(high) or 1.0
    return low - room, high + room


def _label_ends(
    figure: go.Figure,
    by_roll: dict,
    shown: Shown,
    looks: dict[str, RollLook],
    y_range: tuple[float, float],
    palette: Palette,
) -> None:
    """Name each roll where its line ends, moved apart where lines end together."""
    ends = {roll: float(_mean(members, shown).iloc[-1]) for roll, members in by_roll.items()}
    ends = {roll: end for roll, end in ends.items() if np.isfinite(end)}
    room = _ROOM * (1.7 if any(looks[roll].hollow for roll in ends) else 1.0)
    places = moved_apart(list(ends.values()), room * (y_range[1] - y_range[0]), y_range)
    for (roll, end), place in zip(ends.items(), places):
        at = float(by_roll[roll]["speed_m_min"].iloc[-1])
        _label(
            figure,
            (at, end),
            looks[roll],
            {
                "ax": 26,
                "ay": place,
                "ayref": "y",
                "xanchor": "left",
                "align": "left",
                "text": "<br>".join(_end_words(looks[roll])),
            },
            palette,
        )


def _label_curves(
    figure: go.Figure, by_roll: dict, looks: dict[str, RollLook], level: float, palette: Palette
) -> None:
    """Name each roll beside its curve: where its label covers no other label and the least of the curves."""
    seen = {roll: members for roll, members in by_roll.items() if members[CONFORMANCE].max() >= _NOTHING}
    low, high = _speeds(by_roll)
    curves = {roll: points for roll, points in _curves(by_roll, None, _SHARES).items() if roll in seen}
    across = np.linspace(0.0, 1.0, 400)
    line = np.column_stack([across, np.full_like(across, (level - _SHARES[0]) / (_SHARES[1] - _SHARES[0]))])
    labels = Labels(_together([line, *curves.values()]), _PLOT, [(22, 14)])
    for roll, own in curves.items():
        spots = own[own[:, 1] > 0.05][::8] if (own[:, 1] > 0.05).any() else own[::8]
        others = _together([line, *(points for other, points in curves.items() if other != roll)])
        apart = np.array([np.hypot(*(others - spot).T).min() for spot in spots])
        unclear = 40 * (1 - apart / _APART).clip(min=0.0) + 2 * np.abs(spots[:, 1] - 0.5)
        at, text_at = labels.place(spots, unclear, len(looks[roll].words))
        x = low + spots[at, 0] * (high - low)
        y = _SHARES[0] + spots[at, 1] * (_SHARES[1] - _SHARES[0])
        _label(figure, (float(x), float(y)), looks[roll], text_at, palette)


def _end_words(look: RollLook) -> list[str]:
    """The words of a roll in lines, as the place beside a plot is narrow; escaped."""
    return as_text(look.words).replace(" (", "\n(").split("\n") if look.hollow else [as_text(look.words)]


def _label(
    figure: go.Figure, place: tuple[float, float], look: RollLook, text_at: dict, palette: Palette
) -> None:
    figure.add_annotation(
        {"text": as_text(look.words)} | text_at, x=place[0], y=place[1], showarrow=True, arrowhead=0, arrowwidth=1,
        arrowcolor=look.colour, font={"size": 13, "color": palette.ink}, bgcolor=palette.veil, borderpad=1,
    )  # fmt: skip


def _unlabelled(window: Window, shown: Shown | None, by_roll: dict) -> str:
    """The rolls that have no curve to label, in words."""
    looks = roll_looks(window.rolls)
    flat = [roll for roll, members in by_roll.items() if members[CONFORMANCE].max() < _NOTHING]
    away = [roll.id for roll in window.rolls if roll.id not in by_roll]
    named = (("below 1 % at every speed", flat if shown is None else []), ("not tried", away))
    return " · ".join(
        f"{what}: {as_text(', '.join(looks[roll].words for roll in rolls))}" for what, rolls in named if rolls
    )


def _lay_out(
    figure: go.Figure,
    window: Window,
    shown: Shown | None,
    place: tuple[str, str],
    by_roll: dict,
    y_range: tuple[float, float],
    palette: Palette,
    marks: Sequence[str],
) -> None:
    plate, pressure = place
    what = MEETS_ALL if shown is None else f"{shown.label}, {shown.unit}"
    where = pressure + (f" · plate {as_text(plate)}" if plate else "")
    lines = (
        " · ".join([where, f"fit {window.surfaces.fingerprint}", *marks[:1]]),
        " · ".join(
            [
                f"thick: assured at {window.product.assurance.words}",
                "thin: not assured",
                *([] if shown is None else ["bands: 95 % prediction intervals"]),
            ]
        ),
        " · ".join(marks[1:]),
        _unlabelled(window, shown, by_roll),
    )
    text = title(f"{window.product.name}: {what}", *lines)
    axis = {"gridcolor": palette.faint, "zeroline": False, "showline": True, "linecolor": palette.quiet}
    figure.update_layout(
        palette.look,
        font={"family": FONT, "size": 14, "color": palette.ink},
        height=560,
        margin={"l": 80, "r": 100, "t": 34 + 21 * (1 + text.count("<br>")), "b": 60},
        hovermode="closest",
        title=placed_title(text),
        xaxis=axis,
        yaxis=axis
        | {
            "title": {"text": "probability" if shown is None else what, "standoff": 12},
            "range": list(y_range),
        }
        | (PERCENT_TICKS if shown is None else {}),
    )
