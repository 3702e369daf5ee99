"""Some hundred of the bench's mutated files: reasons or a trial, never a traceback."""

import importlib.util
from pathlib import Path

import numpy as np
import pytest

BENCH = Path(__file__).parents[1] / "bench" / "bench_mutated_files.py"


@pytest.fixture(scope="module")
def bench():
    spec = importlib.util.spec_from_file_location("bench_mutated_files", BENCH)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.mark.slow
@pytest.mark.parametrize("seed", [11, 12, 13])
def test_mutated_files_are_read_or_refused(bench, seed):
    endings = [bench.read(file) for file in bench.mutations(np.random.default_rng(seed), 120)]
    assert set(endings) == {"read", "refused"}
