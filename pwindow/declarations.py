"""Files in which users declare something: TOML that is read key by key, each quantity with its unit."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, overload

from pwindow.errors import DeclarationProblem, UnitProblem, first_few, shown
from pwindow.inputs import InputFile
from pwindow.units import read_quantity

_MOST_BYTES, _MOST_IN_LINE = 100_000, 1_000
"""A study with a thousand rolls has 50,000 bytes; the time to read keys with many dots grows with their square."""


class Table:
    """A TOML table that is read key by key; what is left over is a misspelt key."""

    def __init__(self, content: Mapping[str, Any], where: str):
        self._content, self.where = dict(content), where

    def take(self, key: str, default: object = None) -> Any:
        return self._content.pop(key, default)

    def need(self, key: str, example: str) -> object:
        if key not in self._content:
            raise DeclarationProblem(f"{self.where}: “{key}” is missing; add {key} = {example}")
        return self._content.pop(key)

    @overload
    def quantity(
        self,
        key: str,
        unit: str,
        default: float,
        *,
        above: float | None = None,
        least: float | None = None,
        below: float | None = None,
    ) -> float: ...

    @overload
    def quantity(
        self,
        key: str,
        unit: str,
        default: None = None,
        *,
        above: float | None = None,
        least: float | None = None,
        below: float | None = None,
    ) -> float | None: ...

    def quantity(
        self,
        key: str,
        unit: str,
        default: float | None = None,
        *,
        above: float | None = None,
        least: float | None = None,
        below: float | None = None,
    ) -> float | None:
        """Take a text like ``"45 µm"`` as a number in `unit`, inside its bounds.

        Parameters
        ----------
        key : str
        unit : str
            Unit of the number returned and of the bounds; "1" for a share.
        default : float, optional
            In `unit`; returned where the key is missing.
        above, least, below : float, optional
            Bounds in `unit`: the number must be above, at least, below.

        Raises
        ------
        DeclarationProblem
            If the text is no quantity of that dimension, or out of bounds.
        """
        if key not in self._content:
            return default
        text = self._content.pop(key)
        try:
            value = read_quantity(text, unit)
        except UnitProblem as problem:
            raise DeclarationProblem(f"{self.where}, {key}: {problem}") from problem
        for words, bound, holds in (
            ("above", above, above is None or value > above),
            ("at least", least, least is None or value >= least),
            ("below", below, below is None or value < below),
        ):
            if not holds:
                raise DeclarationProblem(
                    f"{self.where}, {key}: “{shown(text)}” must be {words} {f'{bound:g}' if bound else 'zero'}"
                )
        return value

    def table(self, key: str) -> Table:
        content = self.take(key, {})
        if not isinstance(content, dict):
            raise DeclarationProblem(f"{self.where}: “{key}” must be a table, written [{key}]")
        key = shown(key)
        where = f"{self.where[:-1]}.{key}]" if self.where.endswith("]") else f"{self.where} [{key}]"
        return Table(content, where)

    def __iter__(self) -> Iterator[str]:
        return iter(list(self._content))

    def close(self, known: str) -> None:
        """Refuse keys that nobody took: a misspelt limit must not be a missing limit."""
        if self._content:
            names = first_few(list(self._content))
            verb = "is" if len(self._content) == 1 else "are"
            raise DeclarationProblem(f"{self.where}: {names} {verb} not recognised here; choose from {known}")


def read_toml(source: str | Path | InputFile, most_bytes: int = _MOST_BYTES) -> Table:
    """Open a TOML file as a `Table`.

    Parameters
    ----------
    source : str, Path or InputFile
    most_bytes : int
        That it may have.

    Raises
    ------
    UnusableInput
        If the file cannot be read, or not as TOML; the message says where.
    """
    file = InputFile.of(source)
    _check_size(file, most_bytes)
    try:
        content = tomllib.loads(file.content.decode("utf-8-sig"))
    except RecursionError as problem:
        raise DeclarationProblem(
            f"{file.name}: brackets are nested too deeply; write plain tables"
        ) from problem
    except ValueError as problem:  # of the syntax, of the encoding, or of a number with thousands of digits
        raise DeclarationProblem(f"{file.name}: not a TOML file in UTF-8: {str(problem)[:200]}") from problem
    _check_integers(content, file.name)
    return Table(content, file.name)


def _check_size(file: InputFile, most_bytes: int) -> None:
    longest = max(map(len, file.content.splitlines()), default=0)
    for size, most, what in (
        (len(file.content), most_bytes, "bytes"),
        (longest, _MOST_IN_LINE, "bytes in one line"),
    ):
        if size > most:
            raise DeclarationProblem(
                f"{file.name}: {size} {what}, more than {most}: a product or a study is a page of text; "
                "remove everything else"
            )


def _check_integers(value: object, where: str) -> None:
    """TOML's integers end at 64 bits (TOML 1.0); longer ones can be read but not always be told."""
    if isinstance(value, dict):
        for key, item in value.items():
            _check_integers(item, f"{where}, {shown(key)}")
    elif isinstance(value, list):
        for item in value:
            _check_integers(item, where)
    elif isinstance(value, int) and not -(2**63) <= value < 2**63:
        digits = int(abs(value).bit_length() * math.log10(2)) + 1
        raise DeclarationProblem(f"{where}: an integer of about {digits} digits; TOML has them up to 9.2e18")
