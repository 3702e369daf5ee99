"""From features to one mean per print, and the fit of all responses of a trial."""

import numpy as np
import pandas as pd
import pytest

import pwindow as pw
from pwindow.errors import SurfaceProblem
from pwindow.inputs import InputFile
from pwindow.surfaces.model.responses import response_data, section_factor
from pwindow.trials.archive import Archive
from pwindow.trials.columns import DOME_SECTION_FACTOR
from tests.helpers.trials import read_frame, read_text


@pytest.fixture
def three_lines():
    """One print of three lines; the first two probed, the last two cut for their area."""
    return read_text(
        "print,speed [m/min],cell_volume [cm3/m2],pressure [um],line_height [um],line_width [um],"
        "section_area [um2],resistance [ohm],line_length [mm]\n"
        "A,60,4,50,1.0,60,,20,5\nA,60,4,50,1.2,64,50.0,24,5\nA,60,4,50,1.1,62,46.0,,\n"
    )


def test_mean_of_logarithms(three_lines):
    cells = response_data(three_lines)["line_height"].cells
    assert cells["value"].iloc[0] == pytest.approx(np.log(1.0 * 1.2 * 1.1) / 3, rel=1e-14)
    assert cells["count"].iloc[0] == 3


def test_section_factor_is_the_median_ratio(three_lines):
    factor, note = section_factor(three_lines)
    assert factor == pytest.approx((50 / (1.2 * 64) + 46 / (1.1 * 62)) / 2, rel=1e-14)
    assert "2 measured areas" in note


def test_section_factor_without_areas_is_a_dome(demo_rows):
    area = next(name for name in demo_rows if name.startswith("section_area"))
    factor, note = section_factor(read_frame(demo_rows.drop(columns=area)))
    assert factor == DOME_SECTION_FACTOR == pytest.approx(2 / 3)
    assert "2/3" in note


def test_resistivity_of_the_probed_sections(three_lines):
    """ρ = R k w h / L of each line that was probed; 1 µm² over 1 mm is 1e-9 m."""
    factor, _ = section_factor(three_lines)
    features = three_lines.features
    probed = features["resistance"].notna()
    assert 0 < probed.sum() < len(features)
    section = features["line_height"] * features["line_width"] * factor * 1e-12
    expected = np.exp(np.log(features["resistance"] * section / 5e-3)[probed].mean())
    cells = response_data(three_lines)["resistivity"].cells
    assert np.exp(cells["value"].iloc[0]) == pytest.approx(expected, rel=1e-12)


def test_demo_surfaces_predict_the_written_truth(demo_surfaces, make_demo):
    """At 40 set-ups against the truth the demo was simulated from, within 4.5 standard errors."""
    rng = np.random.default_rng(9)
    setups = pd.DataFrame(
        {
            "speed": rng.uniform(35, 110, 40),
            "cell_volume": rng.uniform(2.5, 7, 40),
            "pressure": rng.uniform(25, 75, 40),
            "plate": rng.choice(["film-imaged", "laser-imaged"], 40),
            "plate_gap": 60.0,
            "direction": 0.0,
            "plate_width": 30.0,
        }
    )
    truth = make_demo.expected(make_demo.read_truth(), setups)
    names = {
        "line_height": "log_height",
        "line_width": "log_width",
        "resistivity": "log_resistivity",
        "gap_closure": "closure",
    }
    for name, true_name in names.items():
        surface = demo_surfaces.by_name[name]
        matrix = surface.design.matrix(setups)
        error = np.sqrt(
            surface.scale * np.einsum("ij,jk,ik->i", matrix, surface.solution.unscaled_cov, matrix)
        )
        score = (surface.mean(setups) - truth[true_name].to_numpy()) / error
        assert np.abs(score).max() < 4.5, name


@pytest.mark.slow
def test_term_left_out_is_not_in_the_surfaces(demo_trial):
    surfaces = pw.fit(demo_trial, leave_out=["pressure²"])
    for surface in surfaces.by_name.values():
        assert "pressure²" not in surface.design.labels


def test_too_small_a_trial_names_every_response(three_lines, demo_rows):
    with pytest.raises(SurfaceProblem) as caught:
        pw.fit(read_frame(demo_rows[demo_rows["print"].isin(demo_rows["print"].unique()[:8])]))
    for label in ("line height", "line width", "resistivity", "gap closure"):
        assert label in str(caught.value)


def test_what_of_the_features_is_measuring_is_told_and_left_in(demo_rows, tmp_path):
    told = demo_rows.assign(**{"u_line_height [nm]": 5.0, "u_gap [um]": 0.8})
    data, plain = response_data(read_frame(told)), response_data(read_frame(demo_rows))
    share = 0.8**2 / plain["gap_closure"].feature_variance
    note = next(one for one in data["gap_closure"].notes if "measuring" in one)
    assert note.startswith("gap closure: measuring error (standard uncertainty 0.8 µm) is")
    assert float(note.split(" is ")[1].split(" %")[0]) == pytest.approx(100 * share, rel=0.01)
    assert note.endswith("of the variance between the features of a print; the fit leaves it in")
    assert any(
        one.startswith("line height: measuring error (standard uncertainty 1.")
        for one in data["line_height"].notes
    )
    assert all(data[name].feature_variance == one.feature_variance for name, one in plain.items())
    assert not any("measuring" in note for one in plain.values() for note in one.notes)
    file = tmp_path / "told.csv"
    told.to_csv(file, index=False)
    archive = Archive(str(tmp_path / "trials.db"))
    archive.add(InputFile.of(file), "same process", "the first")
    kept = response_data(archive.trial())
    assert kept["gap_closure"].notes == data["gap_closure"].notes


def test_what_of_the_gaps_is_raggedness_is_told(demo_rows, tmp_path):
    columns = {"gap_length [mm]": 5.0, "gap_raggedness [um]": 1.0, "gap_correlation [um]": 500.0}
    told = demo_rows.assign(**columns)
    (note,) = (one for one in response_data(read_frame(told))["gap_closure"].notes if "ragged" in one)
    share = 0.18 / response_data(read_frame(demo_rows))["gap_closure"].feature_variance
    assert float(note.split("; ")[1].split(" %")[0]) == pytest.approx(100 * share, rel=0.01)
    assert "standard deviation 1 µm, alike over 500 µm" in note
    file = tmp_path / "told.csv"
    told.to_csv(file, index=False)
    archive = Archive(str(tmp_path / "trials.db"))
    archive.add(InputFile.of(file), "same process", "the first")
    assert note in response_data(archive.trial())["gap_closure"].notes


def test_an_uncertainty_larger_than_the_differences_is_doubted(demo_rows):
    data = response_data(read_frame(demo_rows.assign(**{"u_line_width [um]": 40.0})))
    assert any(
        "larger than what the features of a print differ by; check it" in one
        for one in data["line_width"].notes
    )
