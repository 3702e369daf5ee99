"""How long a large trial takes to be kept and fitted, and how much memory it needs; prints, asserts nothing.

    python tests/bench/bench_archive.py [ADDRESS]

ADDRESS of an archive that is not there yet; a new SQLite file unless given.
"""

from __future__ import annotations

import io
import multiprocessing
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pandas as pd

import pwindow as pw
from pwindow.inputs import InputFile
from pwindow.trials.archive import Archive

PRINTS, FEATURES = 2_000, 1_000_000


def large() -> bytes:
    """A Parquet file of a million features on two thousand prints, after the demo's fitted surfaces."""
    trial = pw.read_trial(pw.demo("trial_first.csv"))
    copies = -(-FEATURES // len(trial.features))
    per_print, rng = copies * len(trial.prints) // PRINTS, np.random.default_rng(1)
    parts = []
    for at in range(copies):
        rows, which = trial.features.copy(), at // per_print
        for name in ("print", "make_ready"):
            rows[name] = rows[name] + f"-{which}"
        for name in ("line_height", "line_width", "resistance"):
            rows[name] *= np.exp(rng.normal(0.0, 0.03, len(rows)))
        parts.append(rows)
    frame = pd.concat(parts, ignore_index=True).drop(columns="section_area")
    units = {"speed": "m/min", "cell_volume": "cm3/m2", "pressure": "um", "direction": "deg", "gap_length": "mm",
             "line_length": "mm", "resistance": "ohm"} | dict.fromkeys(
                 ("plate_width", "plate_gap", "line_height", "line_width", "gap"), "um")  # fmt: skip
    book = io.BytesIO()
    frame.rename(columns={name: f"{name} [{unit}]" for name, unit in units.items()}).to_parquet(book)
    return book.getvalue()


def add(address: str, path: str) -> None:
    """In a process of its own, so that its memory can be told."""
    start = time.perf_counter()
    archive = Archive(address)
    archive.add(InputFile.of(Path(path)), "same process", "bench")
    added = time.perf_counter() - start
    status = dict(line.split(":", 1) for line in Path("/proc/self/status").read_text().splitlines())
    print(f"added in {added:.1f} s, peak memory {int(status['VmHWM'].split()[0]) / 1024:.0f} MB")


def refit(address: str) -> None:
    start = time.perf_counter()
    trial = Archive(address).trial()
    fetched = time.perf_counter()
    surfaces = pw.fit(trial)
    print(
        f"fetched {len(trial.cells):,} cells of {len(trial.prints):,} prints in {fetched - start:.2f} s, "
        f"fitted in {time.perf_counter() - fetched:.2f} s: {', '.join(surfaces.by_name)}"
    )


def alone(work, *arguments) -> None:
    process = multiprocessing.get_context("spawn").Process(target=work, args=arguments)
    process.start()
    process.join()


def main() -> None:
    folder = tempfile.mkdtemp()
    address = sys.argv[1] if len(sys.argv) > 1 else f"{folder}/archive.db"
    path = Path(folder) / "large.parquet"
    path.write_bytes(large())
    print(f"{FEATURES:,} features of about {PRINTS:,} prints, {path.stat().st_size / 1e6:.0f} MB of Parquet")
    alone(add, address, str(path))
    alone(refit, address)


if __name__ == "__main__":
    main()
