"""Data flows one way: no module imports one to its right."""

import ast
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

import pwindow as pw

ROOT = Path(pw.__file__).parent
ORDER = [
    {"wording", "units", "inputs", "outputs", "errors", "shipped", "environment", "names"},
    {"markup"},
    {"overview"},
    {"declarations"},
    {"study", "product"},
    {"trials"},
    {"metrology"},
    {"plates"},
    {"surfaces", "conductors"},
    {"window"},
    {"workflows"},
    {"charts"},
    {"review"},
    {"panels"},
    {"server"},
    {"cli"},
]
ROOMS = {
    "surfaces": [
        {"model"},
        {"single"},
        {"posterior"},
        {"checks"},
        {"region", "fingerprint"},
        {"surfaces"},
        {"simulation", "findings", "agreement", "plate_effects"},
    ],
    "window": [
        {"requirements", "probability"},
        {"conformance"},
        {"confidence", "tails"},
        {"bands", "merging"},
        {"setup"},
        {"search"},
        {"window"},
        {"trade_offs"},
        {"shortfall"},
        {"run", "calibration", "orders"},
    ],
    "panels": [{"shared"}, {"set_up_speed", "trade_offs", "plates", "new_trial_data", "traces"}],
}
"""Within a part: no room imports one to its right, nor one beside it."""
PLACE = {name: at for at, names in enumerate(ORDER) for name in names}
MODULES = sorted(path for path in ROOT.rglob("*.py") if "_shipped" not in path.parts)


def part_of(path):
    return path.relative_to(ROOT).parts[0].removesuffix(".py")


def imported(path):
    """Dotted names that a module imports anywhere, also inside functions."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: a relative import hides where it leads"
            found |= {node.module} | {f"{node.module}.{alias.name}" for alias in node.names}
    return found


def wrong_way(path):
    own = PLACE[part_of(path)]
    inner = {name.split(".")[1] for name in imported(path) if name.startswith("pwindow.")}
    return sorted(name for name in inner if name in PLACE and PLACE[name] > own)


def test_every_part_has_its_place():
    assert {part_of(path) for path in MODULES} - {"__init__", "__main__"} == set(PLACE)


@pytest.mark.parametrize(
    "path", [p for p in MODULES if part_of(p) in PLACE], ids=lambda p: str(p.relative_to(ROOT))
)
def test_imports_lead_to_the_left(path):
    assert wrong_way(path) == []
    assert "pwindow" not in imported(path), "the public face stands right of everything"


@pytest.mark.parametrize("part", ROOMS)
def test_every_room_has_its_place(part):
    rooms = {
        path.relative_to(ROOT / part).parts[0].removesuffix(".py") for path in (ROOT / part).rglob("*.py")
    }
    assert rooms - {"__init__"} == set().union(*ROOMS[part])


@pytest.mark.parametrize("part", ROOMS)
def test_rooms_know_those_before_them(part):
    place = {name: at for at, names in enumerate(ROOMS[part]) for name in names}
    for path in (ROOT / part).rglob("*.py"):
        own = path.relative_to(ROOT / part).parts[0].removesuffix(".py")
        inner = {name.split(".")[2] for name in imported(path) if name.startswith(f"pwindow.{part}.")}
        known = (inner - {own}) & set(place)
        assert not [name for name in known if own in place and place[name] >= place[own]], path


def name_of(path):
    parts = path.relative_to(ROOT.parent).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def modules_known_by(path):
    """Modules of the package that a module imports; a name of a package counts for the package's own module."""
    names = set(map(name_of, MODULES))
    return {
        name
        for name in imported(path)
        if name in names
        and not any(other.startswith(f"{name}.") and other in names for other in imported(path))
    }


@pytest.mark.slow
def test_no_two_modules_know_each_other():
    known = {name_of(path): modules_known_by(path) for path in MODULES}
    try:
        TopologicalSorter(known).prepare()
    except CycleError as circle:
        pytest.fail(f"a circle of modules: {circle.args[1]}")


def test_the_rule_can_be_broken(tmp_path, monkeypatch):
    bad = tmp_path / "trials" / "bad.py"
    bad.parent.mkdir()
    bad.write_text("def f():\n    from pwindow.window import bands\n")
    monkeypatch.setitem(globals(), "ROOT", tmp_path)
    assert wrong_way(bad) == ["window"]


def outside(part):
    return {name.split(".")[0] for path in MODULES if part_of(path) == part for name in imported(path)}


def test_widgets_live_in_panels_only():
    for part in PLACE:
        if part not in ("panels", "cli"):
            assert not outside(part) & {"ipywidgets", "anywidget", "IPython"}, part


@pytest.mark.slow
def test_the_server_alone_knows_what_serves():
    for part in set(PLACE) - {"server"}:
        assert not outside(part) & {"voila", "tornado", "jupyter_server"}, part


def test_statistics_do_not_open_the_archive():
    for path in MODULES:
        if PLACE.get(part_of(path), 99) < PLACE["workflows"] and part_of(path) != "trials":
            assert not any(name.startswith("pwindow.trials.archive") for name in imported(path)), path


def test_html_is_made_behind_the_statistics():
    """Results say what there is to see of them; what makes HTML of it is known by the overview alone."""
    makes = {
        part_of(path)
        for path in MODULES
        if PLACE.get(part_of(path), 99) <= PLACE["workflows"]
        and any(
            name.split(".")[0] in ("jinja2", "markupsafe") or name == "pwindow.markup"
            for name in imported(path)
        )
    }
    assert makes == {"markup", "overview"}


def test_panels_and_charts_do_no_statistics():
    for part in ("panels", "charts"):
        assert not outside(part) & {"scipy", "statsmodels", "sklearn"}, part


def panels_importing(*names):
    """Modules of the panels that import one of these, or something in it, and the names they import."""
    return {
        str(path.relative_to(ROOT / "panels")): sorted(found)
        for path in MODULES
        if part_of(path) == "panels"
        and (found := {one for one in imported(path) for name in names if f"{one}.".startswith(f"{name}.")})
    }


def test_panels_open_no_database_and_integrate_nothing():
    """Workflows know the archive and windows their integrals; pages ask them."""
    databases = ("sqlite3", "sqlalchemy", "psycopg", "pwindow.trials.archive")
    assert panels_importing(*databases, "scipy", "pwindow.window.probability") == {}


def test_panels_read_the_environment_at_one_place():
    assert panels_importing("os") == {}
    assert list(panels_importing("pwindow.environment")) == ["shared/served.py"]


def test_the_truth_shares_no_code_with_the_package():
    script = Path(pw.demo("make_demo.py"))
    assert not [name for name in imported(script) if name.split(".")[0] == "pwindow"]
