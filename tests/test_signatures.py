"""Arguments that one cannot tell apart by their place are named where they are given."""

import ast
from pathlib import Path

import pytest

import pwindow as pw

ROOT = Path(pw.__file__).parent
MODULES = sorted(path for path in ROOT.rglob("*.py") if "_shipped" not in path.parts)
MOST_BY_PLACE, MOST_FIELDS_BY_PLACE = 8, 5
FIELDS = "".join(f" a{at}: int\n" for at in range(MOST_FIELDS_BY_PLACE + 1))
DICTATED = {"transform_first_chunk", "__call__"}
"""Methods whose signature is that of a library which calls them by place."""


def is_truth(argument, default):
    """Whether an argument is declared or preset as true or false."""
    declared = argument.annotation is not None and ast.unparse(argument.annotation) in ("bool", "bool | None")
    return declared or isinstance(default, ast.Constant) and isinstance(default.value, bool)


def by_place(function):
    """Arguments that may be given by their place, each with its default."""
    arguments = function.args.posonlyargs + function.args.args
    missing = len(arguments) - len(function.args.defaults)
    return list(zip(arguments, [None] * missing + function.args.defaults))


def fields_by_place(node):
    """How many fields of a dataclass may be given by their place."""
    made = [ast.unparse(one) for one in node.decorator_list if ast.unparse(one).startswith("dataclass")]
    if not made or "kw_only=True" in made[0]:
        return 0
    fields = [one for one in node.body if isinstance(one, ast.AnnAssign)]
    ends = [at for at, one in enumerate(fields) if ast.unparse(one.annotation) == "KW_ONLY"]
    return ends[0] if ends else len(fields)


def objections(source):
    """Functions and records whose arguments cannot be told apart where they are called."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.ClassDef) and fields_by_place(node) > MOST_FIELDS_BY_PLACE:
            yield f"{node.name}: {fields_by_place(node)} fields by place"
        if not isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef) or node.name in DICTATED:
            continue
        given = by_place(node)
        if len(given) > MOST_BY_PLACE:
            yield f"{node.name}: {len(given)} arguments by place"
        yield from (
            f"{node.name}: {one.arg} is true or false" for one, preset in given if is_truth(one, preset)
        )


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(ROOT)))
def test_arguments_by_place_are_few_and_no_truths(path):
    assert list(objections(path.read_text(encoding="utf-8"))) == []


@pytest.mark.parametrize(
    "source",
    [
        "def f(a, b: bool): ...",
        "def f(a, b=True): ...",
        "async def f(b: bool | None = None): ...",
        f"@dataclass(frozen=True)\nclass C:\n{FIELDS}",
        f"def f({', '.join(f'a{at}' for at in range(MOST_BY_PLACE + 1))}): ...",
    ],
)
def test_the_rule_can_be_broken(source):
    assert len(list(objections(source))) == 1


def test_named_arguments_may_be_many_and_truths():
    assert list(objections(f"@dataclass(kw_only=True)\nclass C:\n{FIELDS}")) == []
    assert list(objections(f"def f(*, b: bool, {', '.join(f'a{at}' for at in range(20))}): ...")) == []
