"""What is lost when processes are killed while they add to an archive; prints, asserts nothing.

    python tests/bench/bench_kills.py [KILLS] [ADDRESS]

200 kills at random moments, on a new SQLite file unless ADDRESS names an archive that is not there yet.
"""

from __future__ import annotations

import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pandas as pd
from sqlalchemy import func, select

import pwindow as pw
from pwindow.trials.archive import Archive
from pwindow.trials.archive.schema import CELLS, FEATURES, PRINTS, TRIALS

ADDING = """
import sys
from pathlib import Path
from pwindow.inputs import InputFile
from pwindow.trials.archive import Archive

archive, folder, start = Archive(sys.argv[1]), Path(sys.argv[2]), int(sys.argv[3])
text = (folder / "trial.csv").read_text()
print("open", flush=True)
for at in range(start, start + 10_000):
    # prints of its own make another trial
    content = text.replace("A-", f"{at}-").encode()
    print(archive.add(InputFile(f"trial_{at}.csv", content)).name, flush=True)
"""


def broken(archive: Archive) -> int:
    """Trials of which a row is missing, and rows whose trial is missing."""
    found = 0
    with archive._engine.connect() as connection:
        trials = pd.DataFrame(
            connection.execute(select(TRIALS.c.id, TRIALS.c.features)).all(), columns=["id", "n"]
        )
        sizes = []
        for table in (FEATURES, PRINTS, CELLS):
            rows = connection.execute(select(table.c.trial, func.count()).group_by(table.c.trial)).all()
            sizes.append(pd.Series(dict(map(tuple, rows)), dtype=int))
        found += int((sizes[0].reindex(trials["id"]).to_numpy() != trials["n"].to_numpy()).sum())
        found += sum(len(set(size.index) ^ set(trials["id"])) for size in sizes)
        found += sum(int(size.nunique() > 1) for size in sizes)
    return found


def main() -> None:
    kills = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    folder = Path(tempfile.mkdtemp())
    address = sys.argv[2] if len(sys.argv) > 2 else str(folder / "archive.db")
    (folder / "trial.csv").write_bytes(Path(pw.demo("trial_first.csv")).read_bytes())
    archive, rng = Archive(address), np.random.default_rng(3)
    told, wrong, start = [], 0, time.perf_counter()
    for kill in range(kills):
        process = subprocess.Popen(
            [sys.executable, "-c", ADDING, address, str(folder), str(kill * 100)],
            stdout=subprocess.PIPE,
            text=True,
        )
        process.stdout.readline()
        time.sleep(rng.uniform(0.0, 0.6))
        process.send_signal(signal.SIGKILL)
        told += process.stdout.read().split()
        process.wait()
        wrong += broken(archive)
    kept = list(archive.trials()["name"])
    print(
        f"{kills} kills: {len(told)} adds were confirmed, {len(set(told) - set(kept))} of them are missing; {len(kept)} "
        f"trials are kept, {wrong} times something was incomplete; {time.perf_counter() - start:.0f} s"
    )


if __name__ == "__main__":
    main()
