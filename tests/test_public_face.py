"""What other people's scripts lean on."""

import subprocess
import sys

import pytest

import pwindow as pw

FACE = [
    "Product",
    "Study",
    "Surfaces",
    "Trial",
    "Window",
    "__version__",
    "demo",
    "find_window",
    "fit",
    "read_product",
    "read_study",
    "read_trial",
]


def test_the_public_names():
    """A change here is a change for every script: note it in the README."""
    assert sorted(pw.__all__) == FACE
    assert all(hasattr(pw, name) for name in FACE)


BLOCKED = """
import importlib.abc, sys

class Absent(importlib.abc.MetaPathFinder):
    def find_spec(self, name, path=None, target=None):
        if name.split(".")[0] in ("ipywidgets", "plotly", "voila", "anywidget", "IPython"):
            raise ModuleNotFoundError(f"{name} is not there")

sys.meta_path.insert(0, Absent())
import pwindow as pw
surfaces = pw.fit(pw.read_trial(pw.demo("trial_first.csv")))
window = pw.find_window(surfaces, pw.read_product(pw.demo("tag.toml")))
print(len(window.speed_bands()))
"""


@pytest.mark.slow
def test_the_statistics_need_neither_widgets_nor_plots(tag_window):
    done = subprocess.run(
        [sys.executable, "-c", BLOCKED], capture_output=True, text=True, timeout=120, check=False
    )
    assert done.returncode == 0, done.stderr
    assert int(done.stdout) > 0


@pytest.mark.slow
def test_the_five_calls_of_a_script():
    trial = pw.read_trial(pw.demo("trial_first.csv"))
    window = pw.find_window(
        pw.fit(trial), pw.read_product(pw.demo("tag.toml")), pw.read_study(pw.demo("study.toml"))
    )
    bands = window.speed_bands()
    assert set(bands["roll"]) <= {roll.id for roll in window.study.rolls}
