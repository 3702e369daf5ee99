"""How long the trade-offs take on the demo; prints, asserts nothing.

python tests/bench/bench_trade_offs.py
"""

from __future__ import annotations

import time
from dataclasses import replace

import pwindow as pw
from pwindow.charts.along_speed import along_speed_figure
from pwindow.charts.frontier import frontier_figure
from pwindow.window.trade_offs import (
    Setup,
    along_speed,
    frontier,
    limit_trades,
    move_limits,
    plates_compared,
    sensitivities,
    side_by_side,
)


def milliseconds(work, times=5) -> float:
    """Median processor time."""
    taken = []
    for _ in range(times):
        start = time.process_time()
        work()
        taken.append(time.process_time() - start)
    return 1e3 * sorted(taken)[times // 2]


def measure(window: pw.Window) -> None:
    plate, bands = window.plates[0], window.speed_bands()
    one = Setup(plate, window.rolls[4], 50.0, 70.0)
    other = replace(one, speed=60.0)
    along, front = along_speed(window, plate, 50.0), frontier(window, bands=bands)
    width, moved = ("line_width", plate, 50.0), move_limits(window)
    works = {
        "along_speed, 6 rolls": lambda: along_speed(window, plate, 50.0),
        "sensitivities": lambda: sensitivities(window, one),
        "move_limits": lambda: move_limits(window),
        "limit_trades, limits moved": lambda: limit_trades(window, one, moved),
        "frontier, bands known": lambda: frontier(window, bands=bands),
        "frontier": lambda: frontier(window),
        "side_by_side, 2 set-ups": lambda: side_by_side(window, [one, other]),
        "plates_compared": lambda: plates_compared(window, one.roll, 50.0, 60.0),
        "along_speed_figure": lambda: along_speed_figure(window, along, *width),
        "frontier_figure": lambda: frontier_figure(window, front),
    }
    for what, work in works.items():
        print(f"{window.product.name}: {what:28} {milliseconds(work):6.0f} ms")


def main() -> None:
    surfaces, study = pw.fit(pw.read_trial(pw.demo("trial_first.csv"))), pw.read_study(pw.demo("study.toml"))
    for name in ("tag.toml", "mesh.toml"):
        measure(pw.find_window(surfaces, pw.read_product(pw.demo(name)), study))


if __name__ == "__main__":
    main()
