"""A gauge study against a published one, and on data whose variances are known."""

import json
import os
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner

from pwindow.cli import main
from pwindow.errors import UnusableInput
from pwindow.metrology.gauge import gauge_study

REFERENCE = os.environ.get("PWINDOW_REFERENCE_DIR")


def simulated(
    parts=40, operators=6, repeats=5, *, part=2.0, operator=0.5, interaction=0.3, error=0.4, seed=1
):
    rng = np.random.default_rng(seed)
    p, o = rng.normal(0, part, parts), rng.normal(0, operator, operators)
    both = rng.normal(0, interaction, (parts, operators))
    rows = [
        (f"P{i}", f"O{j}", k, 10 + p[i] + o[j] + both[i, j] + rng.normal(0, error))
        for i in range(parts)
        for j in range(operators)
        for k in range(repeats)
    ]
    return pd.DataFrame(rows, columns=["part", "operator", "repeat", "value"])


@pytest.fixture(scope="module")
def published():
    if REFERENCE is None:
        pytest.skip("PWINDOW_REFERENCE_DIR does not name a folder of reference data")
    folder = Path(REFERENCE)
    table = pd.read_csv(folder / "gauge_rr.csv").rename(columns={"rep": "repeat", "y": "value"})
    return gauge_study(table), json.loads((folder / "gauge_rr.json").read_text())["published"]


def test_the_published_analysis_of_variance(published):
    """Montgomery & Runger 1993, Quality Engineering 6: 20 parts, 3 operators, 2 repeats; to the last printed digit."""
    found, printed = published
    names = {"part": "part", "operator": "operator", "part_operator": "interaction", "error": "repeatability"}
    for theirs, ours in names.items():
        assert found.anova.loc[ours, "sum_of_squares"] == pytest.approx(printed["SS"][theirs], abs=6e-4)
        assert found.anova.loc[ours, "mean_square"] == pytest.approx(printed["MS"][theirs], abs=6e-4)
    for theirs in ("part", "operator", "part_operator"):
        assert found.anova.loc[names[theirs], "f"] == pytest.approx(printed["F"][theirs], abs=6e-3)


def test_the_published_components_and_the_reduced_model(published):
    found, printed = published
    assert found.components.part == pytest.approx(printed["components"]["part"], abs=6e-3)
    assert found.components.operator == pytest.approx(printed["components"]["operator"], abs=6e-5)
    assert found.components.interaction == pytest.approx(printed["components"]["part_operator"], abs=6e-5)
    reduced = printed["reduced_model"]
    assert found.reduced.part == pytest.approx(reduced["part"], abs=6e-5)
    assert found.reduced.operator == pytest.approx(reduced["operator"], abs=6e-5)
    assert found.reduced.repeatability == pytest.approx(reduced["repeatability"], abs=6e-5)
    assert found.chosen.gauge == pytest.approx(printed["gauge_var_reduced"], abs=6e-5)


def test_likelihood_finds_the_reduced_model_where_a_variance_is_zero(published):
    """At the edge the restricted likelihood of a balanced study has its highest value at the reduced model's moments."""
    found, _ = published
    assert found.likelihood.interaction == pytest.approx(0.0, abs=1e-6)
    assert found.likelihood.part == pytest.approx(found.reduced.part, rel=2e-4)
    assert found.likelihood.operator == pytest.approx(found.reduced.operator, rel=2e-3)
    assert found.likelihood.repeatability == pytest.approx(found.reduced.repeatability, rel=2e-4)


def test_known_variances_are_found():
    found = gauge_study(simulated())
    assert found.reduced is None and found.chosen is found.components
    assert found.chosen.repeatability == pytest.approx(0.16, rel=0.1)
    assert found.chosen.interaction == pytest.approx(0.09, rel=0.3)
    assert found.likelihood.part == pytest.approx(found.components.part, rel=1e-3)
    low, high = found.interval()
    assert low < 0.4 < high and found.categories >= 1


def test_a_study_with_missing_values_is_left_to_the_likelihood():
    whole = simulated(parts=12, operators=3, repeats=3)
    found = gauge_study(whole.drop(index=[0, 7, 40]))
    assert found.anova is None and found.chosen is found.likelihood
    assert found.likelihood.repeatability == pytest.approx(
        gauge_study(whole).likelihood.repeatability, rel=0.15
    )


def test_one_operator_has_no_reproducibility():
    found = gauge_study(simulated(parts=15, operators=1, repeats=4).drop(columns="operator"))
    assert found.chosen.operator is None and list(found.anova.index) == ["part", "repeatability", "total"]
    assert found.error == pytest.approx(np.sqrt(found.chosen.repeatability))


@pytest.mark.parametrize(
    "table, said",
    [
        (simulated().drop(columns="part"), "“part” is missing"),
        (simulated(parts=2), "2 parts, and at least 3 are needed"),
        (simulated(repeats=1), "no part was measured twice"),
        (simulated().assign(value=1.0), "all values are alike"),
    ],
)
def test_what_cannot_be_studied_says_why(table, said):
    with pytest.raises(UnusableInput, match=said):
        gauge_study(table)


def test_the_command(tmp_path):
    path = tmp_path / "gauge.csv"
    simulated(parts=10, operators=3, repeats=2).rename(columns={"value": "value [µm]"}).to_csv(
        path, index=False
    )
    text = CliRunner().invoke(main, ["gauge", str(path)])
    assert (
        text.exit_code == 0
        and "measuring error: " in text.output
        and " µm (standard deviation)" in text.output
    )
    answer = json.loads(CliRunner().invoke(main, ["gauge", str(path), "--json"]).output)
    assert answer["unit"] == "µm" and answer["parts"] == 10 and answer["measuring_error"] > 0.3
    written = path.read_text()
    path.write_text(written.rstrip() + '\nP0,O0,9,"1,234"\n')
    assert "could be two" in CliRunner().invoke(main, ["gauge", str(path)]).output
    path.write_text(written.replace("10.", "ten.", 1))
    wrong = CliRunner().invoke(main, ["gauge", str(path)])
    assert wrong.exit_code == 1 and "is not a number" in wrong.output
