"""What a trial file has its settings and lengths in is what answers are written in."""

import pandas as pd
import pytest

import pwindow as pw
from pwindow.inputs import InputFile


def in_units(rows: pd.DataFrame, columns: dict[str, tuple[str, float]]) -> InputFile:
    """The rows with columns in other units."""
    own = rows.rename(columns={name: header for name, (header, _) in columns.items()})
    for header, factor in columns.values():
        own[header] *= factor
    return InputFile("own.csv", own.to_csv(index=False).encode())


@pytest.mark.parametrize(
    "columns, names",
    [
        ({}, ("m/min", "cm³/m²", "µm")),
        ({"speed [m/min]": ("speed (fpm)", 1 / 0.3048)}, ("ft/min", "cm³/m²", "µm")),
        (
            {
                "speed [m/min]": ("speed [ft/min]", 1 / 0.3048),
                "cell_volume [cm3/m2]": ("cell_volume [bcm]", 0.64516),
                "pressure [um]": ("pressure [mil]", 1 / 25.4),
            },
            ("ft/min", "BCM", "thou", "µm"),
        ),
        ({"speed [m/min]": ("speed [m/s]", 1 / 60)}, ("m/min", "cm³/m²", "µm")),
    ],
)
def test_units_of_the_file(demo_rows, columns, names):
    trial = pw.read_trial(in_units(demo_rows, columns))
    assert trial.units.names == names


def test_an_archive_keeps_the_units_of_each_file(demo_rows, tmp_path):
    from pwindow.trials.archive import Archive

    archive = Archive(str(tmp_path / "trials.db"))
    file = in_units(demo_rows, {"speed [m/min]": ("speed [ft/min]", 1 / 0.3048)})
    archive.add(file)
    assert archive.trial([1]).units.names == pw.read_trial(file).units.names == ("ft/min", "cm³/m²", "µm")


def test_a_pressure_that_files_round_otherwise_is_one(demo_rows):
    rows = demo_rows.assign(**{"pressure [um]": demo_rows["pressure [um]"].replace(50.0, 49.9999)})
    other = demo_rows.assign(print="again " + demo_rows["print"])
    trial = pw.read_trial([in_units(rows, {}), in_units(other, {})])
    assert trial.pressures == (20.0, 49.9999, 80.0)
