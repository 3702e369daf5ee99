"""The demo scenario, read and fitted once for all tests."""

from __future__ import annotations

import importlib.util
import os
import sys

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before NumPy: every core has its own tests

import numpy as np
import pandas as pd
import pytest

import pwindow as pw


@pytest.fixture(scope="session")
def demo_trial():
    return pw.read_trial(pw.demo("trial_first.csv"))


@pytest.fixture(scope="session")
def demo_surfaces(demo_trial):
    return pw.fit(demo_trial)


@pytest.fixture(scope="session")
def tag():
    return pw.read_product(pw.demo("tag.toml"))


@pytest.fixture(scope="session")
def mesh():
    return pw.read_product(pw.demo("mesh.toml"))


@pytest.fixture(scope="session")
def study():
    return pw.read_study(pw.demo("study.toml"))


@pytest.fixture(scope="session")
def tag_window(demo_surfaces, tag, study):
    return pw.find_window(demo_surfaces, tag, study)


@pytest.fixture(scope="session")
def mesh_window(demo_surfaces, mesh, study):
    return pw.find_window(demo_surfaces, mesh, study)


@pytest.fixture(scope="session")
def plates_trial():
    return pw.read_trial([pw.demo("trial_plates.csv"), pw.demo("plates.csv")])


@pytest.fixture(scope="session")
def plates_surfaces(plates_trial):
    return pw.fit(plates_trial)


@pytest.fixture(scope="session")
def sensor():
    return pw.read_product(pw.demo("sensor.toml"))


@pytest.fixture(scope="session")
def make_plates(make_demo, monkeypatch_session):
    """The script that holds the truth of the trial of plates."""
    monkeypatch_session.setitem(sys.modules, "make_demo", make_demo)
    spec = importlib.util.spec_from_file_location("make_plates", pw.demo("make_plates.py"))
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def monkeypatch_session():
    with pytest.MonkeyPatch.context() as patch:
        yield patch


@pytest.fixture(scope="session")
def make_demo():
    """The script that holds the truth of the demo scenario; it shares no code with pwindow."""
    spec = importlib.util.spec_from_file_location("make_demo", pw.demo("make_demo.py"))
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def simulated(make_demo):
    """One simulated trial of the first layout, as the rows of a trial file."""
    rng = np.random.default_rng(5)
    return make_demo.simulate_trial(make_demo.read_truth(), make_demo.layout_first(), rng)


@pytest.fixture(scope="session")
def demo_rows():
    """Rows of the first demo trial, ids as text."""
    return pd.read_csv(pw.demo("trial_first.csv"), dtype={"roll": str})
