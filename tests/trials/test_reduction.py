"""What features reduce to."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from pwindow.surfaces.model.responses import response_data
from pwindow.trials.columns import COLUMNS
from pwindow.trials.reduction import reduce_features
from tests.helpers.trials import read_text

NAN = np.nan


def features(columns, rows) -> pd.DataFrame:
    frame = pd.DataFrame(rows, columns=columns).reindex(columns=list(COLUMNS))
    numbers = [name for name, column in COLUMNS.items() if column.kind != "text"]
    return frame.astype(dict.fromkeys(numbers, float))


def test_cells_count_measured_bridged_and_open_gaps():
    cells = reduce_features(
        features(
            ["print", "plate_gap", "gap", "gaps_inspected", "gaps_bridged", "gap_length"],
            [
                ("A", 50, 12.0, 1, 0, 3.0),
                ("A", 50, 10.0, 1, 0, 2.0),
                ("A", 50, 8.0, 1, 0, NAN),
                ("B", 50, 2.0, 1, 0, NAN),
                ("B", 50, 4.0, 1, 0, NAN),
                ("B", 50, NAN, 1, 1, NAN),
                ("C", 50, NAN, 5, 5, NAN),
                ("D", 50, NAN, NAN, NAN, NAN),
                ("E", 50, 20.0, 9, 2, NAN),
                ("F", 50, NAN, 7, 0, NAN),
            ],
        )
    ).set_index("print")
    assert list(cells.index) == ["A", "B", "C", "E", "F"]
    assert set(cells["quantity"]) == {"gap_closure"}
    assert list(cells["count"]) == [3, 2, 0, 1, 0]
    assert list(cells["bridged"]) == [0, 1, 5, 2, 0]
    assert list(cells["unmeasured"]) == [0, 0, 0, 6, 7]
    assert list(cells["squares"]) == pytest.approx([8.0, 2.0, 0.0, 0.0, 0.0])
    assert cells.loc["A", ["mean", "gap_length"]].tolist() == [40.0, 2.0]


def test_lines_of_one_width_and_direction_are_a_cell():
    rows = [("A", 30, 0, 1.0), ("A", 30, 90, 1.2), ("A", 30, 0, 1.4), ("A", 50, 0, 2.0), ("B", NAN, NAN, 0.8)]
    cells = reduce_features(features(["print", "plate_width", "direction", "line_height"], rows))
    assert list(cells["count"]) == [2, 1, 1, 1]
    assert cells["mean"].iloc[0] == pytest.approx(np.log(1.4) / 2)
    assert cells["squares"].iloc[0] == pytest.approx(np.log(1.4) ** 2 / 2)


def test_a_resistance_without_section_is_counted_as_lost():
    columns = ["print", "line_height", "line_width", "resistance", "line_length"]
    rows = [("A", 1.0, 60.0, 20.0, 5.0), ("A", NAN, NAN, 22.0, 5.0), ("B", 1.1, NAN, 21.0, 5.0)]
    cells = reduce_features(features(columns, rows))
    probed = cells[cells["quantity"] == "per_section"].set_index("print")
    assert probed["count"].to_dict() == {"A": 2, "B": 0}
    expected = np.log([20.0 / 5e-3 * 60.0, 22.0 / 5e-3 * 60.0]).mean()
    assert probed.loc["A", "mean"] == pytest.approx(expected)


def test_variance_inside_cells_is_that_of_an_analysis_of_variance():
    """Against scipy's one-way analysis of variance, F = MS_between / MS_within."""
    rng = np.random.default_rng(4)
    logs = [rng.normal(0.1 * at, 0.1, size) for at, size in enumerate((3, 5, 1, 4))]
    rows = [f"{name},60,4,50,{np.exp(value):.15g}" for name, group in zip("ABCD", logs) for value in group]
    head = "print,speed [m/min],cell_volume [cm3/m2],pressure [um],line_height [um]"
    data = response_data(read_text("\n".join([head, *rows, ""])))["line_height"]
    grand = np.concatenate(logs).mean()
    between = sum(len(g) * (g.mean() - grand) ** 2 for g in logs) / 3
    assert data.feature_df == 9
    assert between / data.feature_variance == pytest.approx(stats.f_oneway(*logs).statistic, rel=1e-9)


def test_single_features_tell_no_variance():
    head = "print,speed [m/min],cell_volume [cm3/m2],pressure [um],line_height [um]"
    data = response_data(read_text(f"{head}\nA,60,4,50,1.0\nB,60,4,50,1.1\n"))["line_height"]
    assert (data.feature_variance, data.feature_df) == (0.0, 0)


def test_uncertainties_of_measuring_go_with_the_cells():
    """Of logarithms they are relative to the value; a feature that does not tell its own is left out."""
    columns = ["print", "line_height", "u_line_height", "gap", "plate_gap", "u_gap"]
    rows = [("A", 1.0, 0.01, NAN, NAN, NAN), ("A", 2.0, 0.04, NAN, NAN, NAN), ("A", 1.0, NAN, NAN, NAN, NAN)]
    rows += [
        ("A", NAN, NAN, 30.0, 60.0, 0.2),
        ("A", NAN, NAN, 31.0, 60.0, 0.4),
        ("B", NAN, NAN, 31.0, 60.0, NAN),
    ]
    cells = reduce_features(features(columns, rows)).set_index(["print", "quantity"])
    assert cells.loc[("A", "line_height"), "error"] == pytest.approx((0.01**2 + 0.02**2) / 2)
    assert cells.loc[("A", "gap_closure"), "error"] == pytest.approx((0.2**2 + 0.4**2) / 2)
    assert np.isnan(cells.loc[("B", "gap_closure"), "error"])
