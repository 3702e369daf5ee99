"""How long the documents of the demo take to make and how large they are; prints, asserts nothing.

python tests/bench/bench_review.py
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from pathlib import Path

import pwindow as pw

SOURCES = ["trial_first.csv", "--product", "tag.toml", "--study", "study.toml"]
DOCUMENTS = [
    ("review", "review.html"),
    ("review", "review.pdf"),
    ("run-sheet", "run-sheet.html"),
    ("run-sheet", "run-sheet.pdf"),
]
REPEATS = 3


def seconds(command: list[str]) -> float:
    start = time.perf_counter()
    subprocess.run([sys.executable, "-m", "pwindow", *command], check=True, capture_output=True)
    return time.perf_counter() - start


def main() -> None:
    sources = [str(pw.demo(word)) if "." in word else word for word in SOURCES]
    with tempfile.TemporaryDirectory() as folder:
        base = min(seconds(["speeds", *sources]) for _ in range(REPEATS))
        print(f"{'pwindow speeds, to compare':32} {base:6.1f} s")
        for command, name in DOCUMENTS:
            file = Path(folder) / name
            took = min(seconds([command, *sources, "-o", str(file)]) for _ in range(REPEATS))
            print(f"{name:32} {took:6.1f} s {file.stat().st_size / 1e6:8.3f} MB")


if __name__ == "__main__":
    main()
