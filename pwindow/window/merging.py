"""Merging of close lines: how probably the gap between two lines bridges, along the plate gap and for each pressure.

Of one gap of one print of a new make-ready, as long as the trial measured gaps: it bridges where its closure is the plate
gap or more. The closure is the surface's, plus what make-readies and prints vary by, plus what the gaps of a print vary
by in a shape that the trial leaves possible. The probability is the mean over the processes that the trial leaves
possible; intervals are equal-tailed over them. Nothing is stated of plate gaps narrower or wider than those tried.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import ndtr, ndtri

from pwindow.errors import WindowProblem
from pwindow.surfaces.posterior.processes import Processes
from pwindow.window.confidence import DRAWS
from pwindow.window.conformance import Conformance
from pwindow.wording import Units, amount, listed, percent

LEVEL = 0.95
"""Of intervals."""
SHARES = (0.5, 0.01, 0.0001)
"""Shares of gaps that bridge, of which the plate gaps are found."""
WITHIN, OUTSIDE = "within what was tried", "not within what was tried"
_PLATE_GAPS = 31
_DRAWS = DRAWS // 2
_SCORES = np.linspace(-6.5, 6.5, 105)  # of a gap about its print
_SURE = 1e-15
_CURVE = ["plate_gap_um", "bridged", "bridged_low", "bridged_high"]
_SHARE_WORDS = {0.5: "half of the gaps bridge", 0.01: "1 in 100", 0.0001: "1 in 10,000"}


@dataclass(frozen=True, kw_only=True, eq=False)
class Merging:
    """How probably a gap bridges at set-ups that differ in pressure.

    Attributes
    ----------
    plate : str
    speed : float, m/min
    cell_volume : float, cm³/m²
    pressure_key : str
        Name of the column of pressures, with its unit: ``pressure_um`` or the like.
    tried : (float, float)
        Narrowest and widest plate gap that was tried, µm.
    curves : DataFrame
        One row per pressure and plate gap: the pressure, ``plate_gap_um``, ``bridged`` (probability), ``bridged_low`` and
        ``bridged_high`` (interval at `LEVEL`). NaN at pressures where the set-up is outside the trial region.
    plate_gaps : DataFrame
        One row per pressure and share of `SHARES`: the pressure, ``bridged`` (the share), ``plate_gap_um`` at which so many
        bridge, ``plate_gap_low_um`` and ``plate_gap_high_um``, ``tried``: in words where the plate gap lies, and
        ``printed_gap_um``, which it prints on average. What is not within the tried plate gaps is NaN, also an end of an
        interval.
    """

    plate: str
    speed: float
    cell_volume: float
    pressure_key: str
    tried: tuple[float, float]
    curves: pd.DataFrame
    plate_gaps: pd.DataFrame

    def sentences(self, units: Units) -> tuple[str, ...]:
        """What bridges at each pressure, a sentence each.

        Parameters
        ----------
        units : Units
            Of pressures; plate gaps are in µm.
        """
        return tuple(
            f"{units.pressure.words(pressure)}: {self._at_ends(pressure)}; {self._shares(rows)}"
            if self.curves.loc[self.curves[self.pressure_key] == pressure, "bridged"].notna().any()
            else f"{units.pressure.words(pressure)}: set-up {OUTSIDE}"
            for pressure, rows in by_pressure(self.plate_gaps, self.pressure_key).items()
        )

    def _at_ends(self, pressure: float) -> str:
        rows = self.curves[self.curves[self.pressure_key] == pressure]
        ends = rows.iloc[[0, -1]] if len(rows) > 1 else rows
        return "; ".join(_chance(*row) for row in ends[_CURVE].itertuples(index=False))

    @staticmethod
    def _shares(rows: pd.DataFrame) -> str:
        said: dict[str, list[str]] = {}
        for _, row in rows.iterrows():
            words, value = _SHARE_WORDS[row["bridged"]], row["plate_gap_um"]
            at = row["tried"]
            if at == WITHIN:
                between = _interval(row["plate_gap_low_um"], row["plate_gap_high_um"])
                at = f"at {amount(value)} µm ({between})"
                if row["bridged"] < 0.5:
                    at += f", which prints {amount(row['printed_gap_um'])} µm on average"
            said.setdefault(at, []).append(words)
        return "; ".join(f"{listed(words)} {at}" for at, words in said.items())


def by_pressure(table: pd.DataFrame, key: str) -> dict[float, pd.DataFrame]:
    """The rows of each pressure, of the curves or of the plate gaps; `key` is `Merging.pressure_key`."""
    return {float(one): table[table[key] == one] for one in table[key].unique()}


def _chance(plate_gap: float, bridged: float, low: float, high: float) -> str:
    value, *ends = (percent(one) for one in (bridged, low, high))
    between = f" ({ends[0]} to {ends[1]})" if ends[0] != ends[1] else ""
    return f"a plate gap of {plate_gap:.3g} µm bridges with a probability of {value}{between}"


def _interval(low: float, high: float) -> str:
    from_ = f"{amount(low)} µm" if np.isfinite(low) else "narrower than tried"
    to = f"{amount(high)} µm" if np.isfinite(high) else "wider than tried"
    return f"{from_} to {to}"


def merging(
    window: Conformance,
    plate: str,
    speed: float,
    cell_volume: float,
    pressures: Sequence[float] | None = None,
) -> Merging:
    """How probably one gap of a print of a new make-ready bridges, along the plate gap and for each pressure.

    Parameters
    ----------
    window : Conformance
        Its product tells plate width and direction.
    plate : str
        One of `Conformance.plates`.
    speed : float, m/min
    cell_volume : float, cm³/m²
    pressures : sequence of float, optional
        In the trial's unit of pressure; those tried unless given.

    Returns
    -------
    Merging

    Raises
    ------
    WindowProblem
        If the trial measured no gaps, or none of known plate gap on this plate.
    """
    trial = window.surfaces.trial
    tried = _tried(window, plate)
    at = np.array(trial.pressures if pressures is None else sorted(pressures), float)
    plate_gaps = np.linspace(*tried, _PLATE_GAPS) if tried[1] > tried[0] else np.array(tried[:1])
    setups = window.setups(plate, speed, cell_volume, np.repeat(at, len(plate_gaps)))
    own = np.tile(plate_gaps, len(at))
    setups = setups.assign(plate_gap=own, lip_width=own)  # between lines there is no lip
    inside = window.in_trial_region(setups)
    found = np.full((len(setups), min(_DRAWS, _drawn(window))), np.nan)
    if inside.any():
        found[inside] = bridging_by_process(window, setups[inside])
    of_each = found.reshape(len(at), len(plate_gaps), -1)
    key = trial.pressure_key
    curves = pd.concat([_curve(plate_gaps, each).assign(**{key: one}) for one, each in zip(at, of_each)])
    gaps = pd.concat([_at_shares(plate_gaps, each).assign(**{key: one}) for one, each in zip(at, of_each)])
    gaps = gaps.assign(printed_gap_um=_printed(window, plate, speed, cell_volume, gaps.set_index(key)))
    return Merging(
        plate=plate,
        speed=float(speed),
        cell_volume=float(cell_volume),
        pressure_key=key,
        tried=tried,
        curves=_pressure_first(curves, key),
        plate_gaps=_pressure_first(gaps, key),
    )


def _printed(
    window: Conformance, plate: str, speed: float, cell_volume: float, gaps: pd.DataFrame
) -> np.ndarray:
    """What plate gaps print on average at their pressures, which are the index; µm."""
    own = gaps["plate_gap_um"].to_numpy(float)
    setups = window.setups(plate, speed, cell_volume, gaps.index.to_numpy(float))
    closures = window.joint.means(setups.assign(plate_gap=own, lip_width=own))
    return own - closures[:, window.joint.names.index("gap_closure")]


def _tried(window: Conformance, plate: str) -> tuple[float, float]:
    if "gap_closure" not in window.joint.names or window.surfaces.counts_only:
        raise WindowProblem(
            "merging of lines cannot be judged: the trial measured no gaps; measure the printed gaps of two or more "
            "plate gaps, in the columns gap and plate_gap"
        )
    tried = window.surfaces.region.covariates[plate].get("plate_gap")
    if tried is None:
        raise WindowProblem(
            f"merging of lines cannot be judged with plate “{plate}”: the trial measured no gaps on it; choose another plate"
        )
    return tried


def _drawn(window: Conformance) -> int:
    draws = window.joint.draws
    return _DRAWS if draws is None else len(draws.feature)


def bridging_by_process(window: Conformance, setups: pd.DataFrame) -> np.ndarray:
    """Probability that one gap bridges at set-ups under each process that the trial leaves possible, shape (m, s).

    Parameters
    ----------
    window : Conformance
    setups : DataFrame
        As `Conformance.setups` makes them, with any ``plate_gap``.
    """
    processes = Processes.of(window.joint, _DRAWS)
    at, shape = window.joint.names.index("gap_closure"), window.surfaces.gap_shape
    between = processes.between[:, at]
    means = processes.means(setups)[:, :, at]
    prints = processes.deviations(setups)[:, :, at] * np.sqrt(processes.spread[:, at, at])
    deviations = shape.deviations(_SCORES)[shape.drawn(len(between))] * between[:, None]
    density = np.exp(-0.5 * _SCORES**2)
    density /= density.sum()
    past = means - setups["plate_gap"].to_numpy(float)[:, None]
    return np.array(
        [ndtr((one[:, None] + deviations) / spread[:, None]) @ density for one, spread in zip(past, prints)]
    )


def _curve(plate_gaps: np.ndarray, bridged: np.ndarray) -> pd.DataFrame:
    """Of one pressure; probabilities under each process, shape (m, s)."""
    tail = (1.0 - LEVEL) / 2.0
    low, high = np.quantile(bridged, [tail, 1.0 - tail], axis=1)
    return pd.DataFrame(
        {
            "plate_gap_um": plate_gaps,
            "bridged": bridged.mean(axis=1),
            "bridged_low": low,
            "bridged_high": high,
        }
    )


def _at_shares(plate_gaps: np.ndarray, bridged: np.ndarray) -> pd.DataFrame:
    """Plate gaps at which each share bridges, of one pressure."""
    rows: list[tuple] = []
    for share in SHARES:
        if np.isnan(bridged).any():
            rows.append((share, np.nan, np.nan, np.nan, OUTSIDE))
            continue
        value = _crossing(plate_gaps, bridged.mean(axis=1, keepdims=True), share)[0]
        low, high = _ends(_crossing(plate_gaps, bridged, share))
        rows.append((share, *(_finite(one) for one in (value, low, high)), _where(value, plate_gaps)))
    names = ["bridged", "plate_gap_um", "plate_gap_low_um", "plate_gap_high_um", "tried"]
    return pd.DataFrame(rows, columns=names)


def _crossing(plate_gaps: np.ndarray, bridged: np.ndarray, share: float) -> np.ndarray:
    """Plate gap beyond which a smaller share bridges, shape (s,); infinite where that is not within the plate gaps.

    Straight between them in normal scores, in which a curve is straight for normal gaps.
    """
    scores = ndtri(bridged.clip(_SURE, 1.0 - _SURE)) - ndtri(share)
    more = scores > 0.0
    last = np.where(more.any(axis=0), len(plate_gaps) - 1 - more[::-1].argmax(axis=0), -1)
    found = np.where(last < 0, -np.inf, np.inf)
    crosses = np.flatnonzero((last >= 0) & (last < len(plate_gaps) - 1))
    at = last[crosses]
    above, below = scores[at, crosses], scores[at + 1, crosses]
    step = plate_gaps[at + 1] - plate_gaps[at]
    found[crosses] = plate_gaps[at] + step * above / (above - below)
    return found


def _ends(values: np.ndarray) -> tuple[float, float]:
    """Ends of the interval of values of which some are infinite: order statistics, as none lies between finite and infinite."""
    tail = (1.0 - LEVEL) / 2.0
    low = np.quantile(values, tail, method="lower")
    return float(low), float(np.quantile(values, 1.0 - tail, method="higher"))


def _finite(value: float) -> float:
    return float(value) if np.isfinite(value) else np.nan


def _where(value: float, plate_gaps: np.ndarray) -> str:
    if np.isfinite(value):
        return WITHIN
    side = f"narrower than {plate_gaps[0]:.3g}" if value < 0.0 else f"wider than {plate_gaps[-1]:.3g}"
    return f"{OUTSIDE} ({side} µm)"


def _pressure_first(table: pd.DataFrame, key: str) -> pd.DataFrame:
    return table[[key, *(name for name in table if name != key)]].reset_index(drop=True)
