"""Numbers as text: digits follow what is known of a quantity, and a probability is never certain."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

SPEED_DECIMALS = 1
"""Of speeds in m/min, which speed bands are searched to."""
_MOST_DECIMALS = 12
_STATED_DIGITS, _NOISE = 8, 1e-12
_DIGIT, _POINT = "\u2007", "\u2008"  # spaces as wide as a digit and as a point


def percent(value: float, level: float = 0.95) -> str:
    """A probability in words that never round up to certainty.

    Parameters
    ----------
    value : float
    level : float
        The probability asked for: digits are as many as it takes to show what is near it.

    Examples
    --------
    >>> percent(0.9504), percent(0.99999), percent(0.00001)
    ('95.0 %', 'over 99.9 %', 'under 0.1 %')
    >>> percent(0.99987, level=0.9999), percent(0.9999995, level=0.9999)
    ('99.987 %', 'over 99.999 %')
    """
    decimals = _decimals(level)
    most = 1.0 - 10.0 ** -(decimals + 2)
    if value > most:
        return f"over {100 * most:.{decimals}f} %"
    return "under 0.1 %" if value < 0.001 else f"{100 * value:.{decimals}f} %"


def _decimals(level: float) -> int:
    return max(1, math.ceil(-math.log10(1.0 - level) - 1e-9) - 1)


def asked(level: float) -> str:
    """A level that was asked for, as it was asked.

    Examples
    --------
    >>> asked(0.95), asked(0.9999)
    ('95 %', '99.99 %')
    """
    return f"{100 * level:.10g} %"


def at_least(value: float, level: float = 0.95) -> str:
    """A lower bound of a probability, cut and not rounded, so that it never promises too much.

    Parameters
    ----------
    value : float
    level : float
        The probability asked for, as in `percent`.

    Examples
    --------
    >>> at_least(0.82998), at_least(0.83), at_least(0.99995), at_least(0.0004)
    ('82.9 %', '83.0 %', '99.9 %', '0 %')
    """
    if value < 0.001:
        return "0 %"
    steps = 10 ** (_decimals(level) + 2)
    return percent(min(math.floor(value * steps + 1e-9), steps - 1) / steps, level)


def bound(interval: Mapping[str, float] | None) -> str:
    """The lower bound of a probability, to stand behind it; "" where none was kept.

    Parameters
    ----------
    interval : mapping or None
        With ``at_least`` and its ``confidence``, both between 0 and 1.

    Examples
    --------
    >>> bound({"at_least": 0.8298, "confidence": 0.95}), bound(None)
    (', with 95 % confidence at least 82.9 %', '')
    """
    if interval is None:
        return ""
    return f", with {asked(interval['confidence'])} confidence at least {at_least(interval['at_least'])}"


def points(gain: float) -> str:
    """A difference of probabilities in percentage points, without its unit.

    Examples
    --------
    >>> points(-1.26), points(0.04), points(12.0)
    ('−1.3', '±0.0', '+12.0')
    """
    return "±0.0" if abs(gain) < 0.05 else signed(gain, 1)


def signed(value: float, decimals: int) -> str:
    """A difference with its sign.

    Examples
    --------
    >>> signed(-0.25, 1), signed(2.0, 1)
    ('−0.2', '+2.0')
    """
    return _minus(f"{value:+.{decimals}f}")


def amount(value: float, digits: int = 3) -> str:
    """A number with so many digits, or all digits before the point: for what has no interval beside it.

    Examples
    --------
    >>> amount(0.067123), amount(98.81), amount(1234.5), amount(-0.5), amount(7.0)
    ('0.0671', '98.8', '1234', '−0.5', '7')
    """
    return _minus(f"{value:.0f}" if abs(value) >= 10.0**digits else f"{value:.{digits}g}")


def stated(value: float) -> str:
    """A number as somebody stated it, up to eight digits; three where it takes more, as most do once they are converted.

    Examples
    --------
    >>> stated(85.125), stated(50 / 25.4), stated(12500.0), stated(100 / 3), stated(1e9)
    ('85.125', '1.97', '12500', '33.3', '1000000000')
    """
    text = f"{value:.0f}" if abs(value) >= 10.0**_STATED_DIGITS else f"{value:.{_STATED_DIGITS}g}"
    return _minus(text) if math.isclose(float(text), value, rel_tol=_NOISE) else amount(value)


def speed(value: float) -> str:
    """A press speed in m/min, to the step that speed bands are searched with.

    Examples
    --------
    >>> speed(98.81), speed(78.0)
    ('98.8', '78')
    """
    return _minus(f"{round(value, SPEED_DECIMALS):.10g}")


def speed_change(gain: float) -> str:
    """What one press speed has more than another, m/min, without its unit.

    Examples
    --------
    >>> speed_change(-11.6), speed_change(0.04), speed_change(2.0)
    ('−11.6', '±0.0', '+2.0')
    """
    return f"±{0:.{SPEED_DECIMALS}f}" if round(gain, SPEED_DECIMALS) == 0 else signed(gain, SPEED_DECIMALS)


def volume(value: float) -> str:
    """A cell volume in cm³/m².

    Examples
    --------
    >>> volume(4.4), volume(4.9601)
    ('4.4', '4.96')
    """
    return amount(value)


def pressure(value: float) -> str:
    """A pressure in any of its units.

    Examples
    --------
    >>> pressure(50.0), pressure(100 / 3), pressure(12500.0)
    ('50', '33.3', '12500')
    """
    return stated(value)


def to_width(value: float, width: float) -> str:
    """A value with the decimals that an interval of this width leaves it; of no width it has three digits.

    Examples
    --------
    >>> to_width(0.7682, 0.14), to_width(0.7682, math.nan)
    ('0.77', '0.768')
    """
    if not (math.isfinite(width) and width > 0):
        return amount(value)
    return _to_decimals(value, decimals_of(width), "")


def decimals_of(width: float) -> int:
    """Decimals that an interval of this width leaves a number: two digits of the width.

    Examples
    --------
    >>> decimals_of(0.14), decimals_of(7.5), decimals_of(264.0)
    (2, 1, 0)
    """
    if not (math.isfinite(width) and width > 0):
        return 3
    return min(max(0, 1 - math.floor(math.log10(width))), _MOST_DECIMALS)


def with_interval(value: float, low: float, high: float, sign: str = "") -> tuple[str, str, str]:
    """A value and the ends of its interval with the same decimals, which the interval's width leaves.

    Parameters
    ----------
    value, low, high : float
    sign : {'', '+'}
        Whether a plus stands before what is above zero, as it does before a difference.

    Examples
    --------
    >>> with_interval(0.6788, 0.6181, 0.7459)
    ('0.68', '0.62', '0.75')
    >>> with_interval(-3.21, -5.24, -1.19, "+")
    ('−3.2', '−5.2', '−1.2')
    >>> with_interval(264.3, 190.2, 367.1)
    ('264', '190', '367')
    """
    decimals = decimals_of(high - low)
    return (
        _to_decimals(value, decimals, sign),
        _to_decimals(low, decimals, sign),
        _to_decimals(high, decimals, sign),
    )


def span(low: float, high: float) -> tuple[str, str]:
    """The ends of an interval that is given without a value, by the same rule.

    Examples
    --------
    >>> span(0.6181, 0.7459)
    ('0.62', '0.75')
    """
    decimals = decimals_of(high - low)
    return _to_decimals(low, decimals, ""), _to_decimals(high, decimals, "")


def _to_decimals(value: float, decimals: int, sign: str) -> str:
    rounded = round(value, decimals) or 0.0  # no −0.0
    return _minus(f"{rounded:{sign if rounded else ''}.{decimals}f}")


def _minus(text: str) -> str:
    return text.replace("-", "−")


def aligned(texts: Sequence[str]) -> list[str]:
    """Numbers of a column with their decimal points above one another: padded with spaces as wide as digits and points.

    Examples
    --------
    >>> [text.replace("\u2007", "_").replace("\u2008", ".") for text in aligned(["98.8", "102", "7.25"])]
    ['_98.8_', '102.__', '__7.25']
    """
    parts = [text.partition(".") for text in texts]
    before = max((len(whole) for whole, _, _ in parts), default=0)
    after = max((len(rest) for _, _, rest in parts), default=0)
    return [
        _DIGIT * (before - len(whole))
        + whole
        + (point or _POINT * bool(after))
        + rest
        + _DIGIT * (after - len(rest))
        for whole, point, rest in parts
    ]


def limit_words(low: float, high: float, unit: str) -> str:
    """Limits as people say them; infinite where there is none.

    Parameters
    ----------
    low, high : float
        In `unit`; −∞ and ∞ where there is no such limit.
    unit : str

    Examples
    --------
    >>> limit_words(16.0, 42.0, "µm"), limit_words(-math.inf, 67.77, "µm"), limit_words(-math.inf, math.inf, "µm")
    ('16 to 42 µm', 'at most 67.8 µm', '–')
    """
    if math.isinf(low) and math.isinf(high):
        return "–"
    if math.isinf(low):
        return f"at most {amount(high)} {unit}"
    return f"at least {amount(low)} {unit}" if math.isinf(high) else f"{amount(low)} to {amount(high)} {unit}"
