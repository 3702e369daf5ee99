"""Profiles as files have them."""

import os
from pathlib import Path

import numpy as np
import pytest

from pwindow.errors import UnusableInput
from pwindow.inputs import InputFile
from pwindow.metrology.features import measure
from pwindow.metrology.levelling import level
from pwindow.metrology.reading import read_traces
from pwindow.metrology.rows import names_of
from tests.helpers.profiles import across, parabola

REFERENCE = os.environ.get("PWINDOW_REFERENCE_DIR")
TRACE = across(parabola, noise=0.01)


def file(text: str, name: str = "scan.csv") -> InputFile:
    return InputFile(name, text.encode())


def rows(x, z, form="{:.6f},{:.6f}") -> str:
    return "\n".join(form.format(a, b) for a, b in zip(x, z))


def test_units_of_the_header_are_used():
    (found,) = read_traces(file("x [mm],height [nm]\n" + rows(TRACE.x / 1e3, TRACE.z * 1e3, "{:.9f},{:.4f}")))
    np.testing.assert_allclose(found.x, TRACE.x, atol=1e-6)
    np.testing.assert_allclose(found.z, TRACE.z, atol=1e-6)


@pytest.mark.parametrize(
    "head",
    [
        "x / mm,z / nm",
        "X/mm,Height/nm",
        "x_mm,height_nm",
        "position mm,profile nm",
        "x (mm),z [nm]",
        '"distance / mm","z_1_nm"',
    ],
)
def test_units_stand_in_brackets_behind_a_slash_or_behind_the_name(head):
    (found,) = read_traces(file(head + "\n" + rows(TRACE.x / 1e3, TRACE.z * 1e3, "{:.9f},{:.4f}")))
    np.testing.assert_allclose(found.x, TRACE.x, atol=1e-6)
    np.testing.assert_allclose(found.z, TRACE.z, atol=1e-6)


def test_profiles_with_units_behind_their_names_are_called_without_them():
    wide = "x_um,z1_um,z2 / um\n" + rows(TRACE.x, TRACE.z, "{0:.6f},{1:.6f},{1:.6f}")
    assert [one.name for one in read_traces(file(wide))] == ["scan.csv: z1", "scan.csv: z2"]


def test_fields_before_the_header_are_kept():
    (found,) = read_traces(
        file("# print: A-001\ninstrument;white light\n\nx [µm],z [µm]\n" + rows(TRACE.x, TRACE.z))
    )
    assert found.header == {"print": "A-001", "instrument": "white light"}
    assert names_of([found]) == {"scan.csv": "A-001"}


def test_several_profiles_of_a_file():
    wide = "x [um],z1 [um],z2 [um]\n" + rows(TRACE.x, TRACE.z, "{0:.6f},{1:.6f},{1:.6f}")
    assert [one.name for one in read_traces(file(wide))] == ["scan.csv: z1", "scan.csv: z2"]
    long = "trace,x [um],z [um]\n" + rows(TRACE.x, TRACE.z, "a,{:.6f},{:.6f}") + "\n"
    both = read_traces(file(long + rows(TRACE.x, TRACE.z, "b,{:.6f},{:.6f}")))
    assert [(one.name, len(one.x)) for one in both] == [("scan.csv: a", 2000), ("scan.csv: b", 2000)]


def test_a_profile_without_a_unit_says_which_one_a_row_belongs_to():
    text = "profile,x [µm],z [µm]\n" + "".join(
        f"{name},{x:.4f},{z:.6f}\n" for name in ("left", "right") for x, z in zip(TRACE.x, TRACE.z)
    )
    assert [one.profile for one in read_traces(file(text))] == ["left", "right"]


@pytest.mark.parametrize("more", ["", ",", ",,", ",note,note"])
def test_columns_that_are_not_looked_at_may_be_called_alike(more):
    cells = more.replace("note", "seen")
    text = f"x [µm],z [µm]{more}\n" + "".join(f"{x:.4f},{z:.6f}{cells}\n" for x, z in zip(TRACE.x, TRACE.z))
    (found,) = read_traces(file(text))
    assert len(found.x) == len(TRACE.x)


@pytest.mark.parametrize("write", ["{:.2f}", " {:.2f}", "{:.2e}", '"{:.2f}"'])
def test_numbers_are_the_same_read_at_once_or_cell_by_cell(write):
    cells = [(f"{x:.4f}", write.format(z)) for x, z in zip(TRACE.x, TRACE.z)]
    at_once, by_cell = (
        read_traces(file("x [µm],z [µm]\n" + "".join(f"{x},{z}\n" for x, z in [*cells, last])))[0]
        for last in (("801.0000", "2.9"), ("801.0000", "N/A"))
    )
    np.testing.assert_array_equal(at_once.z[:-1], by_cell.z[:-1])
    assert np.isnan(by_cell.z[-1]) and at_once.z[-1] == 2.9


def test_decimal_commas_and_voids():
    text = "x [µm];z [µm]\n" + rows(TRACE.x, TRACE.z, "{:.6f};{:.6f}").replace(".", ",")
    lines = text.splitlines()
    lines[11] = lines[11].split(";")[0] + ";"
    lines[12] = lines[12].split(";")[0] + ";***"
    (found,) = read_traces(file("\n".join(lines)))
    assert np.isnan(found.z[[10, 11]]).all() and np.isfinite(found.z).sum() == 1998
    assert found.x[500] == pytest.approx(TRACE.x[500], abs=1e-6)


def test_positions_that_run_backwards_or_repeat():
    (turned,) = read_traces(file("x [µm],z [µm]\n" + rows(TRACE.x[::-1], TRACE.z[::-1])))
    np.testing.assert_allclose(turned.z, TRACE.z, atol=1e-6)
    assert turned.notes == ("positions run backwards; the profile is turned round",)
    (rounded,) = read_traces(file("x [µm],z [µm]\n" + rows(TRACE.x, TRACE.z, "{:.0f},{:.6f}")))
    assert (np.diff(rounded.x) > 0).all() and "are repeated; the mean height is taken" in rounded.notes[0]


@pytest.mark.parametrize(
    "text, said",
    [
        ("a,b\n1,2\n", "no line names a column of positions and one of heights"),
        ("x_m,z_nm\n1,2\n", "in “x_m,z_nm” write units in brackets"),
        ("x_in,z_um\n1,2\n", "in “x_in,z_um” write units in brackets"),
        ("x / s,z / nm\n1,2\n", "column “x / s”: unit “s” cannot be converted"),
        ("trace,x [µm],z [µm]\n", "there is a header but no rows"),
        ("x,z [µm]\n" + rows(TRACE.x, TRACE.z), "column “x” has no unit"),
        ("x [µm],z [s]\n" + rows(TRACE.x, TRACE.z), "column “z \\[s\\]”"),
        ("x [µm],z [µm],z [µm]\n1,2,3\n", "appears twice"),
        ("trace,x [µm],z [µm],trace\na,2,3,b\n", "“trace” appears twice"),
        ("x [µm],z [µm]\n" + rows(TRACE.x, TRACE.z) + "\n801,high\n", "high”+ is not a number"),
        ("x [µm],z [µm]\n1,2\n2,3\n", "2 points with a height, and at least 50 are needed"),
        ("x [µm],z [m]\n" + rows(TRACE.x, TRACE.z), "check the unit of the heights"),
        ("x [m],z [µm]\n" + rows(TRACE.x, TRACE.z), "check the unit of the positions"),
    ],
)
def test_what_cannot_be_used_says_why(text, said):
    with pytest.raises(UnusableInput, match=said):
        read_traces(file(text))


def test_a_file_that_says_no_print_is_refused():
    (found,) = read_traces(file("x [µm],z [µm]\n" + rows(TRACE.x, TRACE.z), "A-001_s2.csv"))
    assert names_of([found], "{print}_s*.csv") == {"A-001_s2.csv": "A-001"}
    with pytest.raises(UnusableInput, match="does not match"):
        names_of([found], "run-{print}.csv")
    with pytest.raises(UnusableInput, match="no pattern of file names was given"):
        names_of([found])
    with pytest.raises(UnusableInput, match="two scans are called"):
        names_of([found, found], "{print}_s*.csv")
    with pytest.raises(UnusableInput, match="must hold {print} once"):
        names_of([found], "*.csv")


@pytest.mark.skipif(
    REFERENCE is None, reason="PWINDOW_REFERENCE_DIR does not name a folder of reference data"
)
def test_the_step_that_a_stylus_reports_of_a_tilted_trace_is_tilt():
    """The instrument's header reports 2.89171 µm between cursors at 468 and 733 µm: levelled, nothing of it is left."""
    (found,) = read_traces(Path(REFERENCE) / "fetched" / "stylus_trace.csv")
    at = [int(np.argmin(np.abs(found.x - one))) for one in (468.0, 733.0)]
    assert found.z[at[1]] - found.z[at[0]] == pytest.approx(2.892, abs=0.001)
    levelled = level(found)
    assert levelled.slope == pytest.approx(0.0110, abs=1e-4)
    assert abs(levelled.height[at[1]] - levelled.height[at[0]]) < 0.05
    assert any("the film is uneven" in note for note in measure(found).notes)  # it bows, and has no line


def lines_file(change=lambda z: None, head="x [µm],z [nm]", sep=",", write="{:.6g}".format):
    """A profile of three lines in nm, changed."""
    trace = across(parabola, centres=(100.0, 220.0, 340.0), length=440.0, points=881, height=1.0, noise=0.005)
    z = 1e3 * trace.z
    change(z)
    rows = [f"{x:.1f}{sep}{write(value)}" for x, value in zip(trace.x, z)]
    return InputFile("scan.csv", "\n".join([head, *rows]).encode())


def put(at, value):
    def change(z):
        z[at] = value

    return change


@pytest.mark.parametrize("at, value", [(320, 8000.0), (320, 3500.0), (200, 7000.0), (170, 2000.0)])
def test_single_points_far_off_are_left_out_and_told(at, value):
    """In a gap, on a crest, on a flank: what is measured is what it is without them."""
    (spiked,), (plain,) = read_traces(lines_file(put(at, value))), read_traces(lines_file())
    assert spiked.notes == ("1 single point far from its neighbours is left out",) and plain.notes == ()
    for one, other in zip(measure(spiked).lines, measure(plain).lines):
        assert one.width.value == pytest.approx(other.width.value, abs=0.5)
        assert one.height.value == pytest.approx(other.height.value, abs=0.02)


def test_numbers_that_stand_for_nothing_seen_are_voids():
    (found,) = read_traces(lines_file(put(slice(195, 206), -9999.0)))
    assert found.notes == ("11 cells of -9999 are read as not seen",) and (~found.seen).sum() == 11


def test_zeros_for_nothing_seen_are_refused():
    with pytest.raises(
        UnusableInput, match="11 points are exactly 0 where the heights beside them are far from it"
    ):
        read_traces(lines_file(put(slice(195, 206), 0.0)))


def test_film_of_one_number_is_no_void():
    """An instrument that resolves a nanometre writes the same number along much of the film."""
    (found,) = read_traces(lines_file(write=lambda value: f"{max(round(value), 3001)}"))
    assert found.notes == () and found.seen.all() and len(measure(found).lines) == 3


@pytest.mark.parametrize(
    "file, said",
    [
        (
            lines_file(
                head="x [µm];z [nm]", sep=";", write=lambda value: f"{int(value - 2500):,}".replace(",", ".")
            ),
            "may be thousands",
        ),
        (lines_file(write="{:.1f}".format).content.replace(b".", b","), "where commas mark decimals"),
        (lines_file(write=lambda value: f"{value / 1e6:.9f}"), "heights differ by only"),
        (lines_file(head="x [nm],z [nm]"), "it is only 0.44 µm long; check the unit of the positions"),
    ],
)
def test_what_would_be_read_as_something_else_is_refused(file, said):
    file = file if isinstance(file, InputFile) else InputFile("scan.csv", file)
    with pytest.raises(UnusableInput, match=said):
        read_traces(file)
