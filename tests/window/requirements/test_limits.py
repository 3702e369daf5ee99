"""Each requirement against the univariate t that it should be, worked out beside the package."""

import numpy as np
import pytest
from scipy import stats

import pwindow as pw
from pwindow.errors import WindowProblem
from pwindow.product import Pattern, Product, Requirement
from pwindow.study import Ink, Study
from pwindow.window.requirements.extremes import Extremes
from tests.helpers.products import make_product, without_tolerances
from tests.helpers.trials import read_frame

LASER = "laser-imaged"
PITCH = {"pitch": 900.0}


def t_below(surfaces, setups, weights, bound, extra=0.0):
    """P(a'Y + e ≤ bound) from the joint predictive distribution alone."""
    found = surfaces.joint.predict(setups)
    a = np.array([weights.get(name, 0.0) for name in found.names])
    spread = np.sqrt(np.einsum("i,mij,j->m", a, found.scale, a) + extra)
    return stats.t.cdf((bound - found.mean @ a) / spread, found.df)


def between_gaps(surfaces):
    """Mean and mean square of the posterior of the standard deviation between gaps, µm."""
    draws = np.sqrt(surfaces.joint.draws.feature[:, surfaces.joint.names.index("gap_closure")])
    return draws.mean(), (draws**2).mean()


def judged(window, places, name):
    return window.conformance(window.setups(LASER, **places))[name].to_numpy()


@pytest.mark.parametrize("name", ["line_width", "line_height"])
@pytest.mark.parametrize("side", ["least", "most"])
def test_size_alone(window_of, places, demo_surfaces, name, side):
    value = {"line_width": 63.0, "line_height": 0.75}[name]
    window = window_of(**{name: (value, None, {}) if side == "least" else (None, value, {})})
    below = t_below(demo_surfaces, window.setups(LASER, **places), {name: 1.0}, np.log(value))
    expected = below if side == "most" else 1.0 - below
    np.testing.assert_allclose(judged(window, places, name), expected, atol=1e-9)
    np.testing.assert_allclose(judged(window, places, "joint"), expected, atol=1e-9)
    assert expected.max() - expected.min() > 0.4  # the set-ups tell good from bad


RESISTANCE = {"line_height": -1.0, "line_width": -1.0, "resistivity": 1.0}


def excess(surfaces, names=RESISTANCE):
    """Half the variance of ln(ρ/A) between features: a long line's resistance is a mean of ρ/A."""
    return sum(surfaces.joint.between[surfaces.joint.names.index(name)] ** 2 for name in names) / 2


def test_line_resistance_alone(window_of, places, demo_surfaces):
    """R = ρ L/(k w h) at 80 mm; µm² are 10⁻¹² m²."""
    window = window_of(line_resistance=(None, 330.0, {"length": 80.0}))
    bound = np.log(330.0) - np.log(0.080 / (demo_surfaces.section_factor * 1e-12)) - excess(demo_surfaces)
    expected = t_below(demo_surfaces, window.setups(LASER, **places), RESISTANCE, bound)
    np.testing.assert_allclose(judged(window, places, "line_resistance"), expected, atol=1e-9)
    assert expected.max() > 0.9 and expected.min() < 0.5


def test_sheet_resistance_alone(window_of, places, demo_surfaces):
    """Rs = ρ p/(k w h) at a pitch of 900 µm."""
    window = window_of(pattern=PITCH, sheet_resistance=(None, 3.8, {}))
    bound = np.log(3.8) - np.log(900e-6 / (demo_surfaces.section_factor * 1e-12)) - excess(demo_surfaces)
    expected = t_below(demo_surfaces, window.setups(LASER, **places), RESISTANCE, bound)
    np.testing.assert_allclose(judged(window, places, "sheet_resistance"), expected, atol=1e-9)


def test_one_gap_alone(window_of, places, demo_surfaces):
    """One gap is at least 16 µm when closure at a 60 µm plate gap is at most 44 µm."""
    window = window_of(gap=(16.0, None, {"count": 1}))
    feature = between_gaps(demo_surfaces)[1]
    for high_pressure in (50.0, 80.0):
        here = places | {"pressure": high_pressure}
        expected = t_below(demo_surfaces, window.setups(LASER, **here), {"gap_closure": 1.0}, 44.0, feature)
        np.testing.assert_allclose(judged(window, here, "gap"), expected, atol=1e-9)


def test_the_worst_of_many_gaps(window_of, places, demo_surfaces):
    """The largest of 48 deviations shifts the mean and adds its own spread."""
    window = window_of(gap=(16.0, None, {"count": 48}))
    (mean, square), worst = between_gaps(demo_surfaces), Extremes.of(48, demo_surfaces.gap_shape)
    shift, own = worst.largest, worst.largest_variance
    setups = window.setups(LASER, **places)
    extra = own * square + shift**2 * (square - mean**2)
    expected = t_below(demo_surfaces, setups, {"gap_closure": 1.0}, 44.0 - shift * mean, extra)
    np.testing.assert_allclose(judged(window, places, "gap"), expected, atol=1e-9)


def test_two_limits_on_one_line_intersect(window_of, places):
    both = judged(window_of(line_width=(58.0, 66.0, {})), places, "joint")
    least = judged(window_of(line_width=(58.0, None, {})), places, "joint")
    most = judged(window_of(line_width=(None, 66.0, {})), places, "joint")
    np.testing.assert_allclose(both, least + most - 1.0, atol=1e-9)


def test_two_requirements_on_one_line_are_the_tighter(window_of, places):
    """86 % of a 900 µm mesh open asks for 65.4 µm; a line width of 68 µm then adds nothing."""
    alone = judged(window_of(pattern=PITCH, open_area=(86.0, None, {})), places, "joint")
    both = window_of(pattern=PITCH, open_area=(86.0, None, {}), line_width=(None, 68.0, {}))
    np.testing.assert_allclose(judged(both, places, "joint"), alone, atol=1e-9)
    np.testing.assert_allclose(judged(both, places, "open_area"), alone, atol=1e-9)


@pytest.mark.parametrize(
    "layout, width", [("square mesh", 900 * (1 - 0.86**0.5)), ("parallel lines", 900 * 0.14)]
)
def test_open_area_is_a_line_width(window_of, layout, width):
    pattern = PITCH | {"layout": layout}
    asked = {"open_area": (86.0, None, {})} if layout == "square mesh" else {"open_area": (93.0, None, {})}
    width = width if layout == "square mesh" else 900 * 0.07
    here = {"speed": [30.0, 60.0, 118.0], "cell_volume": 4.4, "pressure": 50.0}
    np.testing.assert_allclose(
        judged(window_of(pattern=pattern, **asked), here, "joint"),
        judged(window_of(line_width=(None, width, {})), here, "joint"),
        atol=1e-9,
    )


def test_undercoat_in_parallel(window_of, places):
    """3.8 Ω together with 50 Ω is 1/(1/3.8 - 1/50) = 4.1126 Ω of lines."""
    with_coat = window_of(pattern=PITCH, sheet_resistance=(None, 3.8, {"undercoat": 50.0}))
    lines = window_of(pattern=PITCH, sheet_resistance=(None, 1 / (1 / 3.8 - 1 / 50), {}))
    np.testing.assert_allclose(judged(with_coat, places, "joint"), judged(lines, places, "joint"), atol=1e-9)
    setups = lines.setups(LASER, **places)
    alone = lines.quantities(setups)["sheet_resistance"]["mean"]
    together = with_coat.quantities(setups)["sheet_resistance"]["mean"]
    np.testing.assert_allclose(together, 1 / (1 / alone + 1 / 50), rtol=1e-9)


def test_undercoat_that_conducts_enough_alone_limits_nothing(window_of):
    with pytest.raises(WindowProblem, match="undercoat alone"):
        window_of(pattern=PITCH, sheet_resistance=(None, 3.8, {"undercoat": 2.0}))


def test_voltage_drop_is_a_sheet_resistance(window_of, places):
    """Fed at two opposite edges the drop is J Rs L²/8: 50 mV at 10 A/m² and 100 mm is 4 Ω."""
    parameters = {"tile": 100.0, "current_density": 10.0, "contacts": "two opposite"}
    drop = window_of(pattern=PITCH, voltage_drop=(None, 50.0, parameters))
    sheet = window_of(pattern=PITCH, sheet_resistance=(None, 4.0, {}))
    np.testing.assert_allclose(judged(drop, places, "joint"), judged(sheet, places, "joint"), atol=1e-9)


def test_joint_is_at_most_the_least_of_its_parts(tag_window, mesh_window, places):
    for window, plate in ((tag_window, LASER), (mesh_window, "film-imaged")):
        for pressure in (20.0, 50.0, 80.0):
            table = window.conformance(window.setups(plate, **places | {"pressure": pressure}))
            parts = table.drop(columns="joint")
            assert (table["joint"] <= parts.min(axis=1) + 2e-5).all()
            assert (table["joint"] >= (parts.sum(axis=1) - len(parts.columns) + 1).clip(lower=0) - 2e-5).all()
            assert ((table >= 0) & (table <= 1)).all(axis=None)


def test_more_gaps_never_raise_conformance(window_of, places):
    for limits in ((22.0, None), (None, 30.0), (20.0, 34.0)):
        found = [
            judged(window_of(gap=(*limits, {"count": count})), places | {"pressure": 60.0}, "joint")
            for count in (1, 2, 5, 20, 48, 200, 2000)
        ]
        assert (np.diff(found, axis=0) <= 1e-4).all()
        assert (found[0] - found[-1]).max() > 0.01


def test_plate_gap_between_the_tried_ones_is_interpolated(window_of, demo_surfaces, places):
    """Two plate gaps were tried, so closure is a straight line between them."""
    setups = window_of(gap=(16.0, None, {})).setups(LASER, **places)
    at = {gap: demo_surfaces.joint.means(setups.assign(plate_gap=gap))[:, -1] for gap in (45.0, 60.0, 75.0)}
    np.testing.assert_allclose(at[60.0], (at[45.0] + at[75.0]) / 2, atol=1e-9)
    assert abs(at[45.0] - at[75.0]).max() > 0.5
    for gap in (45.0, 60.0, 75.0):
        window = window_of(pattern={"plate_gap": gap}, gap=(5.0, None, {}))
        here = window.quantities(window.setups(LASER, **places))["gap"]["mean"]
        np.testing.assert_allclose(here, gap - at[gap], atol=1e-9)


@pytest.fixture(scope="module")
def unmeasured(demo_rows):
    """Surfaces of the demo trial as if no resistance had been measured."""
    return pw.fit(read_frame(demo_rows.drop(columns=["resistance [ohm]", "line_length [mm]"])))


@pytest.mark.parametrize("spread", [0.0, 0.04, 0.3])
def test_stated_resistivity_where_none_was_measured(unmeasured, places, spread):
    product = make_product(line_resistance=(None, 330.0, {"length": 80.0}))
    window = pw.find_window(unmeasured, product, Study(ink=Ink(9.5e-8, spread)))
    weights = {"line_height": -1.0, "line_width": -1.0}
    bound = np.log(330.0) - np.log(9.5e-8 * 0.080 / (unmeasured.section_factor * 1e-12))
    bound -= excess(unmeasured, weights)
    expected = t_below(unmeasured, window.setups(LASER, **places), weights, bound, spread**2)
    np.testing.assert_allclose(judged(window, places, "joint"), expected, atol=1e-9)


def test_a_measured_resistance_wins_over_the_stated_one(window_of, places):
    asked = {"line_resistance": (None, 330.0, {"length": 80.0})}
    absurd = window_of(study=Study(ink=Ink(1.0, 0.5)), **asked)
    np.testing.assert_array_equal(
        judged(absurd, places, "joint"), judged(window_of(**asked), places, "joint")
    )


def test_neither_measured_nor_stated_is_refused(unmeasured):
    with pytest.raises(WindowProblem, match="resistivity"):
        pw.find_window(unmeasured, make_product(line_resistance=(None, 330.0, {"length": 80.0})))


@pytest.mark.slow
@pytest.mark.parametrize(
    "tolerance",
    [{"speed_tolerance": 0.05}, {"volume_tolerance": 0.05}, {"pressure_tolerance": "5 µm"}],
)
def test_a_tolerance_never_helps_where_the_mean_is_inside(demo_surfaces, tag, tolerance):
    import dataclasses

    exact = pw.find_window(demo_surfaces, without_tolerances(tag))
    held = dataclasses.replace(
        exact.product, assurance=dataclasses.replace(exact.product.assurance, **tolerance)
    )
    loose = pw.find_window(demo_surfaces, held)
    lost = []
    for band in exact.speed_bands().itertuples():
        ends = exact.setups(
            band.plate,
            [band.speed_low_m_min, band.speed_high_m_min],
            band.cell_volume_cm3_m2,
            band.pressure_um,
        )
        lost += list(exact.joint_conformance(ends) - loose.joint_conformance(ends))
    assert min(lost) > -3e-4 and max(lost) > 1e-3


def test_a_tolerance_is_a_rectangular_distribution(demo_surfaces):
    """On log width the extra variance is the squared half-difference over the tolerance, over 3."""
    asked = {"line_width": (None, 65.0, {})}
    window = pw.find_window(demo_surfaces, make_product(assurance={"pressure_tolerance": "8 µm"}, **asked))
    setups = window.setups(LASER, 60.0, 4.4, 50.0)
    high, low = (demo_surfaces.joint.means(setups.assign(pressure=at))[0, 1] for at in (58.0, 42.0))
    half = (high - low) / 2
    expected = t_below(demo_surfaces, setups, {"line_width": 1.0}, np.log(65.0), half**2 / 3)
    np.testing.assert_allclose(window.joint_conformance(setups), expected, atol=1e-9)


def test_equal_questions_get_equal_answers(tag_window):
    """What is asked beside a set-up must not change what is said of it."""
    setups = tag_window.setups(LASER, np.linspace(30.0, 110.0, 9), 5.6, 50.0)
    together = tag_window.joint_conformance(setups)
    alone = [
        tag_window.joint_conformance(setups.iloc[[at]].reset_index(drop=True))[0] for at in range(len(setups))
    ]
    np.testing.assert_allclose(together, alone, atol=1e-9)


def with_length(rows, length):
    return rows.assign(**{"gap_length [mm]": length})


def ragged(rows, length=5.0, deviation=2.0, alike=500.0):
    told = with_length(rows, length).assign(
        **{"gap_raggedness [um]": deviation, "gap_correlation [um]": alike}
    )
    return pw.fit(read_frame(told))


@pytest.mark.slow
def test_short_gaps_differ_by_more_of_their_raggedness(demo_rows, places):
    """Of 2 µm alike over 0.5 mm, 5 mm leave 18.00 % of the variance between gaps and 1 mm 56.77 % (own integration)."""
    surfaces = ragged(demo_rows)
    alike, shorter = (
        pw.find_window(surfaces, make_product(gap=(20.0, None, {"count": 48, "length": length})))
        for length in (5.0, 1.0)
    )
    at = alike.joint.names.index("gap_closure")
    more = shorter.joint.between[at] ** 2 - alike.joint.between[at] ** 2
    assert more == pytest.approx(4.0 * (0.5677 - 0.1800), abs=2e-4)
    closures = [window.joint.draws.feature[:, at] for window in (shorter, alike)]
    np.testing.assert_allclose(closures[0] - closures[1], more)
    below = judged(shorter, places, "gap") - judged(alike, places, "gap")
    assert (below <= 1e-9).all() and below.min() < -0.02
    assert not any("shorter" in note or "raggedness" in note for note in alike.notes)
    assert any(note.endswith("adds 1.55 µm² to the variance between gaps") for note in shorter.notes)


@pytest.mark.slow
def test_short_gaps_of_unknown_raggedness_are_told(demo_rows):
    surfaces = pw.fit(read_frame(with_length(demo_rows, 5.0)))
    window = pw.find_window(surfaces, make_product(gap=(20.0, None, {"count": 48, "length": 1.0})))
    assert any("does not say how ragged its gaps are" in note for note in window.notes)
    same = pw.find_window(surfaces, make_product(gap=(20.0, None, {"count": 48})))
    assert window.joint is same.joint


@pytest.mark.slow
def test_a_long_gap_is_the_worst_of_many_short_ones(demo_rows, places):
    """4 gaps of 60 mm, where the trial measured 5 mm each, are 48 gaps of 5 mm."""
    surfaces = pw.fit(read_frame(with_length(demo_rows, 5.0)))
    long, many, one = (
        judged(pw.find_window(surfaces, make_product(gap=(20.0, None, asked))), places, "gap")
        for asked in ({"count": 4, "length": 60.0}, {"count": 48}, {"count": 4})
    )
    np.testing.assert_allclose(long, many)
    assert (long < one).all()


def test_the_length_of_a_gap_needs_that_of_the_trial(window_of):
    with pytest.raises(WindowProblem, match="gap_length"):
        window_of(gap=(20.0, None, {"count": 4, "length": 60.0}))


def test_a_length_in_the_product_file(tmp_path):
    file = tmp_path / "part.toml"
    file.write_text('[requirements.gap]\nleast = "16 µm"\ncount = 4\nlength = "6 cm"\n', encoding="utf-8")
    assert pw.read_product(file).requirements[0].parameters == {"count": 4, "length": 60.0}


@pytest.mark.parametrize("name", ["open_area", "sheet_resistance"])
def test_a_requirement_on_a_pattern_needs_its_pitch(demo_surfaces, name):
    """Also of a product that was made in Python, which no file was checked for."""
    product = Product(
        "Tag", (Requirement(name, least=1.0),), Pattern(plate=LASER, plate_gap=60.0, plate_width=30.0)
    )
    with pytest.raises(WindowProblem, match="needs the pitch of the pattern"):
        pw.find_window(demo_surfaces, product)


@pytest.mark.parametrize(
    "count, words",
    [
        (378, None),
        (379, "379 gaps must meet its limits, 1.0 times as many as the 378"),
        (2000, "2000 gaps must meet its limits, 5.3 times as many as the 378"),
        (40_000, "40000 gaps must meet its limits, 106 times as many as the 378"),
    ],
)
def test_more_gaps_than_the_trial_compares_are_said_to_be_extrapolated(window_of, count, words):
    notes = [one for one in window_of(gap=(16.0, None, {"count": count})).notes if "extrapolated" in one]
    assert len(notes) == (words is not None) and all(words in one for one in notes)
