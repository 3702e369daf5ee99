"""How well a surface holds: lack of fit, prediction of left-out prints, leverage, residuals."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import linalg
from scipy.special import fdtrc, stdtr
from threadpoolctl import threadpool_limits

from pwindow.surfaces.checks.shape import Shape
from pwindow.surfaces.single.surface import Surface
from pwindow.trials.press_order import PROGRESS

NORMALITY, EVEN_SPREAD = "normality (Shapiro-Francia)", "even spread (Breusch-Pagan)"
RARE = 0.01
"""A check raises a warning below this probability."""


@dataclass(frozen=True, kw_only=True)
class LackOfFit:
    """Test of the surface against pure error, the spread of prints at one set-up.

    Attributes
    ----------
    ss, df, ss_pure, df_pure : float
        Sums of squares and degrees of freedom of lack of fit and of pure error.
    f, p : float
    """

    ss: float
    df: int
    ss_pure: float
    df_pure: int
    f: float
    p: float


@dataclass(frozen=True, kw_only=True)
class Diagnostics:
    """Checks of one surface; sums of squares are of the whitened rows.

    Attributes
    ----------
    r2, adjusted_r2 : float
    press : float
        Sum of squared prediction errors of left-out cells, on the modelled scale.
    predicted_r2 : float
        1 - PRESS over the sum of squares about the mean.
    left_out : str
        What was left out at a time: 'make-ready' or 'print'.
    ss_model, df_model, ss_residual, df_residual, f, p : float
        Analysis of variance.
    lack_of_fit : LackOfFit or None
        None where no set-up was repeated, or nothing is left to test.
    prints : DataFrame
        Per print: leverage, studentised residual (externally), Cook's distance, and the probability
        ``p`` that the largest of all residuals is as large (Bonferroni); the worst of its cells.
    """

    r2: float
    adjusted_r2: float
    press: float
    predicted_r2: float
    left_out: str
    ss_model: float
    df_model: int
    ss_residual: float
    df_residual: int
    f: float
    p: float
    lack_of_fit: LackOfFit | None
    prints: pd.DataFrame


def diagnose(surface: Surface) -> Diagnostics:
    """Check a surface."""
    with threadpool_limits(1, user_api="blas"):  # as in `fit`
        return _diagnose(surface)


def _diagnose(surface: Surface) -> Diagnostics:
    ssr, df = surface.solution.ssr, surface.solution.df
    about_mean = _residual_ss(surface.white_design[:, :1], surface.white_values)
    terms = surface.white_design.shape[1] - 1
    r2 = 1.0 - ssr / about_mean
    f = ((about_mean - ssr) / max(terms, 1)) / (ssr / df) if ssr > 0 else np.inf
    press, left_out = press_statistic(surface)
    values = surface.cells["value"]
    total = float(((values - values.mean()) ** 2).sum())
    return Diagnostics(
        r2=r2,
        adjusted_r2=1.0 - (1.0 - r2) * (df + terms) / df,
        press=press,
        predicted_r2=1.0 - press / total,
        left_out=left_out,
        ss_model=about_mean - ssr,
        df_model=terms,
        ss_residual=ssr,
        df_residual=df,
        f=f,
        p=float(fdtrc(terms, df, f)),
        lack_of_fit=lack_of_fit(surface),
        prints=_prints(surface),
    )


def _residual_ss(design: np.ndarray, values: np.ndarray) -> float:
    q, _ = np.linalg.qr(design)
    rest = values - q @ (q.T @ values)
    return float(rest @ rest)


def lack_of_fit(surface: Surface) -> LackOfFit | None:
    """Lack of fit against pure error between prints of one set-up."""
    setup = surface.cells.groupby(surface.design.apart, sort=False, dropna=False).ngroup().to_numpy()
    groups = int(setup.max()) + 1
    each = (setup[:, None] == np.arange(groups)) * 1.0
    along = [coded for name, coded in surface.design.coded(surface.cells).items() if name == PROGRESS]
    saturated = surface.whitening.apply(np.column_stack([each, *along]))
    df_pure = len(setup) - saturated.shape[1]
    df = saturated.shape[1] - surface.white_design.shape[1]
    if df_pure < 1 or df < 1:
        return None
    ss_pure = _residual_ss(saturated, surface.white_values)
    ss = surface.solution.ssr - ss_pure
    f = (ss / df) / (ss_pure / df_pure) if ss_pure > 0 else np.inf
    return LackOfFit(ss=ss, df=df, ss_pure=ss_pure, df_pure=df_pure, f=f, p=float(fdtrc(df, df_pure, f)))


def press_statistic(surface: Surface) -> tuple[float, str]:
    """PRESS by leaving out one make-ready at a time, or one print where that cannot be done.

    With V = LL' and P = V⁻¹ - V⁻¹X(X'V⁻¹X)⁻¹X'V⁻¹ the prediction errors of left-out rows D are
    P_DD⁻¹ (Py)_D; for V = I and single rows that is e/(1 - h) (Allen 1974, Technometrics 16, 125).

    Returns
    -------
    press : float
        Infinite where even a single print cannot be left out.
    left_out : {'make-ready', 'print'}
    """
    name, errors = "make-ready" if surface.groups.split else "print", _whole_block_errors(surface)
    if errors is None:
        name, errors = "print", left_out_errors(*precision(surface), ways_to_leave_out(surface)[1][1])
    return (np.inf if errors is None else float(sum(block @ block for block in errors))), name


def _whole_block_errors(surface: Surface) -> list[np.ndarray] | None:
    """Prediction errors of whole make-readies: for them P_DD⁻¹ (Py)_D is L (I - QQ')⁻¹ e of the block."""
    q = linalg.qr(surface.white_design, mode="economic")[0]
    errors = []
    for pattern, factor in surface.whitening.patterns:
        for rows in pattern.rows:
            left = np.eye(len(rows)) - q[rows] @ q[rows].T
            if np.linalg.eigvalsh(left)[0] < 1e-9:
                return None
            errors.append(factor @ np.linalg.solve(left, surface.solution.residuals[rows]))
    return errors


def ways_to_leave_out(surface: Surface) -> tuple[tuple[str, list[np.ndarray]], ...]:
    """Rows to leave out together: those of a make-ready, else those of a print."""
    rows = np.arange(len(surface.cells))
    single = [np.asarray(block) for block in surface.cells.groupby("print", sort=False).indices.values()]
    whole: list[np.ndarray] = [rows[block] for block, _ in surface.groups.blocks]
    return ("make-ready" if surface.groups.split else "print", whole), ("print", single)


def precision(surface: Surface) -> tuple[np.ndarray, np.ndarray]:
    """P and Py of the rows, V in units of a new print's variance."""
    q = linalg.qr(surface.white_design, mode="economic")[0]
    residual_maker = np.eye(len(q)) - q @ q.T
    back = surface.whitening.apply(np.eye(len(q)))  # L⁻¹
    return back.T @ residual_maker @ back, back.T @ surface.solution.residuals


def left_out_errors(p: np.ndarray, py: np.ndarray, blocks: Sequence) -> list[np.ndarray] | None:
    """Prediction errors of each block of rows when it is left out; None where one cannot be.

    They are P_DD⁻¹ (Py)_D for a block D, as in `press_statistic`.

    Parameters
    ----------
    p : ndarray, shape (n, n)
    py : ndarray, shape (n,)
        As `precision` gives them.
    blocks : sequence of ndarray of int
        Rows that are left out together.

    Returns
    -------
    list of ndarray, or None
        On the modelled scale, for each block one error a row.
    """
    errors = []
    for rows in blocks:
        block = p[rows][:, rows]
        sizes = np.linalg.eigvalsh(block)
        if sizes[0] < 1e-9 * max(sizes[-1], 1.0):
            return None
        errors.append(np.linalg.solve(block, py[rows]))
    return errors


def _prints(surface: Surface) -> pd.DataFrame:
    solution, df = surface.solution, surface.solution.df
    left = 1.0 - solution.leverage
    # of a print that alone carries a term, with no residual
    with np.errstate(divide="ignore", invalid="ignore"):
        inner = solution.residuals / np.sqrt(solution.ssr / df * left)
        table = pd.DataFrame(
            {
                "print": surface.cells["print"],
                "leverage": solution.leverage,
                "studentised": inner * np.sqrt((df - 1) / (df - inner**2).clip(min=0.0)),
                "cook": inner**2 * solution.leverage / left / len(solution.params),
            }
        )
    table = table.fillna({"studentised": 0.0, "cook": 0.0})
    table["p"] = (2 * len(table) * stdtr(df - 1, -table["studentised"].abs())).clip(upper=1.0)
    largest = table.assign(size=table["studentised"].abs()).sort_values("size", ascending=False)
    worst = largest.groupby("print", sort=False).first()[["studentised", "cook", "p"]]
    return worst.join(table.groupby("print")["leverage"].max()).sort_index()


def residual_shape(surface: Surface) -> Shape | None:
    """How the residuals are shaped; None of a surface without any, or too few."""
    spread = np.sqrt(surface.solution.ssr / surface.solution.df)
    if spread < 1e-12 * max(np.abs(surface.white_values).max(), 1.0):
        return None
    return Shape.of(surface.solution.residuals)


def residual_checks(surface: Surface, prints: pd.DataFrame) -> pd.DataFrame:
    """Checks of the residuals of a surface.

    Parameters
    ----------
    surface : Surface
    prints : DataFrame
        Of its diagnostics.

    Returns
    -------
    DataFrame
        Per check: statistic, p, and what it means; empty for a surface that passes through every cell.
    """
    from statsmodels.stats.diagnostic import het_breuschpagan

    shape = residual_shape(surface)
    if shape is None:
        return pd.DataFrame(columns=["statistic", "p", "meaning"])
    residuals, fitted = surface.solution.residuals, surface.mean(surface.cells)
    rows = {NORMALITY: (shape.straightness, shape.p, "intervals and probabilities assume normal errors")}
    if np.ptp(fitted) > 0.0:  # not where the surface is one number
        statistic, p = het_breuschpagan(residuals, np.column_stack([np.ones_like(fitted), fitted]))[:2]
        rows[EVEN_SPREAD] = (statistic, p, "the spread changes with the predicted value")
    worst = prints.iloc[prints["studentised"].abs().argmax()]
    rows["largest residual (Bonferroni)"] = (
        abs(worst["studentised"]),
        worst["p"],
        f"print {worst.name} does not fit the others",
    )
    return pd.DataFrame(
        [(s, p, meaning if p < RARE else "no warning") for s, p, meaning in rows.values()],
        index=pd.Index(rows, name="check"),
        columns=["statistic", "p", "meaning"],
    )
