"""Terms of surfaces as text."""

from __future__ import annotations

_TIMES = " × "
_EARLIER = {"state": "earlier process"}


def term_words(name: str) -> str:
    """A term as it is read; names from a file stand in brackets.

    Parameters
    ----------
    name : str
        As `coefficients` has it: what a category is compared at stands behind “=”.

    Examples
    --------
    >>> term_words("speed × plate=laser-imaged"), term_words("state=trial_1.csv"), term_words("cell_volume²")
    ('speed × plate (laser-imaged)', 'earlier process (trial_1.csv)', 'cell volume²')
    """
    return _TIMES.join(_part(part) for part in name.split(_TIMES))


def _part(name: str) -> str:
    what, equals, level = name.partition("=")
    words = _EARLIER.get(what, what).replace("_", " ")
    return f"{words} ({level})" if equals else words
