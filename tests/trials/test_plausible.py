"""Values that no printed line has are refused; those that could be true are warned of, everywhere."""

import pytest

import pwindow as pw
from pwindow.errors import TrialProblem
from pwindow.inputs import InputFile
from pwindow.surfaces.findings import findings
from pwindow.trials.archive import Archive
from tests.helpers.trials import as_parquet, read_frame, read_text

HEIGHT, AREA, WIDTH = "line_height [um]", "section_area [um2]", "line_width [um]"


def test_the_demo_is_plausible(demo_trial):
    assert demo_trial.warnings == () and demo_trial.notes == ()
    assert pw.read_trial(pw.demo("trial_second.csv")).warnings == ()


@pytest.mark.parametrize("factor", [1000.0, 0.001])
@pytest.mark.parametrize("areas", ["measured", "scaled", "absent"])
def test_a_slip_of_a_thousand_in_the_heights_is_refused(demo_rows, factor, areas):
    frame = demo_rows.assign(**{HEIGHT: demo_rows[HEIGHT] * factor})
    if areas == "scaled":
        frame[AREA] *= factor
    if areas == "absent":
        frame = frame.drop(columns=AREA)
    with pytest.raises(TrialProblem) as caught:
        read_frame(frame)
    assert {problem.column for problem in caught.value.problems} <= {
        "line_height",
        "section_area",
        "resistance",
    }
    assert len(caught.value.reasons) <= 4


def test_a_doubt_is_told_in_the_units_of_the_file(demo_rows):
    rows = demo_rows.rename(columns={"speed [m/min]": "speed [ft/min]"})
    rows["speed [ft/min]"] *= 0.01
    (warning,) = [one for one in read_frame(rows).warnings if one.startswith("speed")]
    assert "is 0.3 to 1.2 ft/min, but 3.281 to " in warning


@pytest.mark.parametrize(
    "column", [WIDTH, AREA, "gap [um]", "resistance [ohm]", "cell_volume [cm3/m2]", "speed [m/min]"]
)
@pytest.mark.parametrize("factor", [1000.0, 0.001])
def test_a_slip_of_a_thousand_is_refused_or_warned_of(demo_rows, column, factor):
    try:
        warnings = read_frame(demo_rows.assign(**{column: demo_rows[column] * factor})).warnings
    except TrialProblem as problem:
        assert problem.problems
    else:
        assert any("check the units" in warning for warning in warnings)


@pytest.mark.parametrize(
    "column, value",
    [
        ("speed [m/min]", 1e201),
        (WIDTH, 1e-9),
        ("pressure [um]", 1e6),
        ("gaps_inspected", 1e18),
        ("direction [deg]", 1e9),
    ],
)
def test_what_no_press_does_is_refused(demo_rows, column, value):
    with pytest.raises(TrialProblem, match="physically impossible"):
        read_frame(demo_rows.assign(**{column: value}))


def test_a_mean_height_above_the_volume_is_refused_whatever_the_plate_width():
    head = "print,speed [m/min],cell_volume [cm3/m2],pressure [um],line_height [um]"
    with pytest.raises(TrialProblem, match="more silver than all the ink"):
        read_text(f"{head}\nP1,60,4.4,50,6.7\n")  # ⅔ · 6.7 = 4.47
    assert read_text(f"{head}\nP1,60,4.4,50,6.5\n").warnings


def test_zero_bytes_are_refused(demo_rows):
    text = demo_rows.to_csv(index=False)
    at = text.index("A-009")
    with pytest.raises(TrialProblem, match="zero byte") as caught:
        read_text(text[:at] + "\0" + text[at:])
    assert caught.value.problems[0].row == text.count("\n", 0, at) + 1


def test_control_characters_in_an_id_are_refused(demo_rows):
    frame = demo_rows.assign(print=demo_rows["print"].str.replace("A-002", "A-001\0"))
    with pytest.raises(TrialProblem, match="control character"):
        read_text(as_parquet(frame), "trial.parquet")


@pytest.fixture(scope="module")
def doubtful(demo_rows):
    """Areas three times too large: a section factor of 2, which could be true."""
    return InputFile(
        "doubtful.csv", demo_rows.assign(**{AREA: demo_rows[AREA] * 3}).to_csv(index=False).encode()
    )


@pytest.mark.slow
def test_a_doubtful_section_factor_is_a_warning_of_the_first_rank(doubtful):
    trial = pw.read_trial(doubtful)
    (warning,) = [one for one in trial.warnings if "section factor" in one]
    assert "65 prints" in warning and "0.3 to 1.6" in warning
    first = findings(pw.fit(trial))[0]
    assert first.weight == "serious" and first.sentence in trial.warnings


def test_an_archived_trial_keeps_its_warnings(doubtful, tmp_path):
    archive = Archive(str(tmp_path / "trials.db"))
    archive.add(doubtful, "same process", "the first")
    assert archive.trial().warnings == pw.read_trial(doubtful).warnings
