"""Mutated trial, product and study files: tracebacks, seconds and memory; prints, asserts nothing.

    python tests/bench/bench_mutated_files.py [IN_PROCESS] [COMMANDS]

5,000 files are read in this process and 500 by commands of their own, unless told otherwise.
"""

from __future__ import annotations

import collections
import io
import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pandas as pd

import pwindow as pw
from pwindow.errors import UnusableInput
from pwindow.inputs import InputFile
from pwindow.trials import summarise

WORDS = [
    *(
        "",
        "NA",
        "n.a.",
        "–",
        "-1",
        "0",
        "1e999",
        "1e201",
        "1e-320",
        "9" * 400,
        "9e18",
        "abc",
        "1,5",
        "1.234,5",
    ),
    *(
        '"',
        "'",
        "µ",
        ";",
        "\t",
        "=SUM(A1)",
        "[",
        "]",
        "True",
        "12:30",
        "1979-05-27",
        "\0",
        "\x1b[31m",
        "\u200b",
        "x" * 5000,
    ),
    *(
        "speed [m/0]",
        "speed [(]",
        "pressure [kPa]",
        "line_height [thou]",
        "cell_volume [BCM]",
        "print",
        "gap [nm]",
    ),
]
VALUES = [
    *(
        '""',
        "0",
        "-1",
        '"-5 µm"',
        '"0 ohm"',
        "true",
        "[]",
        "{}",
        '"1e999 µm"',
        '"5 (µm"',
        "nan",
        "inf",
        "1979-05-27",
    ),
    *(
        "9" * 400,
        "9" * 5000,
        "0x" + "f" * 400,
        "[" * 20_000,
        '"5 %"',
        '"' + " " * 900 + 'µm"',
        "9_000_000_000_000_000_000",
    ),
]
AT = "roll=2047, pressure=50 µm, speed=80 m/min, plate=laser-imaged, plate_width=30 µm, plate_gap=60 µm"


def originals() -> dict[str, bytes]:
    """The files that are mutated, by name."""
    rows = pd.read_csv(pw.demo("trial_first.csv"), dtype={"roll": str}).head(80)
    book, table = io.BytesIO(), io.BytesIO()
    rows.to_excel(book, index=False)
    rows.set_index("print").to_parquet(table)
    return {
        "trial.csv": rows.to_csv(index=False).encode(),
        "trial.xlsx": book.getvalue(),
        "trial.parquet": table.getvalue(),
        "tag.toml": pw.demo("tag.toml").read_bytes(),
        "mesh.toml": pw.demo("mesh.toml").read_bytes(),
        "study.toml": pw.demo("study.toml").read_bytes(),
    }


def mutations(rng: np.random.Generator, count: int) -> Iterator[InputFile]:
    """Mutated files, the same for one state of the generator."""
    files = originals()
    rows = pd.read_csv(io.BytesIO(files["trial.csv"]), dtype=str, keep_default_na=False)
    for _ in range(count):
        name = str(rng.choice(list(files)))
        change = rng.choice([flipped, cut, doubled, spliced])
        if name.endswith(".toml") and rng.random() < 0.6:
            content = other_value(files[name], rng)
        elif not name.endswith(".toml") and rng.random() < 0.6:
            content = written(other_cells(rows, rng), name)
        else:
            content = files[name]
        if rng.random() < 0.6:
            content = change(content, rng)
        yield InputFile(name, content)


def flipped(content: bytes, rng: np.random.Generator) -> bytes:
    changed = np.frombuffer(content, dtype=np.uint8).copy()
    at = rng.integers(0, len(changed), rng.integers(1, 12))
    changed[at] = rng.integers(0, 256, len(at))
    return changed.tobytes()


def cut(content: bytes, rng: np.random.Generator) -> bytes:
    return content[: rng.integers(0, len(content))]


def doubled(content: bytes, rng: np.random.Generator) -> bytes:
    low, high = sorted(rng.integers(0, len(content), 2))
    return content[:high] + content[low:high] * int(rng.choice([1, 2, 50])) + content[high:]


def spliced(content: bytes, rng: np.random.Generator) -> bytes:
    at = rng.integers(0, len(content))
    return content[:at] + str(rng.choice(WORDS)).encode() + content[at:]


def other_value(content: bytes, rng: np.random.Generator) -> bytes:
    lines = content.decode().splitlines()
    at = rng.choice([at for at, line in enumerate(lines) if "=" in line])
    lines[at] = lines[at].split("=")[0] + "= " + str(rng.choice(VALUES))
    return "\n".join(lines).encode()


def other_cells(rows: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    rows = rows.copy()
    kind = rng.random()
    if kind < 0.4:
        for _ in range(rng.integers(1, 6)):
            rows.iat[rng.integers(len(rows)), rng.integers(rows.shape[1])] = str(rng.choice(WORDS))
    elif kind < 0.55:
        names = list(rows.columns)
        names[rng.integers(len(names))] = str(rng.choice(WORDS))
        rows.columns = names
    elif kind < 0.7:
        rows.isetitem(rng.integers(rows.shape[1]), str(rng.choice(WORDS)))
    elif kind < 0.85:
        rows = pd.concat([rows] * int(rng.integers(2, 5)))
    else:
        factor = float(rng.choice([1e3, 1e-3, 1e200, 1e-200, -1.0]))
        at = rng.integers(8, rows.shape[1])
        rows.isetitem(at, (pd.to_numeric(rows.iloc[:, at]) * factor).astype(str).replace("nan", ""))
    return rows


def written(rows: pd.DataFrame, name: str) -> bytes:
    """Rows as a file of a kind; what that kind cannot hold is left as text of commas."""
    stream = io.BytesIO()
    try:
        if name.endswith(".xlsx"):
            rows.to_excel(stream, index=False)
        elif name.endswith(".parquet"):
            rows.to_parquet(stream)
        else:
            raise ValueError
    except Exception:  # control characters in a workbook, columns of one name in Parquet
        return rows.to_csv(index=False).encode()
    return stream.getvalue()


def read(file: InputFile) -> str:
    """How reading ends: "read", "refused", or the traceback's last line."""
    try:
        if file.name.endswith(".toml"):
            (pw.read_study if file.name == "study.toml" else pw.read_product)(file)
        else:
            summarise(pw.read_trial(file))
    except UnusableInput as problem:
        return "refused" if all(problem.reasons) and len(str(problem)) < 100_000 else "reasons too long"
    except Exception as problem:  # what is looked for
        return f"{type(problem).__name__}: {str(problem)[:100]}"
    return "read"


def asked(file: InputFile, folder: Path) -> str:
    """How a command on the file ends."""
    path = folder / file.name
    path.write_bytes(file.content)
    trial = str(pw.demo("trial_first.csv"))
    rest = {
        "study.toml": ["predict", trial, "--at", AT, "--study", path],
        "tag.toml": ["predict", trial, "--at", AT, "--product", path],
        "mesh.toml": ["predict", trial, "--at", AT, "--product", path],
    }.get(file.name, ["check", path])
    try:
        done = subprocess.run(
            [sys.executable, "-m", "pwindow", *map(str, rest)], capture_output=True, check=False, timeout=300
        )
    except subprocess.TimeoutExpired:
        return "no answer in 300 s"
    if b"Traceback" in done.stderr or done.returncode not in (0, 1, 2):
        return done.stderr.decode(errors="replace").strip().splitlines()[-1][:120]
    return f"status {done.returncode}"


def measured(files: Iterator[InputFile], ending: Callable[[InputFile], str]) -> None:
    endings: collections.Counter = collections.Counter()
    seconds, worked = [], []
    for file in files:
        start, before = time.perf_counter(), processor_time()
        endings[ending(file)] += 1
        seconds.append(time.perf_counter() - start)
        worked.append(processor_time() - before)
    for what, count in endings.most_common():
        print(f"  {count:5d}  {what}")
    print(
        f"  slowest {max(seconds):.2f} s, middle {np.median(seconds):.3f} s, over 10 s: {sum(s > 10 for s in seconds)}"
    )
    print(
        f"  of processor time at most {max(worked):.2f} s, middle {np.median(worked):.3f} s, over 10 s: "
        f"{sum(s > 10 for s in worked)}"
    )


def processor_time() -> float:
    """Of this process and of its children that have ended, s."""
    return sum(os.times()[:4])


def peak(whose: int) -> float:
    """Most memory ever held, MB."""
    return resource.getrusage(whose).ru_maxrss / 1e3


def main(in_process: int = 5000, commands: int = 500) -> None:
    print(f"{in_process} files read in this process")
    measured(mutations(np.random.default_rng(1), in_process), read)
    print(f"  most memory {peak(resource.RUSAGE_SELF):.0f} MB")
    if commands:
        print(f"{commands} files given to commands")
        with tempfile.TemporaryDirectory() as folder:
            measured(mutations(np.random.default_rng(2), commands), lambda file: asked(file, Path(folder)))
        print(f"  most memory of a command {peak(resource.RUSAGE_CHILDREN):.0f} MB")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
