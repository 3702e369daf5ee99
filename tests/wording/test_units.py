"""Units that numbers are shown in, held against the unit registry."""

import pytest

from pwindow.errors import UnitProblem
from pwindow.units import factor_between
from pwindow.wording import METRIC, chosen_units, metric, offered_units, setup_words, us_customary
from pwindow.wording.units import _CUSTOMARY, _EVERYWHERE


@pytest.mark.parametrize(
    "kept, name, factor", [(kept, *to) for kept, to in (*_CUSTOMARY.items(), *_EVERYWHERE.items())]
)
def test_factors_are_those_of_the_unit_registry(kept, name, factor):
    in_registry = {"Ω/mm": "ohm/mm", "Ω/in": "ohm/inch", "µΩ·cm": "µohm*cm", "Ω·m": "ohm*m"}
    expected = factor_between(in_registry.get(kept, kept), in_registry.get(name, name))
    assert factor == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize(
    "kind, text",
    [
        ("µm", "roll 2047, 1.97 thou, 324.1 ft/min"),
        ("N/mm", "roll 2047, 286 pli, 324.1 ft/min"),
        ("kPa", "roll 2047, 7.25 psi, 324.1 ft/min"),
    ],
)
def test_a_pressure_is_converted_within_its_kind(kind, text):
    assert setup_words("2047", 50.0, us_customary(kind), 98.8) == text


def test_units_are_asked_for_by_name_or_by_system():
    assert chosen_units("", METRIC) is METRIC
    assert chosen_units(" FT/MIN ,bcm", METRIC).names == ("ft/min", "BCM", "µm")
    mixed = chosen_units("ft/min", us_customary("kPa"))
    assert mixed == us_customary("kPa") and chosen_units("Metric", mixed) == metric("kPa")
    assert chosen_units("thou", METRIC).pressure.name == "thou", "an engagement is a length"
    assert chosen_units("thou", metric("N/mm")).names == ("m/min", "cm³/m²", "N/mm", "thou")


@pytest.mark.parametrize("text", ["psi", "furlong", "ft/min; BCM", "m/min, pli"])
def test_units_that_a_trial_does_not_have_are_refused(text):
    with pytest.raises(UnitProblem, match="is not offered: choose metric or us, or some of m/min"):
        chosen_units(text, METRIC)


def test_a_page_offers_each_choice_once():
    assert list(offered_units(METRIC)) == ["", "metric, ft/min, BCM", "us"]
    assert list(offered_units(us_customary())) == ["", "metric", "metric, ft/min, BCM"]
    assert list(offered_units(chosen_units("ft/min", METRIC))) == ["", "metric", "metric, ft/min, BCM", "us"]


@pytest.mark.parametrize("of_file", [METRIC, us_customary("kPa"), chosen_units("thou", metric("N/mm"))])
def test_each_offered_name_reads_as_the_units_it_was_offered_for(of_file):
    for name, units in offered_units(of_file).items():
        assert chosen_units(name, of_file) == units
