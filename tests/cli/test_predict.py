"""``pwindow predict``: points, intervals, and what a set-up must say."""

import numpy as np
import pytest

from tests.helpers.commands import answer, misused, run

AT = "speed=60 m/min, roll=1318, pressure=50 µm"
INTERVAL = ["mean", "mean_ci_low", "mean_ci_high", "obs_ci_low", "obs_ci_high", "most_low", "most_high"]


def point_at(answer, first, at, *more):
    (point,) = answer("predict", first, "--at", at, *more)["points"]
    return point


@pytest.mark.slow
def test_document(first, tag_file):
    found = answer("predict", first, "--at", AT, "--product", tag_file)
    assert list(found) == ["points", "trial", "assurance"]
    (point,) = found["points"]
    assert list(point) == [
        "at",
        "in_trial_region",
        "responses",
        "conformance",
        "conformance_interval",
        "sampling_error",
    ]
    assert point["at"] == {
        "speed_m_min": 60.0,
        "cell_volume_cm3_m2": pytest.approx(5.6),
        "pressure_um": 50.0,
        "plate": "laser-imaged",
        "plate_width_um": 30.0,
        "plate_gap_um": 60.0,
        "direction_deg": 0.0,
    }
    assert set(point["responses"]) == {
        "line_height_um",
        "line_width_um",
        "resistivity_ohm_m",
        "gap_closure_um",
        "gap_um",
        "line_resistance_ohm",
    }
    assert list(point["conformance"]) == ["joint", "line_resistance", "line_width", "gap"]


@pytest.mark.slow
def test_every_interval_is_in_order(first, tag_file):
    for response in point_at(answer, first, AT, "--product", tag_file)["responses"].values():
        assert list(response) == INTERVAL
        values = [
            response[name] for name in ("obs_ci_low", "mean_ci_low", "mean", "mean_ci_high", "obs_ci_high")
        ]
        assert values == sorted(values) and values[0] < values[-1]


@pytest.mark.slow
def test_gap_is_plate_gap_less_closure(first):
    found = point_at(answer, first, AT + ", plate=laser-imaged, plate_gap=75 µm")["responses"]
    assert found["gap_um"]["mean"] == pytest.approx(75.0 - found["gap_closure_um"]["mean"])
    assert found["gap_um"]["obs_ci_low"] == pytest.approx(75.0 - found["gap_closure_um"]["obs_ci_high"])


def test_predictions_lie_near_the_truth(first, make_demo):
    import pandas as pd

    truth = make_demo.expected(
        make_demo.read_truth(),
        pd.DataFrame(
            [
                {
                    "speed": 60.0,
                    "cell_volume": 5.6,
                    "pressure": 50.0,
                    "plate": "laser-imaged",
                    "plate_gap": 75.0,
                }
            ]
        ),
    ).iloc[0]
    found = point_at(answer, first, AT + ", plate=laser-imaged, plate_gap=75 µm")["responses"]
    assert found["line_height_um"]["mean"] == pytest.approx(np.exp(truth["log_height"]), rel=0.05)
    assert found["line_width_um"]["mean"] == pytest.approx(np.exp(truth["log_width"]), rel=0.03)
    assert found["gap_closure_um"]["mean"] == pytest.approx(truth["closure"], abs=2.5)


def test_several_points(first, tag_file):
    found = answer(
        "predict",
        first,
        "--product",
        tag_file,
        "--at",
        AT,
        "--at",
        "speed=80 m/min",
        "--at",
        "speed=196.85 ft/min; cell_volume=3 BCM",
    )["points"]
    assert [point["at"]["speed_m_min"] for point in found] == pytest.approx([60.0, 80.0, 60.0], rel=1e-5)
    assert [point["at"]["cell_volume_cm3_m2"] for point in found] == pytest.approx([5.6, 5.6, 4.65], rel=1e-4)


def test_decimal_comma(first, tag_file):
    assert (
        point_at(answer, first, AT.replace("60 ", "60,5 "), "--product", tag_file)["at"]["speed_m_min"]
        == 60.5
    )


@pytest.mark.slow
def test_outside_the_trial_region_is_said(first, tag_file):
    at = AT.replace("60 ", "150 ")
    assert point_at(answer, first, at, "--product", tag_file)["in_trial_region"] is False
    result = run("predict", first, "--at", at, "--product", tag_file)
    assert "outside the trial region" in result.stderr and "OUTSIDE" in result.stdout
    assert "{" not in result.stderr


@pytest.mark.slow
@pytest.mark.parametrize("gap", [45.0, 75.0])
def test_conformance_is_judged_at_the_plate_gap_that_was_typed(first, tag_file, gap):
    """At 45 µm the predicted gap is 10 µm where 16 are asked for: hardly any run conforms.

    Refusing a plate gap that is not the product's would be as good.
    """
    result = run("predict", first, "--at", AT + f", plate_gap={gap:g} µm", "--product", tag_file)
    if result.exit_code != 0:
        assert result.exit_code in (1, 2) and "plate_gap" in result.stderr
        return
    point = point_at(answer, first, AT + f", plate_gap={gap:g} µm", "--product", tag_file)
    mean = point["responses"]["gap_um"]["mean"]
    if not 16.0 < mean < 42.0:
        assert point["conformance"]["gap"] < 0.5 and point["conformance"]["joint"] < 0.5


@pytest.mark.slow
@pytest.mark.parametrize(
    "at, word",
    [
        ("", "name=value"),
        ("speed", "name=value"),
        ("speed=", "name=value"),
        ("sped=60 m/min", "“sped=60 m/min”"),
        ("speed=60", "without a unit"),
        ("speed=60 kg", "“kg”"),
        ("speed=60 m/min", "plate"),
        ("speed=60 m/min, plate=laser-imaged, pressure=50 µm", "cell_volume"),
        ("roll=1318, plate=laser-imaged, pressure=50 µm", "speed"),
        ("speed=60 m/min, plate=laser-imaged, roll=1318", "pressure"),
        (AT + ", plate=engraved", "“engraved”"),
        (AT.replace("1318", "77") + ", plate=laser-imaged", "“77”"),
        (AT.replace("60", "-60") + ", plate=laser-imaged", "above zero"),
        (AT.replace("60", "0") + ", plate=laser-imaged", "above zero"),
        (AT.replace("60", "1e999") + ", plate=laser-imaged", "speed"),
        (AT.replace("µm", "kPa") + ", plate=laser-imaged", "kPa"),
    ],
)
def test_wrong_usage(first, at, word):
    assert word in misused("predict", first, "--at", at, "--json")


def test_no_point(first):
    assert "--at" in misused("predict", first)


@pytest.mark.slow
def test_a_plate_the_product_does_not_use(first, tag_file):
    assert "laser-imaged" in misused(
        "predict", first, "--at", AT + ", plate=film-imaged", "--product", tag_file
    )
