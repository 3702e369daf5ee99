"""Which terms a trial can carry, and what to print where it cannot carry those it must."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import product

import numpy as np
import pandas as pd

from pwindow.errors import SurfaceProblem
from pwindow.surfaces.model.responses import COVARIATES, FACTORS, STATE, ResponseData
from pwindow.surfaces.model.terms import (
    Design,
    Factor,
    Term,
    angles,
    droppable,
    label,
    parents,
    second_order,
)
from pwindow.surfaces.single.surface import Surface, fit_surface
from pwindow.trials.press_order import PROGRESS
from pwindow.wording import counted, term_words

_SPARE_PRINTS = 10
_SAME = 0.9  # share of equal means from which a response counts as constant
_TOLERANCE = 1e-7


def learn_factors(data: ResponseData, notes: list[str]) -> tuple[Factor, ...]:
    """Factors and covariates that the cells of a response vary."""
    scales = {**FACTORS, **{name: COVARIATES[name] for name in data.kind.covariates}}
    if STATE in data.cells:
        scales[STATE] = STATE
    if PROGRESS in data.cells:
        scales[PROGRESS] = "progress"
    factors = []
    for name, scale in scales.items():
        values = data.cells[name]
        tried = values.dropna()
        if len(set(angles(tried) if scale == "angle" else tried)) < 2:
            continue
        if scale == "progress":
            factors.append(Factor(name, scale, 0.0, 1.0))
            continue
        if values.isna().any():
            notes.append(
                f"{data.kind.label}: {term_words(name)} is missing for some prints, so it is not used"
            )
        elif scale == "log" and values.min() <= 0:
            raise SurfaceProblem(f"{name} must be above zero to be used on a logarithmic scale")
        else:
            factors.append(Factor.learn(name, scale, values))
    return tuple(factors)


def make_design(data: ResponseData, notes: list[str], left_out: Sequence[str] = ()) -> Design:
    """The second-order design of a response, with the covariate terms the trial can support.

    The trial must separate the second-order terms in speed, cell volume and pressure and the
    plate processes; the other terms of the covariates are used where it can separate them with
    prints to spare.

    Parameters
    ----------
    data : ResponseData
    notes : list of str
        Sentences about what is left out are added to it.
    left_out : sequence of str, optional
        Labels of terms that are not to be used, such as ``"pressure²"``; terms that need them go too.

    Raises
    ------
    SurfaceProblem
        Which terms cannot be separated, and prints that would separate them.
    """
    factors = learn_factors(data, notes)
    gone = {term for term in second_order(factors) if label(term) in left_out}
    wanted = [term for term in second_order(factors) if not gone & {term, *parents(term)}]
    along = [label(term) for term in second_order(factors) if term not in gone and gone & parents(term)]
    if along:
        notes.append(
            f"{data.kind.label}: left out with the terms they need: {', '.join(map(term_words, along))}"
        )
    main = {name for factor in factors if factor.name in FACTORS for name in factor.columns}
    plates = {name for factor in factors if factor.name in ("plate", STATE) for name in factor.columns}
    needed = [term for term in wanted if set(term) <= main or (len(term) == 1 and set(term) <= plates)]
    full = Design(factors, tuple(wanted))
    _check(full.keeping(needed), data, factors)
    optional = [term for term in wanted if term not in needed]
    kept = _carried(full, needed, optional, data)
    notes += _left_out_notes(data, optional, kept)
    return full.keeping(kept)


def refuse_without_spread(data: ResponseData, design: Design) -> None:
    """Refuse a response that hardly varies: without a spread of its own it has no probabilities.

    Raises
    ------
    SurfaceProblem
        If nearly all means are the same, or lie on the surface more closely than instruments measure.
    """
    cells = data.cells[data.cells["value"].notna()]
    if cells.empty:
        return
    matrix, values, resolved = design.matrix(cells), cells["value"].to_numpy(float), data.resolved
    rest = values - matrix @ np.linalg.lstsq(matrix, values, rcond=None)[0]
    same = int(np.isclose(values, np.median(values), rtol=0.0, atol=resolved).sum())
    spread = np.sqrt(rest @ rest / max(len(rest) - matrix.shape[1], 1) + data.feature_variance)
    if same >= _SAME * len(cells) and data.copied:
        what = f"{same} of {len(cells)} means are the same"
    elif spread < resolved:
        what = "all means lie on one surface more closely than any instrument measures"
    else:
        return
    raise SurfaceProblem(
        f"{data.kind.label}: {what}, so the variation between prints cannot be estimated; enter the values as measured, not copied or "
        "rounded, or leave the column out"
    )


def _left_out_notes(data: ResponseData, optional: list[Term], kept: list[Term]) -> list[str]:
    gone = [term for term in optional if term not in kept]
    unused = [term[0] for term in gone if len(term) == 1]
    rest = [label(term) for term in gone if not set(term) & set(unused)]
    notes = [
        f"{data.kind.label}: the effect of {term_words(name)} cannot be separated from the other settings; it is not used"
        for name in unused
    ]
    if rest:
        notes.append(
            f"{data.kind.label}: too few prints or settings to fit {', '.join(map(term_words, rest))}; left out"
        )
    return notes


def independent_terms(design: Design, matrix: np.ndarray) -> Design:
    """The terms in their order, each kept if it can be separated from those before and its parents are there."""
    kept: list[Term] = []
    basis = np.zeros((len(matrix), 0))
    for at, term in enumerate(design.terms):
        column = matrix[:, at]
        rest = column - basis @ (basis.T @ column)
        rest = rest - basis @ (basis.T @ rest)
        left, whole = float(np.linalg.norm(rest)), float(np.linalg.norm(column))
        if parents(term) <= set(kept) and left > _TOLERANCE * max(whole, 1e-300):
            kept.append(term)
            basis = np.column_stack([basis, rest / left])
    return design.keeping(kept)


def _carried(full: Design, needed: list[Term], optional: list[Term], data: ResponseData) -> list[Term]:
    kept = list(needed)
    prints = data.cells["print"].nunique()
    columns = dict(zip(full.terms, full.matrix(data.cells).T))
    for term in optional:
        if not parents(term) <= set(kept) or prints - len(kept) <= _SPARE_PRINTS:
            continue
        if _rank(np.array([columns[name] for name in (*kept, term)])) == len(kept) + 1:
            kept.append(term)
    return kept


def _rank(matrix: np.ndarray) -> int:
    return int(np.linalg.matrix_rank(matrix, tol=_TOLERANCE * np.linalg.norm(matrix, 2)))


def _check(design: Design, data: ResponseData, factors: Sequence[Factor]) -> None:
    matrix = design.matrix(data.cells)
    count, rank = len(design.terms), _rank(matrix)
    prints = data.cells["print"].nunique()
    if rank < count:
        raise SurfaceProblem(_confounded(design, data, matrix, factors))
    if prints <= count:
        raise SurfaceProblem(
            f"{data.kind.label}: {counted(prints, 'print is', 'prints are')} too few for a surface of {count} terms; "
            f"it needs at least {count + 1} prints, and {count + _SPARE_PRINTS} to be useful. "
            f"Repeat set-ups, preferably at the ends and the middle of the ranges, or leave out terms"
        )


def _confounded(design: Design, data: ResponseData, matrix: np.ndarray, factors: Sequence[Factor]) -> str:
    _, sizes, directions = np.linalg.svd(matrix, full_matrices=True)
    sizes = np.pad(sizes, (0, directions.shape[0] - len(sizes)))
    null = directions[sizes <= _TOLERANCE * sizes[0]]
    groups = [
        " and ".join(name for name, weight in zip(design.labels, row) if abs(weight) > 1e-3)
        for row in _sparse(null)
    ]
    cures = "; ".join(_curing_prints(design, matrix, factors, data.cells))
    spare = [name for name in design.labels if name not in independent_terms(design, matrix).labels]
    named = " and ".join(f"“{name}”" for name in spare)
    return (
        f"{data.kind.label}: the trial cannot separate the terms {'; nor '.join(dict.fromkeys(groups))}. "
        f"Add prints at: {cures}. Or leave out {named}"
    )


def _sparse(null: np.ndarray) -> np.ndarray:
    """Null directions by elimination, so that each names as few terms as it can."""
    rows = null.copy()
    for at in range(len(rows)):
        pivot = np.argmax(np.abs(rows[at]))
        rows[at] /= rows[at, pivot]
        for other in range(len(rows)):
            if other != at:
                rows[other] -= rows[other, pivot] * rows[at]
    return rows


def _curing_prints(
    design: Design, matrix: np.ndarray, factors: Sequence[Factor], cells: pd.DataFrame
) -> list[str]:
    """Set-ups that, added to the trial, let every term be separated; found greedily."""
    candidates = _candidates(factors)
    rows = design.matrix(candidates)
    chosen: list[int] = []
    missing = len(design.terms) - _rank(matrix)
    for _ in range(missing):
        values, vectors = np.linalg.eigh(matrix.T @ matrix)
        null = vectors[:, values <= (_TOLERANCE * np.sqrt(values[-1])) ** 2]
        best = int(np.argmax(((rows @ null) ** 2).sum(axis=1)))
        chosen.append(best)
        matrix = np.vstack([matrix, rows[best]])
    return [_setup_words(candidates.iloc[at], factors) for at in chosen]


def _candidates(factors: Sequence[Factor]) -> pd.DataFrame:
    levels = [
        factor.levels
        if factor.is_category
        else [factor.low, float(factor.decode(np.zeros(1))[0]), factor.high]
        for factor in factors
    ]
    return pd.DataFrame(list(product(*levels)), columns=[factor.name for factor in factors])


def _setup_words(setup: pd.Series, factors: Sequence[Factor]) -> str:
    return ", ".join(
        f"{factor.name} {setup[factor.name]:.3g}"
        if not factor.is_category
        else f"{factor.name} {setup[factor.name]}"
        for factor in factors
    )


def choose_terms(data: ResponseData, design: Design) -> Design:
    """Drop terms one by one while the corrected Akaike criterion falls, keeping heredity.

    The criterion is that of the whitened rows, n ln(RSS/n) + 2k + 2k(k + 1)/(n - k - 1) with
    k = p + 1 (Hurvich & Tsai 1989, Biometrika 76, 297-307).
    """
    whole = fit_surface(data, design)
    columns = list(design.terms)
    best = _aicc(whole, columns, design)
    while True:
        trials = [[term for term in columns if term != gone] for gone in droppable(columns)]
        scores = [_aicc(whole, trial, design) for trial in trials]
        if not scores or min(scores) >= best:
            return design.keeping(columns)
        best, columns = min(scores), trials[int(np.argmin(scores))]


def _aicc(whole: Surface, terms: Sequence[Term], design: Design) -> float:
    use = [design.terms.index(term) for term in terms]
    x, y = whole.white_design[:, use], whole.white_values
    rest = y - x @ np.linalg.lstsq(x, y, rcond=None)[0]
    n, k = len(y), len(use) + 1
    penalty = 2.0 * k + (2.0 * k * (k + 1) / (n - k - 1) if n > k + 1 else np.inf)
    return n * np.log(max(float(rest @ rest), 1e-300) / n) + penalty
