"""How long commands take on the demo, beside importing pandas; prints, asserts nothing.

    python tests/bench/bench_start.py [TIMES]

The middle of so many runs (5 unless given), each in a process of its own as in a terminal, with everything compiled
as an installed package is: first by the clock, then the processor's time, which other work on the machine changes less.
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import pwindow as pw

FIRST, SECOND, TAG, STUDY = (
    str(pw.demo(name)) for name in ("trial_first.csv", "trial_second.csv", "tag.toml", "study.toml")
)
WANTED = {"--help": 0.3, "check": 1.2, "speeds": 2.0, "add": 2.5, "compare": 4.0, "run-sheet": 2.5}
"""Seconds, on a quiet machine where pandas is imported in 0.6 s."""


def timed(arguments: list[str], compiled: Path) -> tuple[float, float]:
    """Seconds by the clock and of the processor that a process takes, with compiled modules in a folder."""
    environment = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    environment["PYTHONPYCACHEPREFIX"] = str(compiled)
    start, before = time.perf_counter(), os.times()
    subprocess.run([sys.executable, *arguments], env=environment, stdout=subprocess.DEVNULL, check=True)
    after = os.times()
    used = after.children_user + after.children_system - before.children_user - before.children_system
    return time.perf_counter() - start, used


def two_fits(folder: Path) -> str:
    """An archive with two fits of the demo."""
    archive = str(folder / "two.db")
    for arguments in (
        ("add", FIRST),
        ("refit", "--product", TAG, "--study", STUDY),
        ("add", SECOND, "--accept", "--reason", "bench"),
        ("refit", "--product", TAG),
    ):
        command = [sys.executable, "-m", "pwindow", arguments[0], "--archive", archive, *arguments[1:]]
        subprocess.run(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, check=True)
    return archive


def main(times: int) -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        archive = two_fits(folder)
        cases = {
            "import pandas": lambda at: ["-c", "import pandas"],
            "--help": lambda at: ["-m", "pwindow", "--help"],
            "check": lambda at: ["-m", "pwindow", "check", FIRST],
            "speeds": lambda at: ["-m", "pwindow", "speeds", FIRST, "--product", TAG],
            "add": lambda at: ["-m", "pwindow", "add", FIRST, "--archive", str(folder / f"{at}.db")],
            "compare": lambda at: ["-m", "pwindow", "compare", "1", "2", "--archive", archive],
            "run-sheet": lambda at: [
                *("-m", "pwindow", "run-sheet", FIRST, "--product", TAG, "--study", STUDY),
                *("--output", str(folder / "sheet.html")),
            ],
        }
        print(f"{'':14} {'clock':>7} {'cpu':>7} {'wanted':>7}   s, the middle of {times}")
        for case, arguments in cases.items():
            _compiling, *runs = [timed(arguments(at), folder / "compiled") for at in range(times + 1)]
            clock, used = (statistics.median(column) for column in zip(*runs))
            print(f"{case:14} {clock:7.2f} {used:7.2f} {WANTED.get(case, ''):>7}", flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 5)
