"""Quantities as people write them."""

import subprocess
import sys

import pytest

from pwindow import units
from pwindow.errors import UnitProblem
from pwindow.trials.columns import COLUMNS
from pwindow.units import factor_between, read_quantity, same_dimension, split_header


@pytest.mark.parametrize(
    "text, target, expected",
    [
        ("45 µm", "µm", 45.0),
        ("45um", "µm", 45.0),
        ("0,045 mm", "µm", 45.0),
        ("1.8 thou", "µm", 45.72),
        ("1 mil", "µm", 25.4),
        ("0.12 kohm", "Ω", 120.0),
        ("120 \u03a9", "Ω", 120.0),
        ("120 \u2126", "Ω", 120.0),
        ("3.8 ohm/sq", "Ω", 3.8),
        ("3.8 Ω/□", "Ω", 3.8),
        ("2 %", "1", 0.02),
        ("85.5 %", "%", 85.5),
        ("200 ft/min", "m/min", 60.96),
        ("2.5 BCM", "cm³/m²", 3.875008),
        ("9.5e-8 ohm m", "ohm*m", 9.5e-8),
        ("9.5 µΩ·cm", "ohm*m", 9.5e-8),
        ("10 mA/cm2", "A/m²", 100.0),
        ("0.1 V", "mV", 100.0),
        ("-5 µm", "µm", -5.0),
        ("+5 µm", "µm", 5.0),
        ("90 deg", "deg", 90.0),
        ("1e2 µm", "µm", 100.0),
        ("120 kPa", "kPa", 120.0),
        ("1.2 bar", "kPa", 120.0),
        ("4 kN/m", "N/mm", 4.0),
    ],
)
def test_quantity(text, target, expected):
    assert read_quantity(text, target) == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize("bare", [120, 120.5, "120", " 1e3 ", "0,5", True, None, [1]])
def test_a_bare_number_is_refused_with_an_example(bare):
    with pytest.raises(UnitProblem, match="without a unit: write it with its unit, for example “.* µm”"):
        read_quantity(bare, "µm")


@pytest.mark.parametrize(
    "text",
    [
        "",
        "µm",
        "inf µm",
        "nan µm",
        "1 200 µm",
        "1.200,5 µm",
        "5 5 µm",
        "ten µm",
        "5 parsnips",
        "5 µm/",
        "5 (",
        "5 m/0",
        '5 """',
        "0x10 µm",
        "1_000 µm",
        "5 °C",
    ],
)
def test_what_is_no_length(text):
    with pytest.raises(UnitProblem):
        read_quantity(text, "µm")


@pytest.mark.parametrize(
    "text, target",
    [
        ("5 µm", "Ω"),
        ("5 ohm", "ohm*m"),
        ("5 m", "m/min"),
        ("5 kPa", "µm"),
        ("5 N/mm", "kPa"),
        ("5 %", "µm"),
        ("5 cm3", "cm³/m²"),
    ],
)
def test_another_dimension_is_refused_with_both_units(text, target):
    with pytest.raises(UnitProblem) as caught:
        read_quantity(text, target)
    assert f"“{text.split()[1]}”" in str(caught.value) and f"“{target}”" in str(caught.value)


def test_a_number_too_large_to_hold_is_refused():
    with pytest.raises(UnitProblem):
        read_quantity("1e999 µm", "µm")


@pytest.mark.slow
def test_a_unit_does_not_compute():
    """A header is text from outside: reading its unit must not take long, whatever it says."""
    code = (
        "from pwindow.units import factor_between\nfrom pwindow.errors import UnitProblem\n"
        "try:\n factor_between('9**9**9', 'm')\nexcept UnitProblem:\n print('refused')"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=15, check=False
    )
    assert done.stdout.strip() == "refused"


def test_bcm_by_its_definition():
    """10⁹ µm³ are 10⁻³ cm³; a square inch is 6.4516 cm²."""
    assert factor_between("BCM", "cm³/m²") == pytest.approx(1e-3 / 6.4516e-4, rel=1e-12)


@pytest.mark.parametrize(
    "unit, target, factor",
    [
        ("Ohm", "ohm", 1.0),
        ("kOhms", "ohm", 1000.0),
        ("FPM", "m/min", 0.3048),
        ("MPM", "m/min", 1.0),
        ("BCM/in²", "cm³/m²", 1e-3 / 6.4516e-4),
        ("bcm/in2", "cm³/m²", 1e-3 / 6.4516e-4),
    ],
)
def test_spellings_of_instruments_and_certificates(unit, target, factor):
    assert factor_between(unit, target) == pytest.approx(factor, rel=1e-9)


@pytest.mark.parametrize(
    "header, parts",
    [
        ("speed [m/min]", ("speed", "m/min")),
        ("  speed[ m/min ] ", ("speed", "m/min")),
        ("print", ("print", None)),
        ("gap []", ("gap", None)),
        ("speed [m/min", ("speed [m/min", None)),
        ("", ("", None)),
        ("speed (m/min)", ("speed", "m/min")),
        ("speed (m/min", ("speed (m/min", None)),
    ],
)
def test_headers(header, parts):
    assert split_header(header) == parts


def test_same_dimension():
    assert same_dimension("psi", "kPa") and not same_dimension("pli", "kPa")


WRITTEN = str.maketrans({"²": "2", "³": "3", "µ": "u", "Ω": "ohm"})
KEPT = sorted({unit for column in COLUMNS.values() for unit in column.units})


@pytest.mark.parametrize("target", KEPT)
def test_what_the_registry_is_not_asked_for_is_what_it_would_say(target, monkeypatch):
    spellings = (target, f" {target} ", target.translate(WRITTEN), target.replace("µ", "\u03bc"))
    monkeypatch.setattr(units, "_one_unit", lambda text, other: False)
    said = [factor_between.__wrapped__(text, target) for text in spellings]
    assert said == pytest.approx([1.0] * len(spellings), rel=1e-12)


def test_a_unit_that_is_kept_needs_no_registry(monkeypatch):
    monkeypatch.setattr(units, "registry", lambda: pytest.fail("asked"))
    for target in KEPT:
        written = target.translate(WRITTEN)
        assert same_dimension(written, target) and factor_between.__wrapped__(written, target) == 1.0
