"""``pwindow plates``: the contract of its JSON, what it says, and its refusals."""

import pytest

import pwindow as pw
from tests.helpers.commands import answer, refused, run

pytestmark = pytest.mark.slow
FILES = [str(pw.demo(name)) for name in ("trial_plates.csv", "plates.csv")]
ASKED = ["--product", str(pw.demo("sensor.toml")), "--study", str(pw.demo("study.toml"))]
ORDER = {
    "plate",
    "best_in",
    "plate_width_um",
    "plate_gap_um",
    "lip_width_um",
    "artwork_width_um",
    "artwork_gap_um",
    "fastest_speed_m_min",
    "slowest_speed_m_min",
    "fastest_speed_between_m_min",
    "speed_m_min",
    "roll",
    "pressure_um",
    "conformance",
    "conformance_interval",
    "in_trial_region",
}


@pytest.fixture(scope="module")
def found():
    return answer("plates", *FILES, *ASKED, "--json")


def test_orders_say_all_that_is_needed(found):
    assert list(found) == [
        "product",
        "assurance",
        "orders",
        "making",
        "depths",
        "least_certain",
        "trial",
        "notes",
        "lines",
        "gaps",
        "merging",
    ]
    assert all(set(order) == ORDER for order in found["orders"])
    assert {order["plate"] for order in found["orders"]} == {"film-imaged", "laser-imaged"}
    assert found["trial"]["files"] == ["trial_plates.csv"]


def test_gaps_follow_their_lips(found):
    """truth_plates.toml: closure is of the lip-to-lip width."""
    assert found["gaps"]["chosen"] == "lip-to-lip width"


def test_fifty_merges_where_seventy_five_holds(found):
    """Common practice, no source."""
    ends = [row for row in found["merging"]["plate_gaps"] if row["pressure_um"] == 80.0]
    half = next(row for row in ends if row["bridged"] == 0.5)
    assert 38.0 < half["plate_gap_um"] < 60.0
    last = [
        row for row in found["merging"]["curves"] if row["pressure_um"] == 80.0 and row["plate_gap_um"] > 75.0
    ]
    assert all(row["bridged"] < 0.001 for row in last)


def test_grooves_of_the_processes_are_as_deep_as_the_trade_knows_them(found):
    """At about 55 µm some 22 µm on a conventional plate and 10 µm on a digital one: common practice, no source."""
    film, laser, apart = found["depths"]
    assert film.startswith("film-imaged: a gap of") and " deep (" in film and "from lip to lip" in film
    assert laser.startswith("laser-imaged")
    assert apart.startswith("film-imaged less laser-imaged: +")


def test_a_gap_prints_what_is_left_of_it(found):
    known = [row for row in found["merging"]["plate_gaps"] if row["plate_gap_um"] is not None]
    assert all(0.0 < row["printed_gap_um"] < row["plate_gap_um"] for row in known if row["bridged"] < 0.1)


def test_it_reads_as_a_table(found):
    said = run("plates", *FILES, *ASKED).stdout
    first = found["orders"][0]
    assert f"{first['artwork_width_um']:.4g} × {first['artwork_gap_um']:.4g}" in said
    assert "estimated from 2 plates" in said
    assert "lines print" in said and "times as wide as on the plate" in said
    assert "printing it would tell most" in said


def test_a_trial_without_corners_is_refused_for_a_product_with_them():
    said = refused("plates", str(pw.demo("trial_first.csv")), *ASKED)
    assert "no plate can be judged" in said and "printed_radius of inner corners" in said


def test_a_trial_without_measured_plates_takes_common_practice(tmp_path):
    product = str(pw.demo("tag.toml"))
    said = run("plates", str(pw.demo("trial_first.csv")), "--product", product).stdout
    assert "no plate was measured" in said
    assert "common practice" in said
