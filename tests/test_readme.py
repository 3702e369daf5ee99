"""What the README tells people to type works as it says."""

import re
import shlex
import shutil
import tomllib
from dataclasses import replace
from pathlib import Path

import pytest

from pwindow.inputs import InputFile
from pwindow.product import read_product
from pwindow.study import PlatesStated, read_study
from pwindow.trials.stated_plates import read_plates
from tests.helpers.commands import run
from tests.helpers.remembered import remembering

ROOT = Path(__file__).resolve().parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"```(\w+)\n(.*?)```", README, flags=re.S)
COMMANDS = [
    line
    for language, block in BLOCKS
    if language == "sh"
    for line in block.splitlines()
    if line.startswith("pwindow ") and not line.startswith("pwindow serve")
]


def test_the_commands_were_found():
    asked = [
        "check",
        "speeds",
        "plates",
        "part",
        "predict",
        "fit",
        "calibrate",
        "review",
        "run-sheet",
        "add",
        "refit",
        "accept-change",
        "trace",
        "scans",
        "trials",
        "fits",
        "compare",
        "confirm",
    ]
    assert {command.split()[1] for command in COMMANDS} == set(asked)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A folder with the demo data, in which one command follows the other."""
    found = tmp_path_factory.mktemp("project")
    shutil.copytree(ROOT / "data_demo", found / "data_demo")
    with remembering():
        yield found


@pytest.mark.slow
@pytest.mark.parametrize("command", COMMANDS)
def test_command(command, folder, monkeypatch):
    monkeypatch.chdir(folder)
    done = run(*shlex.split(command)[1:])
    assert done.exit_code == 0, done.stderr
    assert done.stdout.strip()


@pytest.mark.slow
@pytest.mark.parametrize("block", [block for language, block in BLOCKS if language == "python"])
def test_python_block(block, capsys):
    exec(compile(block, "README.md", "exec"), {})
    assert "speed_high_m_min" in capsys.readouterr().out


def test_toml_blocks_are_a_product_and_a_study():
    readies, product, study, plates, scans = [block for language, block in BLOCKS if language == "toml"]
    assert read_product(InputFile("product.toml", product.encode())).name == "Grain moisture tag"
    assert read_study(InputFile("study.toml", study.encode())).rolls[0].id == "0412"
    assert read_study(InputFile("study.toml", readies.encode())).make_readies.known_from == 12
    of_plates = read_study(InputFile("study.toml", plates.encode()))
    assert replace(of_plates.plates, stated=frozenset(), measured=(), file="") == PlatesStated()
    assert len(read_plates([], of_plates).features) == 2
    of_scans = read_study(InputFile("study.toml", scans.encode())).scans
    assert (of_scans.foot, of_scans.instrument, of_scans.names) == (
        "three-deviations",
        "stylus",
        "{print}_*.csv",
    )


def test_the_test_command_is_what_continuous_integration_calls():
    command = next(
        line for line in README.splitlines() if line.startswith("python3 -m venv") and "-m pytest" in line
    )
    assert command.endswith(".venv/bin/python -m pytest")


def test_pictures_exist():
    for path in re.findall(r"!\[[^\]]*\]\(([^)]+)\)", README):
        assert (ROOT / path).is_file(), path


def test_every_dependency_has_its_reason():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    guide = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    needed = project["dependencies"] + sum(project["optional-dependencies"].values(), [])
    for requirement in needed:
        assert re.match(r"[\w-]+", requirement)[0] in guide, requirement
