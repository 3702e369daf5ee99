"""The demo scenario, read and fitted once for all tests."""

import dataclasses
import importlib.util
import io

import numpy as np
import pandas as pd
import pytest

import pwindow as pw
from pwindow.inputs import InputFile


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
def without_tolerances():
    """Products with settings that are held exactly."""

    def strip(product):
        return dataclasses.replace(
            product,
            assurance=dataclasses.replace(
                product.assurance,
                speed_tolerance=0.0,
                volume_tolerance=0.0,
                pressure_tolerance=None,
            ),
        )

    return strip


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


@pytest.fixture(scope="session")
def read_frame():
    """Read a table as if it came as a CSV file."""

    def read(frame, name="trial.csv"):
        return pw.read_trial(InputFile(name, frame.to_csv(index=False).encode()))

    return read


@pytest.fixture(scope="session")
def read_text():
    """Read bytes or text as a trial file."""

    def read(content, name="trial.csv"):
        return pw.read_trial(InputFile(name, content if isinstance(content, bytes) else content.encode()))

    return read


@pytest.fixture(scope="session")
def as_workbook():
    def write(frame, **options):
        stream = io.BytesIO()
        frame.to_excel(stream, index=False, **options)
        return stream.getvalue()

    return write


@pytest.fixture(scope="session")
def as_parquet():
    def write(frame):
        stream = io.BytesIO()
        frame.to_parquet(stream)
        return stream.getvalue()

    return write
