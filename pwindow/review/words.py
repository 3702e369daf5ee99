"""Numbers as people read them."""

from __future__ import annotations

from pwindow.product import Requirement


def asked(level: float) -> str:
    """A level that was asked for, as it was asked.

    Examples
    --------
    >>> asked(0.95), asked(0.9999)
    ('95 %', '99.99 %')
    """
    return f"{100 * level:.10g} %"


def in_hundred(value: float) -> str:
    """A probability as a count of runs, cut and not rounded, so that it never promises too much.

    Examples
    --------
    >>> in_hundred(0.9599), in_hundred(0.9999), in_hundred(0.004)
    ('95 of 100', '99 of 100', 'fewer than 1 of 100')
    """
    count = int(100 * value + 1e-9)
    return f"{min(count, 99)} of 100" if count else "fewer than 1 of 100"


def listed(parts: list[str]) -> str:
    """Words in a row.

    Examples
    --------
    >>> listed(["a", "b", "c"])
    'a, b and c'
    """
    return " and ".join(filter(None, [", ".join(parts[:-1]), *parts[-1:]]))


def requirement_words(requirement: Requirement) -> str:
    """A requirement with what it is asked of.

    Examples
    --------
    >>> requirement_words(Requirement("gap", least=16.0, parameters={"count": 48}))
    'gap at least 16 µm, every one of 48'
    >>> requirement_words(Requirement("line_resistance", most=330.0, parameters={"length": 80.0}))
    'line resistance at most 330 Ω, over 80 mm'
    """
    told = requirement.parameters
    words = requirement.wording()
    if requirement.name in ("line_resistance", "gap") and "length" in told:
        words += f", over {told['length']:g} mm"
    return words + (f", every one of {told['count']:g}" if told.get("count", 1) > 1 else "")
