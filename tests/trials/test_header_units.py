"""Units in headers, against values worked out by hand from the definitions of the units."""

import numpy as np
import pytest

from pwindow.errors import TrialProblem
from tests.helpers.trials import read_text

CASES = [
    ("speed", "ft/min", 196.85, 60.0),  # 1 ft = 0.3048 m exactly
    ("speed", "m/s", 1.5, 90.0),
    ("speed", "fpm", 100.0, 30.48),
    ("cell_volume", "BCM", 2.0, 3.1000),  # 10⁹ µm³/in² ÷ 6.4516 cm²/in²
    ("cell_volume", "cc/m2", 4.4, 4.4),
    ("cell_volume", "ml/m²", 4.4, 4.4),
    ("pressure", "thou", 2.0, 50.8),
    ("pressure", "mil", 2.0, 50.8),  # not the angle
    ("pressure", "mm", 0.05, 50.0),
    ("plate_width", "thou", 1.0, 25.4),
    ("line_height", "nm", 800.0, 0.8),
    ("line_width", "mm", 0.062, 62.0),
    ("section_area", "µm2", 30.0, 30.0),
    ("resistance", "mΩ", 11500.0, 11.5),
    ("resistance", "kohm", 0.0115, 11.5),
    ("resistance", "ohm", 11.5, 11.5),
    ("line_length", "cm", 0.5, 5.0),
    ("direction", "rad", np.pi / 2, 90.0),
]
BASE = {
    "speed": 60.0,
    "cell_volume": 4.4,
    "pressure": 50.0,
    "plate_width": 30.0,
    "line_height": 0.8,
    "line_width": 62.0,
    "section_area": 30.0,
    "resistance": 11.5,
    "line_length": 5.0,
    "direction": 0.0,
}
UNITS = {
    "speed": "m/min",
    "cell_volume": "cm3/m2",
    "pressure": "um",
    "plate_width": "um",
    "line_height": "um",
    "line_width": "um",
    "section_area": "um2",
    "resistance": "Ω",
    "line_length": "mm",
    "direction": "deg",
}


def one_row(column, unit, value):
    values, units = BASE | {column: value}, UNITS | {column: unit}
    return (
        "print,"
        + ",".join(f"{name} [{units[name]}]" for name in values)
        + "\nP1,"
        + ",".join(f"{item!r}" for item in map(float, values.values()))
        + "\n"
    )


@pytest.mark.parametrize("column, unit, written, expected", CASES)
def test_value_is_converted(column, unit, written, expected):
    trial = read_text(one_row(column, unit, written))
    assert trial.features[column][0] == pytest.approx(expected, rel=2e-5)
    assert trial.notes == ()


@pytest.mark.parametrize("sign", ["\u2126", "\u03a9"])
def test_both_ohm_signs(sign):
    assert read_text(one_row("resistance", sign, 11.5)).features["resistance"][0] == 11.5


@pytest.mark.parametrize("micro", ["\u00b5", "\u03bc"])
def test_both_micro_signs(micro):
    assert read_text(one_row("line_width", f"{micro}m", 62.0)).features["line_width"][0] == 62.0


@pytest.mark.parametrize(
    "unit, written, kept, expected, key",
    [
        ("kPa", 120.0, "kPa", 120.0, "pressure_kpa"),
        ("bar", 1.2, "kPa", 120.0, "pressure_kpa"),
        ("psi", 10.0, "kPa", 68.9476, "pressure_kpa"),
        ("N/mm", 4.0, "N/mm", 4.0, "pressure_n_mm"),
        ("kN/m", 4.0, "N/mm", 4.0, "pressure_n_mm"),
        ("pli", 10.0, "N/mm", 1.75127, "pressure_n_mm"),
        ("mil", 1.0, "µm", 25.4, "pressure_um"),
    ],
)
def test_kind_of_pressure_follows_its_unit(unit, written, kept, expected, key):
    trial = read_text(one_row("pressure", unit, written))
    assert trial.pressure_unit == kept
    assert trial.pressure_key == key
    assert trial.features["pressure"][0] == pytest.approx(expected, rel=1e-5)


def test_no_unit_is_read_as_the_kept_unit_and_said():
    trial = read_text(one_row("speed", "m/min", 60.0).replace("speed [m/min]", "speed"))
    assert trial.features["speed"][0] == 60.0
    assert any("“speed” has no unit; read as m/min" in note for note in trial.notes)


@pytest.mark.parametrize(
    "column, unit",
    [
        ("speed", "m"),
        ("cell_volume", "cm3"),
        ("pressure", "%"),
        ("line_height", "µg"),
        ("speed", "furlong/feast"),
        ("resistance", "Ω/mm"),
        ("pressure", "kg"),
        ("speed", "m/0"),
        ("speed", "("),
        ("speed", "°C"),
    ],
)
def test_wrong_unit_is_refused_by_column_and_unit(column, unit):
    with pytest.raises(TrialProblem) as caught:
        read_text(one_row(column, unit, 1.0))
    (problem,) = caught.value.problems
    assert (problem.row, problem.column, problem.value) == (1, column, unit)
    assert UNITS[column].replace("um", "µm").replace("cm3/m2", "cm³/m²") in problem.mend
