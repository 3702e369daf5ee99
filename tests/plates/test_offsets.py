"""What a process adds to its artwork."""

import math

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm

from pwindow.errors import UnusableInput
from pwindow.plates.offsets import offset_of
from pwindow.plates.spreads import taken

USUAL = taken(1.5, 7, "default")


def features_of(plates=4, widths=(20.0, 30.0, 45.0), directions=(0.0, 90.0), slope=0.05, bend=0.0, seed=2):
    rng = np.random.default_rng(seed)
    rows = []
    for at in range(plates):
        of_plate = 1.2 * rng.normal()
        for direction in directions:
            for width in widths:
                added = 3.0 + 2.0 * (direction == 90.0) + slope * width + bend * (width - 30.0) ** 2
                rows.append((f"P{at}", width, width + added + of_plate + 0.6 * rng.normal(), direction))
    return pd.DataFrame(rows, columns=["plate_id", "artwork", "size", "direction"])


def offset(features, otherwise=USUAL):
    return offset_of(features, otherwise, uncertain=5.0, resolution=5.3)


def test_coefficients_are_those_of_generalised_least_squares():
    """statsmodels' GLS with the covariance that the estimated variances give."""
    features = features_of().iloc[:-5]
    found = offset(features)
    plates = features["plate_id"].to_numpy()
    variances = found.spreads.components
    columns = np.column_stack(
        [
            features["direction"] == 0,
            features["direction"] == 90,
            features["artwork"] - features["artwork"].mean(),
        ]
    ).astype(float)
    covariance = variances.plate * (plates[:, None] == plates) + variances.feature * np.eye(len(plates))
    reference = sm.GLS(features["size"] - features["artwork"], columns, sigma=covariance).fit()
    assert found.fitted.coefficients == pytest.approx(reference.params.to_numpy(), rel=1e-9)
    ours = variances.plate * found.fitted.of_plate + variances.feature * found.fitted.of_feature
    assert ours == pytest.approx(reference.normalized_cov_params, rel=1e-8, abs=1e-12)


def test_balanced_plates_have_the_t_interval_of_plate_means():
    """One width on each plate: the average and its interval are those of a single sample."""
    features = features_of(plates=5, widths=(30.0,), directions=(0.0,))
    from scipy import stats

    expected = offset(features).at(30.0, 0.0)
    sizes = features["size"].to_numpy()
    low, high = stats.t.interval(0.95, 4, sizes.mean(), sizes.std(ddof=1) / 5**0.5)
    assert expected.value == pytest.approx(sizes.mean())
    assert (expected.low, expected.high) == (pytest.approx(low, abs=0.01), pytest.approx(high, abs=0.01))
    far = stats.t.ppf(0.975, 4) * sizes.std(ddof=1) * (1 + 1 / 5) ** 0.5
    assert expected.new_high - expected.value == pytest.approx(far, rel=5e-3)
    assert expected.degrees == pytest.approx(4.0, rel=0.02)


def test_the_inverse_gives_the_artwork_back():
    found = offset(features_of())
    for direction in (0.0, 90.0, None, 45.0):
        size = found.at(27.0, direction)
        artwork = found.needed(size.value, direction)
        assert artwork.value == pytest.approx(27.0)
        assert artwork.se == pytest.approx(size.se / (1.0 + found.slope))


@pytest.mark.parametrize(
    "widths, sloped", [((20.0, 30.0, 45.0), True), ((20.0, 30.0), False), ((20.0, 22.0, 30.0), False)]
)
def test_a_slope_takes_three_clearly_different_widths(widths, sloped):
    found = offset(features_of(widths=widths))
    assert found.sloped is sloped
    assert found.at(25.0).value - found.at(24.0).value == pytest.approx(1.0 + found.slope)


def test_a_slope_is_left_out_where_directions_stand_for_widths():
    features = features_of(directions=(0.0,))
    features["direction"] = features["artwork"].map({20.0: 0.0, 30.0: 45.0, 45.0: 90.0})
    assert not offset(features).sloped


def test_diagonals_are_one_direction_whatever_side_they_lean_to():
    found = offset(features_of(directions=(45.0, 135.0, 0.0)))
    assert found.levels == ("0", "45")


def test_a_direction_that_was_not_measured_is_less_certain():
    found = offset(features_of())
    known, other = found.at(30.0, 0.0), found.at(30.0, 45.0)
    assert other.value == pytest.approx((known.value + found.at(30.0, 90.0).value) / 2)
    assert other.se > found.spreads.new.sd > known.se
    assert "45°" in other.why and not known.why


def test_artwork_outside_what_was_measured_is_said():
    assert (
        offset(features_of()).at(60.0).why == "artwork of 60 µm is outside the 20 to 45 µm that were measured"
    )


def test_spreads_are_estimated_where_plates_share_features():
    found = offset(features_of())
    assert (found.spreads.basis, found.spreads.plates) == ("estimated", 4)
    assert found.spreads.words == "estimated from 4 plates"
    assert offset(features_of(plates=1)).spreads is USUAL
    apart = pd.concat(
        [features_of(plates=1), features_of(plates=1, widths=(25.0, 50.0)).assign(plate_id="Q")]
    )
    assert offset(apart).spreads is USUAL


def test_one_plate_is_as_uncertain_as_plates_differ():
    expected = offset(features_of(plates=1)).at(30.0, 0.0)
    assert expected.se > USUAL.plate.sd, "of one plate the plate itself is not averaged out"


def test_what_was_not_measured_adds_nothing_give_or_take():
    found = offset(features_of().iloc[:0])
    expected = found.at(30.0, 90.0)
    assert (expected.value, expected.se) == (30.0, pytest.approx(5.0))
    variance_of_t = 1.5**2 * 6 / (6 - 2)  # known as from seven plates
    assert expected.spread == pytest.approx((25.0 + variance_of_t) ** 0.5, rel=1e-2)
    assert expected.why == "not measured: 0 ± 5 µm taken"
    assert math.isnan(found.lack_of_fit) and found.tried is None


def test_a_bent_offset_is_found_out():
    assert offset(features_of(bend=0.02)).lack_of_fit < 0.001
    assert offset(features_of()).lack_of_fit > 0.01


def test_plates_that_do_not_follow_their_artwork():
    with pytest.raises(UnusableInput, match="measure more sizes"):
        offset(features_of(slope=-0.95)).needed(30.0)
