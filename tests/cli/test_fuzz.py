"""Whatever a file says, a command answers or gives reasons."""

import numpy as np
import pytest

import pwindow as pw
from tests.helpers.commands import run

WORDS = [
    "",
    "NA",
    "-1",
    "0",
    "1e999",
    "abc",
    "1,5",
    '"',
    "'",
    "µ",
    ";",
    "=SUM(A1)",
    "[",
    "True",
    "12:30",
    "A-001",
    "1e-320",
    "1e300",
    "gap",
    "speed [m/0]",
    "speed [(]",
    "pressure [kPa]",
    "line_height [thou]",
    "cell_volume [BCM]",
    "print",
]


def mutated(rng):
    """The demo trial with a few cells, headers, rows or columns changed."""
    rows = [line.split(",") for line in pw.demo("trial_first.csv").read_text().splitlines()]
    for _ in range(rng.integers(1, 3)):
        kind = rng.random()
        if kind < 0.45:
            rows[rng.integers(1, len(rows))][rng.integers(18)] = str(rng.choice(WORDS))
        elif kind < 0.6:
            rows[0][rng.integers(18)] = str(rng.choice(WORDS))
        elif kind < 0.75:
            column = rng.integers(18)
            for row in rows[1:]:
                row[column] = ""
        elif kind < 0.85:
            rows = [
                rows[0],
                *(rows[at] for at in sorted(rng.choice(np.arange(1, len(rows)), 60, replace=False))),
            ]
        else:
            column, value = rng.integers(2, 18), rows[1][rng.integers(18)]
            for row in rows[1:]:
                row[column] = value
    return "\n".join(",".join(row) for row in rows)


def outcome(run, *arguments):
    """Exit status, or the traceback as text."""
    try:
        result = run(*arguments)
    except AssertionError as problem:
        return str(problem)
    assert bool(result.stdout) == (result.exit_code == 0)
    assert result.exit_code == 0 or result.stderr.strip()
    return result.exit_code


@pytest.mark.slow
@pytest.mark.parametrize("command, count, seed", [("check", 50, 1), ("speeds", 14, 2)])
def test_mutated_trials(tmp_path, tag_file, command, count, seed):
    rng, path = np.random.default_rng(seed), tmp_path / "trial.csv"
    more = ["--product", tag_file, "--json"] if command == "speeds" else []
    found = []
    for _ in range(count):
        path.write_text(mutated(rng), encoding="utf-8")
        found.append(outcome(run, command, path, *more))
    print({status: found.count(status) for status in set(found)})
    assert set(found) == {0, 1}


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(3))
def test_mutated_products(first, tmp_path, seed):
    rng = np.random.default_rng(seed)
    lines = pw.demo("tag.toml").read_text(encoding="utf-8").splitlines()
    words = [
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
        '"5 %"',
        '"90 deg"',
        "nan",
        "1979-05-27",
    ]
    path, failures = tmp_path / "part.toml", []
    for _ in range(12):
        changed = list(lines)
        row = rng.choice([n for n, line in enumerate(lines) if "=" in line])
        changed[row] = changed[row].split("=")[0] + "= " + str(rng.choice(words))
        path.write_text("\n".join(changed), encoding="utf-8")
        try:
            assert run("speeds", first, "--product", path, "--json").exit_code in (0, 1)
        except AssertionError as problem:
            failures.append(f"{changed[row]}: {problem}")
    assert not failures
