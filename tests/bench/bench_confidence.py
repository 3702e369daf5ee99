"""How near the map of what a set-up reaches with a confidence is to all processes, and what it takes; prints, asserts nothing.

    python tests/bench/bench_confidence.py

For both products of the demo, confidences and pressures: the largest error of the probability between 0.90 and 0.99 and
of the fastest assured speed over 60 × 60 set-ups, of the map and of the quick rule that bands are searched with; then
how long maps take with a confidence and without.
"""

from __future__ import annotations

import time

import numpy as np

import pwindow as pw
from pwindow.window.confidence import conformance_at_least
from pwindow.window.search.maps import grid_setups, sure_on_grid, window_map
from pwindow.window.window import Window, find_window

CELLS, LEVEL = 60, 0.95


def fastest(values: np.ndarray, speeds: np.ndarray) -> np.ndarray:
    """Where the level is lost at each volume, m/min; NaN where it never is, or never reached."""
    found = []
    for row in values.reshape(CELLS, CELLS):
        last = np.flatnonzero(row >= LEVEL)
        if not len(last) or last[-1] == CELLS - 1:
            found.append(np.nan)
            continue
        at = last[-1]
        share = (row[at] - LEVEL) / (row[at] - row[at + 1])
        found.append(speeds[at] + share * (speeds[at + 1] - speeds[at]))
    return np.array(found)


def compare(window: Window, confidence: float, pressure: float) -> str:
    plate, prints = window.plates[0], window.surfaces.trial.prints
    volumes, speeds = (
        np.linspace(prints[name].min(), prints[name].max(), CELLS) for name in ("cell_volume", "speed")
    )
    setups = grid_setups(window, plate, pressure, volumes, speeds)
    exact = conformance_at_least(window, setups, confidence)
    near, told = (exact > 0.90) & (exact < 0.99), []
    for name, found in (
        ("map", sure_on_grid(window, plate, pressure, volumes, speeds)),
        ("quick", conformance_at_least(window, setups, confidence, LEVEL)),
    ):
        off = np.abs(found - exact)[near].max(initial=0.0)
        edge = np.nanmax(np.abs(fastest(found, speeds) - fastest(exact, speeds)), initial=0.0)
        told.append(f"{name} off by {off:.4f}, edge by {edge:.2f} m/min")
    return "; ".join(told)


def main() -> None:
    surfaces = pw.fit(pw.read_trial(pw.demo("trial_first.csv")))
    study = pw.read_study(pw.demo("study.toml"))
    for name in ("tag", "mesh"):
        product = pw.read_product(pw.demo(f"{name}.toml"))
        for confidence in (0.8, 0.9, 0.95):
            window = find_window(surfaces, product.with_confidence(confidence), study)
            for pressure in (20.0, 35.0, 50.0, 65.0):
                print(
                    f"{name} {confidence:g} {pressure:g} µm: {compare(window, confidence, pressure)}",
                    flush=True,
                )
        for confidence in (None, 0.9):
            window, taken = find_window(surfaces, product.with_confidence(confidence), study), []
            for pressure in np.linspace(22.0, 78.0, 29):
                start = time.perf_counter()
                window_map(window, window.plates[0], float(pressure), 80)
                taken.append(1000 * (time.perf_counter() - start))
            print(
                f"{name}, a map with confidence {confidence}: median {np.median(taken[1:]):.0f} ms",
                flush=True,
            )


if __name__ == "__main__":
    main()
