"""Topographies as files have them."""

import io
import os
import zipfile
from pathlib import Path

import numpy as np
import pytest
import x3pio

from pwindow.errors import UnusableInput
from pwindow.inputs import InputFile
from pwindow.metrology.grids import read_topography

REFERENCE = os.environ.get("PWINDOW_REFERENCE_DIR")
Z = np.random.default_rng(0).normal(0.0, 0.5, (30, 40))
Z[3, 4] = np.nan


def x3p(z=Z * 1e-6, steps=(0.5e-6, 2e-6)) -> bytes:
    goal = io.BytesIO()
    x3pio.write(goal, z, x_scale=steps[0], y_scale=steps[1])
    return goal.getvalue()


def changed(content: bytes, name: str, change) -> bytes:
    goal = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as before, zipfile.ZipFile(goal, "w") as after:
        for entry in before.infolist():
            data = before.read(entry)
            after.writestr(entry.filename, change(data) if entry.filename == name else data)
    return goal.getvalue()


def test_an_x3p_file_keeps_its_unequal_steps_and_voids():
    found = read_topography(InputFile("a.x3p", x3p()))
    np.testing.assert_allclose(found.z, Z, rtol=1e-12)
    assert (found.dx, found.dy) == pytest.approx((0.5, 2.0)) and np.isnan(found.z[3, 4])
    assert found.notes == () and len(found.sha256) == 64


def test_a_wrong_checksum_is_forgiven_and_told():
    broken = changed(x3p(), "md5checksum.hex", lambda data: b"0" * 32 + data[32:])
    found = read_topography(InputFile("a.x3p", broken))
    np.testing.assert_allclose(found.z, Z, rtol=1e-12)
    (note,) = found.notes
    assert note.startswith("forgiven: The MD5 checksum of main.xml")


def test_a_root_without_namespace_is_forgiven_and_told():
    def plain(data: bytes) -> bytes:
        begin, end = data.index(b"<p:ISO5436_2"), data.index(b"</p:ISO5436_2>")
        head = data.index(b">", begin)
        return data[:begin] + b"<ISO5436" + b">" + data[head + 1 : end] + b"</ISO5436>"

    found = read_topography(InputFile("a.x3p", changed(x3p(), "main.xml", plain)))
    np.testing.assert_allclose(found.z, Z, rtol=1e-12)
    assert "root element" in found.notes[-1]


def test_units_that_are_missing_or_wrong():
    unitless = x3p(steps=(1.0, 1.0), z=Z)
    with pytest.raises(UnusableInput, match="1 apart without a unit"):
        read_topography(InputFile("a.x3p", unitless))
    np.testing.assert_allclose(read_topography(InputFile("a.x3p", unitless), 1e-6).z, Z, rtol=1e-12)
    with pytest.raises(UnusableInput, match="heights differ by"):
        read_topography(InputFile("a.x3p", x3p(z=Z)))
    with pytest.raises(UnusableInput, match="points are 5e\\+05 µm apart"):
        read_topography(InputFile("a.x3p", x3p(steps=(0.5, 0.5))))
    with pytest.raises(UnusableInput, match="at least 20 each way"):
        read_topography(InputFile("a.x3p", x3p(z=Z[:5] * 1e-6)))


def test_what_is_no_x3p_is_refused():
    for content in (b"PK\x03\x04 nothing", x3p()[:200]):
        with pytest.raises(UnusableInput, match="is no X3P file"):
            read_topography(InputFile("a.x3p", content))
    profile = io.BytesIO()
    x3pio.write(profile, Z[0] * 1e-6, x_scale=1e-6)
    with pytest.raises(UnusableInput, match="holds a profile"):
        read_topography(InputFile("a.x3p", profile.getvalue()))


def test_the_text_grid_of_iso_25178_71():
    words = [["BAD" if np.isnan(one) else f"{one:.9f}" for one in row] for row in Z]
    header = [
        "aISO-1.0",
        "NumPoints = 40",
        "NumProfiles = 30",
        "Xscale = 5e-7",
        "Yscale = 2e-6",
        "Zscale = 1e-6",
    ]
    text = "\n".join([*header, "*", *(" ".join(row) for row in words), "*"])
    found = read_topography(InputFile("a.sdf", text.encode()))
    np.testing.assert_allclose(found.z, Z, atol=1e-8)
    assert (found.dx, found.dy) == pytest.approx((0.5, 2.0))
    for wrong, said in (
        (text.replace("NumPoints = 40", "NumPoints = 41"), "1200 heights, and its header says 41 × 30"),
        (text.replace("Xscale = 5e-7\n", ""), "its header lacks 'xscale'"),
        (text.replace("BAD", "high"), "“high” is not a height"),
        (text.replace("*", "#"), "no line “\\*”"),
    ):
        with pytest.raises(UnusableInput, match=said):
            read_topography(InputFile("a.sdf", wrong.encode()))


def test_a_csv_grid():
    rows = [",".join("" if np.isnan(one) else f"{1e3 * one:.4f}" for one in row) for row in Z]
    text = "\n".join(["# print: A-001", "step_x: 0.5 µm", "step_y: 2 µm", "heights: nm", *rows])
    found = read_topography(InputFile("a.csv", text.encode()))
    np.testing.assert_allclose(found.z, Z, atol=1e-6)
    assert (found.dx, found.dy) == (0.5, 2.0) and found.header["print"] == "A-001"
    with pytest.raises(UnusableInput, match="lacks step_x"):
        read_topography(InputFile("a.csv", text.replace("step_x", "x").encode()))
    with pytest.raises(UnusableInput, match="different lengths"):
        read_topography(InputFile("a.csv", (text + "\n1,2").encode()))


@pytest.mark.skipif(
    REFERENCE is None, reason="PWINDOW_REFERENCE_DIR does not name a folder of reference data"
)
@pytest.mark.parametrize(
    "name, shape, step, forgiven",
    [
        ("csafe-logo", (419, 741), 0.645, "checksum"),
        ("sample-land", (256, 918), 2.58, "root element"),
    ],
)
def test_files_of_others_that_break_the_standard(name, shape, step, forgiven):
    found = read_topography(Path(REFERENCE) / "fetched" / "x3p" / f"{name}.x3p")
    assert found.z.shape == shape and found.dx == pytest.approx(step)
    assert forgiven in found.notes[0]


def grid(z):
    rows = "\n".join(",".join(f"{value:.5g}" for value in row) for row in z)
    return InputFile("map.csv", f"step_x: 0.5 µm\nstep_y: 1 µm\nheights: nm\n{rows}\n".encode())


def ridged():
    x = np.arange(200) * 0.5
    domes = 700.0 * np.clip(1.0 - ((x - 50.0) / 20.0) ** 2, 0.0, None)
    return 300.0 + domes + np.random.default_rng(1).normal(0.0, 5.0, (40, 200))


def test_spikes_of_a_topography_are_left_out_and_told():
    z = ridged()
    z[7, 100], z[9, 20], z[30, 150] = 9e3, -4e3, 5e3
    found = read_topography(grid(z))
    assert np.argwhere(np.isnan(found.z)).tolist() == [[7, 100], [9, 20], [30, 150]]
    assert found.notes == ("3 single points far from their neighbours are left out",)


def test_numbers_of_a_topography_that_stand_for_nothing_seen():
    z = ridged()
    z[3:6, 90:110] = -9999
    found = read_topography(grid(z))
    assert np.isnan(found.z[3:6, 90:110]).all() and np.isfinite(found.z).sum() == z.size - 60
    assert found.notes == ("60 cells of -9999 are read as not seen",)
    z[3:6, 90:110] = 0.0
    with pytest.raises(
        UnusableInput, match="60 points are exactly 0 where the heights beside them are far from it"
    ):
        read_topography(grid(z))
