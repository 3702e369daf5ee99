"""Trials of other shapes, made from the truth of the demo: each answers, or says truly why not."""

import json

import numpy as np
import pandas as pd
import pytest

import pwindow as pw
from tests.helpers.commands import run

GAP, PLATE_GAP = "gap [um]", "plate_gap [um]"
LINE_COLUMNS = [
    "line_height [um]",
    "line_width [um]",
    "section_area [um2]",
    "resistance [ohm]",
    "line_length [mm]",
]
GAP_COLUMNS = [GAP, PLATE_GAP, "gaps_inspected", "gaps_bridged"]
HEAD = '[pattern]\nplate = "laser-imaged"\n'
TAG = pw.demo("tag.toml").read_text(encoding="utf-8")
ONLY_GAP = HEAD + 'plate_gap = "60 µm"\n[requirements.gap]\nleast = "16 µm"\ncount = 48\n'
ONLY_HEIGHT = HEAD + '[requirements.line_height]\nleast = "0.6 µm"\n'
MESH = pw.demo("mesh.toml").read_text(encoding="utf-8")
INK = '[ink]\nresistivity = "9.5e-8 ohm m"\nresistivity_spread = "4 %"\n'


def lines(rows):
    return rows[rows[PLATE_GAP].isna()]


def gaps(rows):
    return rows[rows[PLATE_GAP].notna()].drop(columns=LINE_COLUMNS)


def one_each(rows):
    """One line and one gap of each plate gap on every print."""
    useful = rows[rows["resistance [ohm]"].notna() | rows[PLATE_GAP].notna()]
    return useful.groupby(["print", useful[PLATE_GAP].fillna(-1.0)], sort=False).head(1)


def one_row(rows, gap=75.0):
    """Everything of a print on one row."""
    line = rows[rows["resistance [ohm]"].notna()].groupby("print", sort=False).head(1).set_index("print")
    of_gap = rows[rows[PLATE_GAP] == gap].groupby("print", sort=False).head(1).set_index("print")
    return line.assign(**{name: of_gap[name] for name in GAP_COLUMNS}).reset_index()


def without(*columns):
    return lambda rows: rows.drop(columns=list(columns))


SHAPES = {
    "as it is": (lambda rows: rows, TAG),
    "no make_ready": (without("make_ready"), TAG),
    "no plate": (without("plate"), TAG),
    "no plate and no plate width": (without("plate", "plate_width [um]"), TAG),
    "no direction": (without("direction [deg]"), TAG),
    "no roll": (without("roll"), TAG),
    "no section area": (without("section_area [um2]"), TAG),
    "one plate gap": (
        lambda r: r[r[PLATE_GAP].isna() | (r[PLATE_GAP] == 75)],
        TAG.replace('"60 µm"', '"75 µm"').replace('"42 µm"', '"60 µm"'),
    ),
    "one feature each": (one_each, TAG),
    "no gaps": (lambda r: lines(r).drop(columns=GAP_COLUMNS), MESH),
    "lines only, gap columns empty": (lines, MESH),
    "only heights": (lambda r: lines(r)[list(r.columns[:9]) + ["line_height [um]"]], ONLY_HEIGHT),
    "only gaps": (gaps, ONLY_GAP),
    "constant pressure": (lambda r: r[r["pressure [um]"] == 50], TAG),
    "constant speed": (lambda r: r.assign(**{"speed [m/min]": 60.0}), TAG),
    "one row each": (one_row, TAG.replace('"60 µm"', '"75 µm"').replace('"42 µm"', '"60 µm"')),
    "two rows each with two plate gaps": (
        lambda r: pd.concat([one_row(r, 45.0), one_row(r, 75.0)]),
        TAG,
    ),
    "kiss pressure tried": (lambda r: r.assign(**{"pressure [um]": r["pressure [um]"] - 20}), TAG),
    "height and width on different rows": (
        lambda r: pd.concat(
            [
                lines(r).drop(columns=["line_width [um]", "section_area [um2]"]),
                lines(r)[[*r.columns[:9], "line_width [um]"]],
            ]
        ),
        MESH,
    ),
}


@pytest.fixture
def speeds(tmp_path):
    def call(frame, product, study=None):
        trial, part = tmp_path / "trial.csv", tmp_path / "part.toml"
        frame.to_csv(trial, index=False)
        part.write_text(product, encoding="utf-8")
        more = []
        if study:
            (tmp_path / "study.toml").write_text(study, encoding="utf-8")
            more = ["--study", tmp_path / "study.toml"]
        return run("speeds", trial, "--product", part, "--json", *more)

    return call


@pytest.mark.slow
@pytest.mark.parametrize("change, product", SHAPES.values(), ids=SHAPES.keys())
def test_answers(speeds, simulated, change, product):
    result = speeds(change(simulated), product)
    assert result.exit_code == 0, result.stderr
    found = json.loads(result.stdout)
    assert found["bands"] or found["closest"]
    for band in found["bands"]:
        assert found["assurance"] <= band["conformance_at_fastest"] <= 1


@pytest.mark.slow
def test_no_resistance_needs_the_stated_resistivity(speeds, simulated):
    bare = simulated.drop(columns=["resistance [ohm]", "line_length [mm]"])
    refused = speeds(bare, TAG)
    assert refused.exit_code == 1 and "[ink] resistivity" in refused.stderr
    told = json.loads(speeds(bare, TAG, INK).stdout)
    measured = json.loads(speeds(simulated, TAG).stdout)
    fastest = [
        max(band["fastest_speed_m_min"] for band in found["bands"] if band["pressure_um"] == 20.0)
        for found in (told, measured)
    ]
    assert fastest[0] == pytest.approx(fastest[1], rel=0.25)


REFUSED = {
    "no gaps for a gap": (lambda r: lines(r).drop(columns=GAP_COLUMNS), TAG, ["gap"]),
    "only heights for a resistance": (
        lambda r: lines(r)[list(r.columns[:9]) + ["line_height [um]"]],
        TAG,
        ["line_width"],
    ),
    "only gaps for a resistance": (gaps, TAG, ["line_height", "line_width"]),
    "another plate gap": (
        lambda r: r[r[PLATE_GAP].isna() | (r[PLATE_GAP] == 75)],
        TAG,
        ["plate gap 60 µm", "75 µm"],
    ),
    "nip load against µm": (
        lambda r: r.rename(columns={"pressure [um]": "pressure [N/mm]"}),
        TAG,
        ["pressure_tolerance", "N/mm"],
    ),
    "one print": (lambda r: r.head(10), TAG, ["1 print "]),
    "counts of closed gaps only": (
        lambda r: gaps(r).assign(**{GAP: np.nan, "gaps_bridged": 1}),
        ONLY_GAP,
        ["bridged"],
    ),
    "counts without one measured gap": (
        lambda r: gaps(r).drop(columns=GAP),
        ONLY_GAP,
        ["counted bridged gaps", '"0 µm"'],
    ),
}


@pytest.mark.slow
@pytest.mark.parametrize("change, product, words", REFUSED.values(), ids=REFUSED.keys())
def test_says_truly_why_not(speeds, simulated, change, product, words):
    result = speeds(change(simulated), product)
    assert (result.exit_code, result.stdout) == (1, ""), result.stdout[:300]
    assert [word for word in words if word not in result.stderr] == []


@pytest.mark.slow
def test_settings_that_leave_no_choice_need_not_be_typed(simulated, tmp_path):
    trial = tmp_path / "trial.csv"
    simulated[simulated["pressure [um]"] == 50].drop(columns=["plate", "plate_width [um]"]).to_csv(
        trial, index=False
    )
    result = run("predict", trial, "--at", "speed=60 m/min, roll=1318", "--json")
    assert result.exit_code == 0, result.stderr
    assert json.loads(result.stdout)["points"][0]["at"]["pressure_um"] == 50.0


@pytest.mark.slow
def test_one_gap_a_print_does_not_make_48_gaps_as_safe_as_one(speeds, simulated):
    """One gap a print hides its own spread in the print's: it must not be taken as none."""
    frame = one_row(simulated)

    def conformance(count):
        product = (
            ONLY_GAP.replace('"60 µm"', '"75 µm"').replace('"16 µm"', '"46 µm"').replace("48", str(count))
        )
        found = json.loads(speeds(frame, product).stdout)
        return max(
            [band["conformance_at_safest"] for band in found["bands"]]
            or [found["closest"] and found["closest"]["joint"]]
        )

    assert 1 - conformance(48) > 3 * (1 - conformance(1))
