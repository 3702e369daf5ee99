"""What other people's scripts lean on."""

import re
import subprocess
import sys

import pytest

import pwindow as pw
from pwindow.errors import SurfaceProblem
from pwindow.inputs import InputFile

FACE = [
    "Product",
    "Study",
    "Surfaces",
    "Trial",
    "Window",
    "__version__",
    "charts",
    "dashboard",
    "demo",
    "find_window",
    "fit",
    "map_of",
    "read_product",
    "read_study",
    "read_trial",
    "review",
]


def test_the_public_names():
    """A change here is a change for every script: note it in the README."""
    assert sorted(pw.__all__) == FACE
    assert all(hasattr(pw, name) for name in FACE)


@pytest.mark.parametrize("part", [pw.charts, pw.review], ids=lambda part: part.__name__)
def test_the_names_of_parts(part):
    assert all(callable(getattr(part, name)) for name in part.__all__)
    assert set(part.__all__) <= set(dir(part))


@pytest.mark.parametrize("part", [pw, pw.charts, pw.review], ids=lambda part: part.__name__)
def test_names_that_are_not_there(part):
    with pytest.raises(AttributeError, match=f"{part.__name__}.*no attribute 'absent'"):
        part.absent  # noqa: B018


SEEN = """
import sys
import pwindow as pw
pw.charts, pw.review
print(*sorted({"jinja2", "numpy", "plotly"} & set(sys.modules)), "|")
pw.charts.window_figure
print("plotly" in sys.modules)
"""


def test_importing_loads_no_figures():
    done = subprocess.run(
        [sys.executable, "-c", SEEN], capture_output=True, text=True, timeout=60, check=False
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.split() == ["|", "True"]


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


@pytest.fixture(scope="module")
def given(demo_trial, demo_surfaces, tag, study, tag_window):
    return {
        "trial": demo_trial,
        "surfaces": demo_surfaces,
        "product": tag,
        "study": study,
        "window": tag_window,
    }


REFUSED = [
    (lambda it: pw.demo(3), "demo expects the name of a file of the demo data, such as .*, and got int"),
    (lambda it: pw.read_trial(3), "read_trial expects the path of a trial file, or several, and got int"),
    (lambda it: pw.read_trial(b"trial.csv"), "read_trial expects .*, and got bytes"),
    (lambda it: pw.read_trial([it["study"]]), "read_trial expects .*, and got Study"),
    (lambda it: pw.read_trial(it["trial"].prints), "read_trial expects .*, and got DataFrame"),
    (lambda it: pw.read_product(None), "read_product expects the path of a product file, and got None"),
    (lambda it: pw.read_study(it["product"]), "read_study expects the path of a study file, and got Product"),
    (lambda it: pw.fit("trial.csv"), "fit expects a Trial, as read_trial returns it, and got str"),
    (
        lambda it: pw.fit(it["trial"], leave_out="pressure²"),
        "fit expects leave_out as a list .*, and got str",
    ),
    (lambda it: pw.fit(it["trial"], plan=it["study"]), "fit expects plan as a Plan, and got Study"),
    (lambda it: pw.fit(it["trial"], make_readies=it["study"]), "fit expects make_readies .*, and got Study"),
    (
        lambda it: pw.find_window(it["trial"], it["product"]),
        "find_window expects Surfaces, as fit returns them, and got MeasuredTrial",
    ),
    (
        lambda it: pw.find_window(it["surfaces"], "tag.toml"),
        "find_window expects a Product, as read_product returns it, and got str",
    ),
    (
        lambda it: pw.find_window(it["surfaces"], it["product"], "study.toml"),
        "find_window expects a Study, as read_study returns it, and got str",
    ),
    (lambda it: pw.map_of(it["surfaces"]), "map_of expects a Window, as find_window .*, and got Surfaces"),
    (lambda it: pw.map_of(it["window"], plate=2), "map_of expects plate as the name .*, and got int"),
    (
        lambda it: pw.map_of(it["window"], pressure="50 µm"),
        "map_of expects pressure as a number, in µm, and got str",
    ),
]


@pytest.mark.parametrize(("call", "said"), REFUSED, ids=[said for _, said in REFUSED])
def test_a_wrong_type_is_named(call, said, given):
    with pytest.raises(TypeError) as refused:
        call(given)
    assert re.fullmatch(said, str(refused.value))


def test_a_form_that_is_not_there(demo_trial):
    with pytest.raises(SurfaceProblem, match="“Chosen” is not a form .* all, chosen, bending"):
        pw.fit(demo_trial, "Chosen")


def test_paths_of_every_kind_are_read(demo_trial):
    path = pw.demo("trial_first.csv")
    for source in (str(path), path, [path], (str(path),), iter([path]), InputFile.of(path)):
        assert pw.read_trial(source).fingerprint == demo_trial.fingerprint
