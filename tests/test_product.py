"""Product files: what is taken, what is refused, and how well it is said."""

import pytest

import pwindow as pw
from pwindow.errors import DeclarationProblem, UnusableInput
from pwindow.inputs import InputFile

TAG = pw.demo("tag.toml").read_text(encoding="utf-8")
MESH = pw.demo("mesh.toml").read_text(encoding="utf-8")
VOLTAGE = '\n[requirements.voltage_drop]\nmost = "100 mV"\ntile = "100 mm"\ncurrent_density = "10 A/m²"\n'


def read(text):
    return pw.read_product(InputFile("part.toml", text if isinstance(text, bytes) else text.encode()))


def swapped(old, new, text=TAG):
    assert old in text
    return text.replace(old, new)


def test_the_tag_as_written():
    product = read(TAG)
    assert product.name == "Grain moisture tag"
    assert [r.wording() for r in product.requirements] == [
        "line resistance at most 330 Ω",
        "line width at most 70 µm",
        "gap at least 16 µm and at most 42 µm",
    ]
    assert product.requirements[0].parameters == {"length": 80.0}
    assert product.requirements[2].parameters == {"count": 48}
    pattern, assurance = product.pattern, product.assurance
    assert (pattern.plate, pattern.plate_width, pattern.plate_gap, pattern.direction) == (
        "laser-imaged",
        30,
        60,
        0,
    )
    assert (assurance.level, assurance.speed_tolerance, assurance.pressure_tolerance) == (
        0.95,
        0.02,
        "5 µm",
    )


def test_units_are_converted():
    product = read(
        swapped('"330 ohm"', '"0.33 kΩ"').replace('"80 mm"', '"8 cm"').replace('"70 µm"', '"0.07 mm"')
    )
    assert product.requirements[0].most == pytest.approx(330.0)
    assert product.requirements[0].parameters["length"] == pytest.approx(80.0)
    assert product.requirements[1].most == pytest.approx(70.0)


def test_defaults_of_a_short_product():
    product = read('[requirements.gap]\nleast = "15 µm"\n')
    assert product.name == "part"
    assert product.requirements[0].parameters == {"count": 1}
    assert product.assurance.level == 0.95 and product.assurance.speed_tolerance == 0


def test_byte_order_mark():
    assert read(b"\xef\xbb\xbf" + TAG.encode()) == read(TAG)


def test_with_assurance():
    assert read(TAG).with_assurance(0.8).assurance.level == 0.8
    with pytest.raises(UnusableInput, match="probability between 0 and 1"):
        read(TAG).with_assurance(1.0)


REFUSED = {
    "misspelt limit": (
        swapped('most = "70 µm"', 'mots = "70 µm"'),
        ["“mots”", "line_width", "least, most"],
    ),
    "misspelt requirement": (
        swapped("requirements.line_width", "requirements.linewidth"),
        ["“linewidth”", "line_width"],
    ),
    "misspelt table": (
        swapped("requirements.gap", "requirement.gap"),
        ["“requirement”", "[requirements"],
    ),
    "misspelt pattern": (swapped("plate_gap", "plategap"), ["“plategap”", "plate_gap"]),
    "misspelt tolerance": (
        swapped("speed_tolerance", "speed_tol"),
        ["“speed_tol”", "speed_tolerance"],
    ),
    "bare number": (swapped('"330 ohm"', "330"), ["line_resistance", "most", "“330”", "“330 Ω”"]),
    "number in quotes": (swapped('"330 ohm"', '"330"'), ["without a unit", "“330 Ω”"]),
    "wrong dimension": (swapped('"330 ohm"', '"330 mm"'), ["line_resistance", "“mm”", "“Ω”"]),
    "unknown unit": (swapped('"330 ohm"', '"330 ohmm"'), ["“ohmm”"]),
    "contradiction": (swapped('"16 µm"', '"46 µm"'), ["gap", "46", "42"]),
    "equal limits": (swapped('"16 µm"', '"42 µm"'), ["gap", "42"]),
    "no limit": (swapped('most = "70 µm"\n', ""), ["line_width", "least", "most"]),
    "negative limit": (swapped('"70 µm"', '"-70 µm"'), ["line_width", "above zero"]),
    "infinite limit": (swapped('"70 µm"', '"1e999 µm"'), ["line_width"]),
    "no length": (swapped('length = "80 mm"\n', ""), ["line_resistance", "“length”", "mm"]),
    "zero length": (swapped('"80 mm"', '"0 mm"'), ["length", "above zero"]),
    "negative length": (swapped('"80 mm"', '"-80 mm"'), ["length", "above zero"]),
    "count 0": (swapped("count = 48", "count = 0"), ["gap", "“0”", "whole number"]),
    "count 1.5": (swapped("count = 48", "count = 1.5"), ["gap", "“1.5”", "whole number"]),
    "count true": (swapped("count = 48", "count = true"), ["gap", "whole number"]),
    "level 0": (swapped("level = 0.95", "level = 0"), ["“0”", "between 0 and 1"]),
    "level 1": (swapped("level = 0.95", "level = 1"), ["“1”", "between 0 and 1"]),
    "level 95": (swapped("level = 0.95", "level = 95"), ["“95”", "between 0 and 1"]),
    "level nan": (swapped("level = 0.95", "level = nan"), ["between 0 and 1"]),
    "negative tolerance": (swapped('"2 %"', '"-2 %"'), ["speed_tolerance"]),
    "tolerance of all the speed": (swapped('"2 %"', '"100 %"'), ["speed_tolerance"]),
    "bare tolerance": (swapped('"2 %"', "0.02"), ["speed_tolerance", "“0.02”", "%"]),
    "negative pressure tolerance": (swapped('"5 µm"', '"-5 µm"'), ["pressure_tolerance"]),
    "pressure tolerance in percent": (
        swapped('"5 µm"', '"5 %"'),
        ["pressure_tolerance", "µm, N/mm, kPa"],
    ),
    "bare pressure tolerance": (swapped('"5 µm"', "5"), ["pressure_tolerance", "µm, N/mm, kPa"]),
    "zero plate width": (swapped('"30 µm"', '"0 µm"'), ["plate_width"]),
    "no pitch": (
        swapped('pitch = "900 µm"\n', "", MESH),
        ["sheet resistance", "pitch", "[pattern]"],
    ),
    "zero pitch": (swapped('"900 µm"', '"0 µm"', MESH), ["pitch", "above zero"]),
    "negative pitch": (swapped('"900 µm"', '"-900 µm"', MESH), ["pitch", "above zero"]),
    "unknown layout": (
        swapped('"square mesh"', '"hexagons"', MESH),
        ["“hexagons”", "parallel lines"],
    ),
    "open area over 100 %": (swapped('"85.5 %"', '"120 %"', MESH), ["open_area"]),
    "negative undercoat": (
        swapped('most = "3.8 ohm"', 'most = "3.8 ohm"\nundercoat = "-5 ohm"', MESH),
        ["undercoat"],
    ),
    "no tile": (MESH + swapped('tile = "100 mm"\n', "", VOLTAGE), ["voltage_drop", "“tile”"]),
    "zero tile": (MESH + swapped('"100 mm"', '"0 mm"', VOLTAGE), ["tile", "above zero"]),
    "negative current": (
        MESH + swapped('"10 A/m²"', '"-10 A/m²"', VOLTAGE),
        ["current_density", "above zero"],
    ),
    "unknown contacts": (MESH + VOLTAGE + 'contacts = "five"\n', ["“five”", "two opposite"]),
    "no requirement": ('name = "x"\n', ["no requirement", "[requirements."]),
    "empty": ("", ["no requirement"]),
    "requirement without a table": (
        '[requirements]\nline_width = "70 µm"\n',
        ["line_width", "table"],
    ),
    "requirements as a list": ("requirements = [1]", ["requirements", "table"]),
    "broken TOML": ("[requirements", ["TOML", "part.toml"]),
    "a study": (pw.demo("study.toml").read_text(encoding="utf-8"), ["“ink”", "“rolls”"]),
    "UTF-16": (TAG.encode("utf-16"), ["UTF-8", "part.toml"]),
    "Windows-1252": (TAG.encode("cp1252"), ["UTF-8", "part.toml"]),
    "noise": (bytes(range(256)), ["UTF-8"]),
}


@pytest.mark.parametrize("text, words", REFUSED.values(), ids=REFUSED.keys())
def test_refused_with_a_reason_that_names_it(text, words):
    with pytest.raises(DeclarationProblem) as caught:
        read(text)
    reason = str(caught.value)
    assert "part.toml" in reason
    assert [word for word in words if word not in reason] == []


def test_missing_file_and_directory(tmp_path):
    for path in (tmp_path / "none.toml", tmp_path):
        with pytest.raises(UnusableInput, match="check the path"):
            pw.read_product(path)


def test_two_spellings_of_a_place_are_one(tmp_path):
    """The same table is named the same way whatever is wrong in it."""
    with pytest.raises(DeclarationProblem, match=r"\[requirements\.line_width\]"):
        read(swapped('most = "70 µm"', 'mots = "70 µm"'))
