"""Artwork for a wanted print."""

import math

import numpy as np
import pytest
from joblib import Parallel, delayed
from scipy.stats import norm

import pwindow as pw
from pwindow.errors import UnusableInput
from pwindow.plates import PrintedWidth, artwork_for, plate_making
from pwindow.trials.stated_plates import read_plates
from tests.helpers.plate_truths import case

LINE = PrintedWidth(lambda width: 1.2 + 0.9 * math.log(width), lambda width: 0.04)


def process(text=""):
    from pwindow.inputs import InputFile

    return plate_making(read_plates([]), pw.read_study(InputFile("press.toml", text.encode()))).of("new")


CERTAIN = '[plate_making]\nwidth_spread = "1 nm"\noffset_spread = "1 nm"\nknown_from = 1000\n'


def test_artwork_is_a_multiple_of_the_step():
    drawn = artwork_for(80.0, LINE, process())
    assert drawn.artwork / 5.3 == pytest.approx(round(drawn.artwork / 5.3))
    assert drawn.exact == pytest.approx(math.exp((math.log(80.0) - 1.2) / 0.9))
    other = [math.exp(LINE.log_mean_at(drawn.artwork + by)) for by in (-5.3, 5.3)]
    missed = abs(math.exp(LINE.log_mean_at(drawn.artwork)) - 80.0)
    assert missed < min(abs(one - 80.0) for one in other)
    assert artwork_for(80.0, LINE, process(), step=0.1).artwork == pytest.approx(drawn.exact, abs=0.05)


def test_a_certain_plate_leaves_the_interval_of_the_print():
    drawn = artwork_for(80.0, LINE, process(CERTAIN))
    middle = LINE.log_mean_at(drawn.artwork)
    assert math.log(drawn.printed) == pytest.approx(middle, abs=1e-3)
    assert math.log(drawn.high) - middle == pytest.approx(norm.ppf(0.975) * 0.04, rel=1e-2)
    assert middle - math.log(drawn.low) == pytest.approx(norm.ppf(0.975) * 0.04, rel=1e-2)


def test_a_plate_adds_its_own_uncertainty():
    """First order: relative spread of the plate times the slope, and that of the print."""
    text = '[plate_making]\nwidth_spread = "1 µm"\noffset_spread = "1 nm"\nknown_from = 1000\n'
    drawn = artwork_for(80.0, LINE, process(text))
    sd = math.hypot(0.04, 0.9 * 1.0 / drawn.artwork)
    assert math.log(drawn.high / drawn.low) / 2 == pytest.approx(norm.ppf(0.975) * sd, rel=0.02)


def test_fewer_degrees_of_freedom_widen_the_interval():
    few = PrintedWidth(LINE.log_mean_at, LINE.log_sd_at, 4.0)
    plain, wide = (artwork_for(80.0, one, process(CERTAIN)) for one in (LINE, few))
    assert math.log(wide.high / wide.low) / math.log(plain.high / plain.low) == pytest.approx(
        2.776 / 1.960, rel=0.01
    )


@pytest.mark.parametrize("wanted, said", [(1e-3, "no line on a plate"), (2.0, "less than half its step")])
def test_prints_that_cannot_be_had(wanted, said):
    with pytest.raises(UnusableInput, match=said):
        artwork_for(wanted, LINE, process())


def test_some_simulated_artwork_lands_within_its_interval():
    """12 processes; each share of 400 new plates and prints is judged by its mean, which varies less than one print."""
    shares = [case(seed).share for seed in range(12)]
    assert 0.92 <= np.mean(shares) <= 0.995


@pytest.mark.slow
def test_simulated_artwork_lands_within_its_interval():
    cases = Parallel(-1)(delayed(case)(seed) for seed in range(1000))
    assert sum(one.inside for one in cases) >= 920
