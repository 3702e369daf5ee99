"""Products and studies that are too large, too deep or too long are refused, soon and in few words."""

import time

import pytest

import pwindow as pw
from pwindow.errors import DeclarationProblem
from pwindow.inputs import InputFile

TAG = pw.demo("tag.toml").read_text(encoding="utf-8")
LONG = {
    "dotted keys": "a" + ".a" * 200_000 + " = 1",
    "three million keys": "\n".join(f"k{at} = 1" for at in range(3_000_000)),
    "brackets": "a = " + "[" * 20_000,
    "brackets in lines": "a = " + "[\n" * 20_000,
    "tables in tables": "a = " + "{a=" * 20_000,
    "digits": "a = " + "9" * 5_000,
    "hexadecimal digits": "a = 0x" + "f" * 900,
    "one long line": "a = '" + "x" * 50_000 + "'",
    "many unknown keys": "\n".join(f"k{at} = 1" for at in range(5_000)),
    "many dotted keys": "\n".join(f"k{at}" + ".a" * 400 + " = 1" for at in range(100)),
}


@pytest.mark.slow
@pytest.mark.parametrize("read", [pw.read_product, pw.read_study])
@pytest.mark.parametrize("text", LONG.values(), ids=LONG.keys())
def test_long_files(read, text):
    start = time.process_time()
    with pytest.raises(DeclarationProblem) as caught:
        read(InputFile("part.toml", text.encode()))
    assert time.process_time() - start < 10
    assert len(str(caught.value)) < 600


@pytest.mark.parametrize(
    "count",
    ["9" * 400, "9" * 900, "0x" + "f" * 900, "9_000_000_000_000_000_000", "9e18", "1000001", "0", "-1"],
)
def test_counts_that_no_part_has(count):
    text = TAG.replace("count = 48", f"count = {count}")
    assert text != TAG
    with pytest.raises(DeclarationProblem) as caught:
        pw.read_product(InputFile("part.toml", text.encode()))
    assert len(str(caught.value)) < 300


@pytest.mark.parametrize("key", ["name", "plate", "level"])
@pytest.mark.parametrize("value", ["0x" + "f" * 900, "-" + "9" * 900])
def test_integers_beyond_those_of_the_format(key, value):
    lines = [f"{key} = {value}" if line.startswith(f"{key} =") else line for line in TAG.splitlines()]
    with pytest.raises(DeclarationProblem, match="digits"):
        pw.read_product(InputFile("part.toml", "\n".join(lines).encode()))


def test_quantities_of_blanks():
    text = TAG.replace('most = "330 ohm"', 'most = "330 o' + " " * 900 + 'hm"')
    with pytest.raises(DeclarationProblem, match="too long"):
        pw.read_product(InputFile("part.toml", text.encode()))


def test_the_largest_count_is_judged(demo_surfaces):
    text = TAG.replace("count = 48", "count = 1_000_000")
    window = pw.find_window(demo_surfaces, pw.read_product(InputFile("part.toml", text.encode())))
    assert len(window.speed_bands()) == 0
