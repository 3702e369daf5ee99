"""What a part asks of its print, against the window's own quantities and figures worked by hand."""

import numpy as np
import pytest

import pwindow as pw
from pwindow.conductors.line import log_resistance_constant
from pwindow.conductors.mesh import log_sheet_resistance_constant, open_area
from pwindow.product import Pattern, Product, Requirement
from pwindow.window.requirements.asked import what_is_asked

MESH = Pattern(pitch=900.0)


def values(*requirements, pattern=MESH, resistivity=None):
    asked = what_is_asked(Product("part", requirements, pattern), resistivity)
    return {ask.key: ask.value for ask in asked.asks}


def test_line_that_just_suffices_makes_a_mesh_that_just_suffices():
    """Section area A at the limit: ρp/A is the sheet resistance asked for, ρL/A the line's."""
    found = values(Requirement("sheet_resistance", most=3.8), resistivity=9.5e-8)
    log_section = np.log(found["section_area_least_um2"])
    sheet = np.exp(np.log(9.5e-8) - log_section + log_sheet_resistance_constant(900.0, 1.0))
    line = np.exp(np.log(9.5e-8) - log_section + log_resistance_constant(1.0, 1.0))
    assert sheet == pytest.approx(3.8)
    assert line == pytest.approx(found["line_resistance_per_mm_most_ohm"])


def test_tile_is_carried_down_to_the_line():
    """100 mm, 10 A/m², one side: 50 mV for each ohm, so 25 mV ask for 0.5 Ω; over 1 Ω, 1 Ω of lines alone."""
    drop = {"tile": 100.0, "current_density": 10.0, "contacts": "one side"}
    found = values(
        Requirement("voltage_drop", most=25.0, parameters=drop),
        Requirement("sheet_resistance", most=0.5, parameters={"undercoat": 1.0}),
    )
    assert found["sheet_resistance_most_ohm"] == pytest.approx(0.5)
    assert found["mesh_sheet_resistance_most_ohm"] == pytest.approx(1.0)
    assert found["line_resistance_per_mm_most_ohm"] == pytest.approx(0.5 / 0.9)


def test_strictest_requirement_rules_each_link():
    found = values(
        Requirement("open_area", least=81.0),
        Requirement("line_width", most=60.0, least=20.0),
        Requirement("line_resistance", most=60.0, parameters={"length": 20.0}),
        pattern=Pattern(pitch=500.0),
        resistivity=6e-8,
    )
    assert found["line_width_most_um"] == pytest.approx(50.0)
    assert open_area(found["line_width_most_um"], 500.0, "square mesh") == pytest.approx(81.0)
    assert found["line_width_least_um"] == 20.0
    assert found["line_resistance_per_mm_most_ohm"] == pytest.approx(3.0)
    assert found["section_area_least_um2"] == pytest.approx(20.0)


def test_undercoat_that_meets_the_requirement_asks_nothing_of_the_lines():
    product = Product(
        "part", (Requirement("sheet_resistance", most=5.0, parameters={"undercoat": 4.0}),), MESH
    )
    asked = what_is_asked(product)
    assert [ask.link for ask in asked.asks] == ["sheet"]
    assert asked.notes == (
        "sheet resistance: the undercoat alone has 4 Ω, which already meets the 5 Ω asked for, so nothing is asked "
        "of the lines",
    )


@pytest.mark.parametrize(
    ("file", "ruled_out"),
    [
        ("tag.toml", set()),
        ("sensor.toml", set()),
        ("mesh.toml", {"line_width"}),  # its open area asks for narrower lines
    ],
)
def test_every_requirement_of_the_demo_is_carried_down(file, ruled_out):
    product = pw.read_product(pw.demo(file))
    asked = what_is_asked(product, 9.5e-8)
    gone = {requirement.name for requirement in product.requirements} - {
        ask.requirement for ask in asked.asks
    }
    assert gone == ruled_out
    links = [ask.link for ask in asked.asks]
    assert links == sorted(links, key=("sheet", "mesh", "line", "gap").index)


def test_limit_that_is_not_carried_down_is_told():
    product = Product(
        "part", (Requirement("line_resistance", least=50.0, most=60.0, parameters={"length": 20.0}),), MESH
    )
    asked = what_is_asked(product)
    assert [ask.key for ask in asked.asks] == ["line_resistance_per_mm_most_ohm"]
    assert asked.notes == ("line resistance at least 50 Ω is not carried down to lines; a trial judges it",)
