"""Factors, their coding, and the terms of a second-order surface."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from pwindow.trials.directions import angles

Term = tuple[str, ...]
"""Coded columns multiplied together: () is the intercept, ("speed", "speed") a square."""

Scale = Literal["log", "linear", "category", "angle", "state", "progress"]
"""How a factor is coded."""


@dataclass(frozen=True)
class Factor:
    """How a setting is coded, learned from the trial and used for every later set-up.

    A number is coded to [-1, 1] over its tried range, after taking the logarithm where `scale` is
    'log'. A category is coded by sum-to-zero contrasts: one column per level but the first. A state of
    the process, which changes for good, is coded by what each earlier one differs by from the last: a
    set-up that names none is of the last. Progress through a trial runs from -1 to 1; a set-up that tells none is at its
    end.

    Attributes
    ----------
    name : str
        Column of the set-up.
    scale : {'log', 'linear', 'category', 'angle', 'state', 'progress'}
        An angle is a category, of directions as `angles` gives them.
    low, high : float
        Tried range in the column's unit (numbers).
    levels : tuple of str
        Tried levels (categories), or states in their order.
    """

    name: str
    scale: Scale
    low: float = 0.0
    high: float = 0.0
    levels: tuple[str, ...] = ()

    @classmethod
    def learn(cls, name: str, scale: Scale, values: pd.Series) -> Factor:
        """Learn range or levels from tried values.

        Parameters
        ----------
        name : str
            Column of the set-up.
        scale : {'log', 'linear', 'category', 'angle', 'state', 'progress'}
        values : Series
            In the column's unit; states in their order.
        """
        if scale == "category":
            return cls(name, "category", levels=tuple(sorted(values.unique())))
        if scale == "angle":
            return cls(name, "angle", levels=tuple(sorted(set(angles(values)), key=float)))
        if scale == "state":
            return cls(name, "state", levels=tuple(values.unique()))
        return cls(name, scale, float(values.min()), float(values.max()))

    @property
    def is_number(self) -> bool:
        return self.scale in ("log", "linear")

    @property
    def is_category(self) -> bool:
        return self.scale in ("category", "angle")

    @property
    def of_process(self) -> bool:
        """Whether it is no setting, but what has become of the process."""
        return self.scale in ("state", "progress")

    @property
    def columns(self) -> tuple[str, ...]:
        """Names of the coded columns."""
        if self.is_category:
            return tuple(f"{self.name}={level}" for level in self.levels[1:])
        if self.scale == "state":
            return tuple(f"{self.name}={level}" for level in self.levels[:-1])
        return (self.name,)

    def code(self, values: ArrayLike | Sequence[None]) -> np.ndarray:
        """Coded columns, shape (n, len(columns))."""
        if self.is_category:
            values = np.asarray(values, dtype=object)
            values = angles(values.astype(float)) if self.scale == "angle" else values
            first = values == self.levels[0]
            return np.column_stack([(values == level) * 1.0 - first for level in self.levels[1:]])
        if self.scale == "state":
            values = np.asarray(values, dtype=object)
            return np.column_stack([(values == level) * 1.0 for level in self.levels[:-1]])
        low, high, values = self._ends(np.asarray(values, dtype=float))
        return ((values - (low + high) / 2) / ((high - low) / 2))[:, None]

    def columns_of(self, setups: pd.DataFrame) -> dict[str, np.ndarray]:
        """Coded columns of set-ups by name; a state or a progress that they do not tell is the last one."""
        if not self.of_process or self.name in setups:
            coded = self.code(setups[self.name].to_numpy())
        else:
            last = [None] * len(setups) if self.scale == "state" else np.full(len(setups), self.high)
            coded = self.code(last)
        return {name: coded[:, at] for at, name in enumerate(self.columns)}

    def decode(self, coded: np.ndarray) -> np.ndarray:
        """Natural values of coded numbers."""
        low, high, _ = self._ends(np.zeros(0))
        values = (low + high) / 2 + np.asarray(coded) * (high - low) / 2
        return np.exp(values) if self.scale == "log" else values

    def _ends(self, values: np.ndarray) -> tuple[float, float, np.ndarray]:
        if self.scale == "log":
            return np.log(self.low), np.log(self.high), np.log(values)
        return self.low, self.high, values


@dataclass(frozen=True)
class Design:
    """A model matrix maker: factors as coded in the trial, and terms.

    Attributes
    ----------
    factors : tuple of Factor
    terms : tuple of Term
    """

    factors: tuple[Factor, ...]
    terms: tuple[Term, ...]

    def coded(self, setups: pd.DataFrame) -> dict[str, np.ndarray]:
        """Coded columns by name."""
        columns: dict[str, np.ndarray] = {}
        for factor in self.factors:
            columns |= factor.columns_of(setups)
        return columns

    def matrix(self, setups: pd.DataFrame) -> np.ndarray:
        """Model matrix, shape (len(setups), len(terms))."""
        return self.matrix_of(self.coded(setups), len(setups))

    def matrix_of(self, coded: Mapping[str, np.ndarray], count: int) -> np.ndarray:
        """Model matrix of coded columns."""
        columns = np.ones((len(self.terms), count))
        for column, term in zip(columns, self.terms):
            for name in term:
                column *= coded[name]
        return np.ascontiguousarray(columns.T)  # of one row the same, whatever rows stand beside it

    @property
    def labels(self) -> list[str]:
        """Terms in words."""
        return [label(term) for term in self.terms]

    @property
    def needs(self) -> list[str]:
        """What a set-up must tell."""
        return [factor.name for factor in self.factors if not factor.of_process]

    @property
    def apart(self) -> list[str]:
        """What tells prints apart that are not repeats of one another."""
        return [factor.name for factor in self.factors if factor.scale != "progress"]

    def keeping(self, terms: Sequence[Term]) -> Design:
        """The design with only some terms."""
        return Design(self.factors, tuple(term for term in self.terms if term in set(terms)))


def model_matrices(designs: Sequence[Design], setups: pd.DataFrame) -> list[np.ndarray]:
    """The model matrix of each design at set-ups; a factor that several use is coded once.

    Parameters
    ----------
    designs : sequence of Design
    setups : DataFrame
        With a column for each factor of any design.

    Returns
    -------
    list of ndarray, shape (len(setups), p)
    """
    coded = {factor: factor.columns_of(setups) for factor in {f for d in designs for f in d.factors}}
    columns = [{k: v for factor in design.factors for k, v in coded[factor].items()} for design in designs]
    return [design.matrix_of(own, len(setups)) for design, own in zip(designs, columns)]


def label(term: Term) -> str:
    """A term in words.

    Examples
    --------
    >>> label(()), label(("speed", "speed")), label(("speed", "pressure"))
    ('intercept', 'speed²', 'speed × pressure')
    """
    if not term:
        return "intercept"
    if len(term) == 2 and term[0] == term[1]:
        return f"{term[0]}²"
    return " × ".join(term)


def second_order(factors: Sequence[Factor]) -> tuple[Term, ...]:
    """All second-order terms of factors: intercept, linear, squares of numbers, products.

    Examples
    --------
    >>> speed, roll = Factor("speed", "log", 30, 120), Factor("cell_volume", "log", 2, 7)
    >>> [label(term) for term in second_order([speed, roll])]
    ['intercept', 'speed', 'cell_volume', 'speed²', 'cell_volume²', 'speed × cell_volume']
    """
    linear = [(name,) for factor in factors for name in factor.columns]
    squares = [(factor.name, factor.name) for factor in factors if factor.is_number]
    products = [
        (one, other)
        for first, second in combinations([factor for factor in factors if not factor.of_process], 2)
        for one in first.columns
        for other in second.columns
    ]
    return ((), *linear, *squares, *products)


def parents(term: Term) -> set[Term]:
    """Terms that heredity asks for beside `term`."""
    return {()} if len(term) == 1 else {(name,) for name in term} if term else set()


def droppable(terms: Sequence[Term]) -> list[Term]:
    """Terms that can go without breaking heredity."""
    needed = set().union(*(parents(term) for term in terms)) if terms else set()
    return [term for term in terms if term and term not in needed]
