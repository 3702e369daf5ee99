"""Numbers, set-ups and lists as text, by one rule for pages, tables, documents, pictures and commands."""

from pwindow.wording.numbers import (
    SPEED_DECIMALS,
    amount,
    asked,
    limit_words,
    percent,
    points,
    pressure,
    signed,
    span,
    speed,
    to_width,
    volume,
    with_interval,
)
from pwindow.wording.setups import counted, listed, setup_words

__all__ = [
    "SPEED_DECIMALS",
    "amount",
    "asked",
    "counted",
    "limit_words",
    "listed",
    "percent",
    "points",
    "pressure",
    "setup_words",
    "signed",
    "span",
    "speed",
    "to_width",
    "volume",
    "with_interval",
]
