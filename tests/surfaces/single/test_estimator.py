"""The surface as a scikit-learn estimator."""

import numpy as np
import pytest
from sklearn.model_selection import LeaveOneOut, cross_val_predict, cross_val_score
from sklearn.utils.estimator_checks import parametrize_with_checks

from pwindow.surfaces.single.estimator import SecondOrderSurface


@pytest.mark.slow
@parametrize_with_checks([SecondOrderSurface()])
def test_keeps_the_estimator_contract(estimator, check):
    check(estimator)


@pytest.fixture
def trial():
    rng = np.random.default_rng(6)
    x = np.column_stack([rng.uniform(30, 120, 60), rng.uniform(2, 8, 60), rng.uniform(20, 80, 60)])
    speed, volume = np.log(x[:, 0]), np.log(x[:, 1])
    return x, 0.8 * volume - 0.3 * speed - 0.2 * volume * speed + rng.normal(0, 0.05, 60)


@pytest.mark.slow
def test_cross_validation_leaves_out_as_leverage_says(trial):
    """Leave-one-out errors e/(1 - h), with the design coded by all rows or by those kept."""
    x, y = trial
    surface = SecondOrderSurface(scales=["log", "log", "linear"])
    errors = y - cross_val_predict(surface, x, y, cv=LeaveOneOut())
    fitted = surface.fit(x, y)
    matrix = fitted.design_.matrix(fitted._settings(x))
    leverage = np.diag(matrix @ np.linalg.pinv(matrix))
    np.testing.assert_allclose(errors, (y - fitted.predict(x)) / (1 - leverage), rtol=1e-8, atol=1e-12)


def test_cross_val_score_of_left_out_prints(trial):
    """Noise of 0.05 under a spread of 0.27 leaves an R² near 0.96."""
    x, y = trial
    scores = cross_val_score(SecondOrderSurface(scales=["log", "log", "linear"]), x, y, cv=5)
    assert scores.shape == (5,)
    assert 0.9 < scores.mean() < 0.99


def test_weights_are_repeats(trial):
    x, y = trial
    weights = np.random.default_rng(1).integers(0, 4, len(y))
    weighted = SecondOrderSurface().fit(x, y, sample_weight=weights)
    repeated = SecondOrderSurface().fit(np.repeat(x, weights, axis=0), np.repeat(y, weights))
    np.testing.assert_allclose(weighted.predict(x), repeated.predict(x), rtol=1e-9)


def test_terms_that_cannot_be_told_apart_are_left_out_and_named():
    x = np.array([[s, p] for s in (30.0, 60.0, 120.0) for p in (20.0, 80.0)])
    y = x[:, 0] + x[:, 1]
    assert SecondOrderSurface().fit(x, y).left_out_ == ("x1²",)
    with pytest.raises(ValueError, match="x1²"):
        SecondOrderSurface(strict=True).fit(x, y)


@pytest.mark.parametrize(
    "scales, x, message",
    [
        (["log"], [[1.0, 2.0], [3.0, 4.0]], "scales has 1 entries but X has 2 columns"),
        (["log", "root"], [[1.0, 2.0], [3.0, 4.0]], "root"),
        (["log", "linear"], [[0.0, 2.0], [3.0, 4.0]], "column 0 has values at or below zero"),
    ],
)
def test_refusals_say_what_is_wrong(scales, x, message):
    with pytest.raises(ValueError, match=message):
        SecondOrderSurface(scales=scales).fit(x, [1.0, 2.0])
