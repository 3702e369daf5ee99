"""The command that says what a part asks of its print."""

import pwindow as pw
from tests.helpers.commands import answer, run


def test_part_prints_one_document():
    found = answer("part", pw.demo("mesh.toml"), "--study", pw.demo("study.toml"))
    assert set(found) == {
        "product",
        "sheet_resistance_most_ohm",
        "line_resistance_per_mm_most_ohm",
        "section_area_least_um2",
        "line_width_most_um",
        "chain",
        "notes",
    }
    assert found["sheet_resistance_most_ohm"] == 3.8
    assert set(found["chain"][0]) == {
        "link",
        "label",
        "bound",
        "value",
        "unit",
        "requirement",
        "approximation",
    }


def test_part_says_in_words_what_asks_for_what():
    text = run("part", pw.demo("mesh.toml")).stdout
    assert "sheet resistance at most 3.8 Ω" in text
    assert "line resistance at most 4.22 Ω/mm, for the sheet resistance" in text
    assert "line width at most 67.8 µm, for the open area" in text
    assert "cross-section" not in text


def test_part_refuses_what_is_no_product(tmp_path):
    bad = tmp_path / "part.toml"
    bad.write_text('name = "part"\n[requirements.line_width]\nmost = "85"\n', encoding="utf-8")
    found = run("part", bad)
    assert found.exit_code == 1
    assert not found.stdout
    assert "85" in found.stderr
