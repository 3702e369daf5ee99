"""A public function with three or more parameters says what each of them is."""

import ast
import inspect
import re
from pathlib import Path

import pytest

import pwindow as pw

ROOT = Path(pw.__file__).parent
MODULES = sorted(
    path
    for path in ROOT.rglob("*.py")
    if path.name == "__init__.py" or not any(part.startswith("_") for part in path.relative_to(ROOT).parts)
)
FEW = 2
"""Up to so many parameters, names and types may be enough."""
EXCEPTED = {"command", "group", "overload"}
"""Decorators: the docstring of a command is its help, and an overload has none."""


def decorators_of(node):
    called = [one.func if isinstance(one, ast.Call) else one for one in node.decorator_list]
    return {one.attr if isinstance(one, ast.Attribute) else one.id for one in called}


def public(body, owner=""):
    """Public functions, and public methods of public classes, with their dotted names."""
    for node in body:
        if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
            yield from public(node.body, f"{owner}{node.name}.")
        elif isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef) and not node.name.startswith("_"):
            yield f"{owner}{node.name}", node


def parameters_of(node, is_method):
    """Names of the parameters, without self or cls."""
    given = node.args
    names = [each.arg for each in given.posonlyargs + given.args]
    if is_method and "staticmethod" not in decorators_of(node):
        names = names[1:]
    names += [f"*{given.vararg.arg}"] if given.vararg else []
    names += [each.arg for each in given.kwonlyargs]
    return names + ([f"**{given.kwarg.arg}"] if given.kwarg else [])


def described_in(docstring):
    """Names to which the section of parameters gives a type."""
    section = re.search(r"^Parameters\n-{10}\n(.*?)(?=^[^\n]+\n-{3,}\n|\Z)", docstring, re.M | re.S)
    heads = re.findall(r"^(\S.*?) : \S", section[1], re.M) if section else []
    return [name for head in heads for name in head.split(", ")]


def faults_of(source):
    """What public functions of a module do not describe, or describe and do not have."""
    faults = []
    for name, node in public(ast.parse(source).body):
        parameters = parameters_of(node, is_method="." in name)
        described = described_in(inspect.cleandoc(ast.get_docstring(node) or ""))
        left_out = [each for each in parameters if each not in described]
        gone = [each for each in described if each not in parameters]
        if left_out and len(parameters) > FEW and not EXCEPTED & decorators_of(node):
            faults.append(f"{name} does not describe {', '.join(left_out)}")
        if gone:
            faults.append(f"{name} describes {', '.join(gone)}, which it does not have")
    return faults


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(ROOT)))
def test_parameters_are_described(path):
    assert faults_of(path.read_text(encoding="utf-8")) == []


COMPLETE = '''
class Press:
    @classmethod
    def of(cls, speed, *rolls, plate="", **other):
        """A press.

        Parameters
        ----------
        speed : float
            m/min.
        *rolls : Roll
        plate, **other : str

        Returns
        -------
        name : Press
        """
'''


def test_a_complete_docstring_passes():
    assert faults_of(COMPLETE) == []


@pytest.mark.parametrize(
    ("before", "after", "fault"),
    [
        ("        *rolls : Roll\n", "", "Press.of does not describe *rolls"),
        ("speed : float", "speed", "Press.of does not describe speed"),
        ("Parameters", "Settings", "Press.of does not describe speed, *rolls, plate, **other"),
        ("*rolls, plate", "plate", "Press.of describes *rolls, which it does not have"),
    ],
)
def test_the_rule_can_be_broken(before, after, fault):
    assert before in COMPLETE
    assert faults_of(COMPLETE.replace(before, after)) == [fault]


def test_commands_have_their_help():
    command = "@cli.command()\ndef fit(files, archive, study):\n    pass\n"
    assert faults_of(command) == []
    assert faults_of(command.partition("\n")[2]) == ["fit does not describe files, archive, study"]
