"""Make the invented demo trials, and the prints of a run, from the truth in ``truth.toml``.

Run ``python data_demo/make_demo.py`` to write ``trial_first.csv``, ``trial_second.csv`` and ``run_tag.csv``
anew.
This script shares no code with ``pwindow``, so it can judge what ``pwindow`` finds.
"""

import copy
import re
import tomllib
from pathlib import Path

import numpy as np
import pandas as pd

HERE = Path(__file__).parent
RESPONSES = ["log_height", "log_width", "closure", "log_resistivity"]
UNIT_FACTORS = {"ohm": 1.0, "mm": 1.0, "µm": 1.0, "deg": 1.0, "%": 0.01, "cm3/m2": 1.0}
LINES_PER_PRINT = 4
GAPS_PER_PLATE_GAP = 3
COLUMNS = {
    "print": "print",
    "make_ready": "make_ready",
    "speed": "speed [m/min]",
    "roll": "roll",
    "cell_volume": "cell_volume [cm3/m2]",
    "pressure": "pressure [um]",
    "plate": "plate",
    "direction": "direction [deg]",
    "plate_width": "plate_width [um]",
    "plate_gap": "plate_gap [um]",
    "line_height": "line_height [um]",
    "line_width": "line_width [um]",
    "section_area": "section_area [um2]",
    "gap": "gap [um]",
    "gaps_inspected": "gaps_inspected",
    "gaps_bridged": "gaps_bridged",
    "resistance": "resistance [ohm]",
    "line_length": "line_length [mm]",
}
DECIMALS = {"line_height": 3, "line_width": 2, "section_area": 2, "gap": 2, "resistance": 3}


def read_truth(path=HERE / "truth.toml"):
    """Read the truth as a nested dict; units are written in the file."""
    return tomllib.loads(Path(path).read_text(encoding="utf-8"))


def drifted(truth, name):
    """Copy of `truth` with the drift called `name` added to the means."""
    changed = copy.deepcopy(truth)
    for response, shift in truth["drift"][name].items():
        changed["surfaces"][response]["constant"] += shift
    return changed


def read_product(path):
    """Product file as a nested dict, quantities as numbers in ohm, mm, µm, deg and fractions."""
    return _numbers(tomllib.loads(Path(path).read_text(encoding="utf-8")))


def read_rolls(path=HERE / "study.toml"):
    """Cell volume in cm³/m² of each roll in the inventory, by roll id."""
    study = _numbers(tomllib.loads(Path(path).read_text(encoding="utf-8")))
    return {roll["id"]: roll["cell_volume"] for roll in study["rolls"]}


def _numbers(value):
    if isinstance(value, dict):
        return {key: _numbers(item) for key, item in value.items()}
    if isinstance(value, list):
        return [_numbers(item) for item in value]
    match = re.fullmatch(r"([-+.\de]+) (\S+)", value) if isinstance(value, str) else None
    if match and match[2] in UNIT_FACTORS:
        return float(match[1]) * UNIT_FACTORS[match[2]]
    return value


def code_factor(values, factor):
    """Coded values, -1 at the low and 1 at the high end of the factor's range."""
    scale = np.log if factor["scale"] == "log" else np.asarray
    low, high = scale(factor["low"]), scale(factor["high"])
    return (2 * scale(np.asarray(values, dtype=float)) - low - high) / (high - low)


def expected(truth, setups):
    """Mean responses at set-ups, all random effects at zero.

    Parameters
    ----------
    truth : dict
        From `read_truth`.
    setups : DataFrame
        Columns ``speed`` [m/min], ``cell_volume`` [cm³/m²], ``pressure`` [µm], ``plate``, and,
        for closure, ``plate_gap`` [µm].

    Returns
    -------
    DataFrame
        ``log_height`` [ln µm], ``log_width`` [ln µm], ``closure`` [µm; NaN without a plate gap],
        ``log_resistivity`` [ln Ω·m], on the index of `setups`.
    """
    setups = setups.assign(plate_gap=setups.get("plate_gap", np.nan))
    coded = {name: code_factor(setups[name], rule) for name, rule in truth["factors"].items()}
    plate = _plate_terms(truth["plate"], setups)
    tilt = _plate_terms(truth["plate_pressure"], setups)
    means = {
        name: _polynomial(truth["surfaces"][name], coded) + plate[name] + tilt[name] * coded["pressure"]
        for name in RESPONSES
    }
    return pd.DataFrame(means, index=setups.index)


def _plate_terms(by_plate, setups):
    return pd.DataFrame(by_plate).T.loc[setups["plate"]].set_index(setups.index)


def _polynomial(terms, coded):
    def column(term):
        if term == "constant":
            return 1.0
        return np.prod([coded[factor] for factor in term.split(":")], axis=0)

    return sum(coefficient * column(term) for term, coefficient in terms.items())


def covariance(truth, level):
    """Covariance of the four responses at level ``"make_ready"``, ``"print"`` or ``"feature"``."""
    sd = np.array([truth["sd"][level][name] for name in RESPONSES])
    if level == "feature":
        return np.diag(sd**2)
    rows = [[truth["correlation"][a][b] for b in RESPONSES] for a in RESPONSES]
    return np.array(rows) * np.outer(sd, sd)


def _effects(truth, level, count, rng):
    # Cholesky: the default method may flip signs between linear algebra libraries.
    return rng.standard_normal((count, 4)) @ np.linalg.cholesky(covariance(truth, level)).T


def layout_first():
    """Layout of the first trial: one row per print."""
    return _layout("first")


def layout_second():
    """Layout of the later trial: one row per print."""
    return _layout("second")


def layout_run():
    """Layout of the prints of a run: one row per print."""
    return _layout("run")


def _layout(name):
    layouts = tomllib.loads((HERE / "layouts.toml").read_text(encoding="utf-8"))
    trial, volumes = layouts["trials"][name], read_rolls()
    prefix = trial["id_prefix"]
    rows = [
        (f"{prefix}-M{number:02d}", float(speed), roll, volumes[roll], float(pressure), plate)
        for number, (roll, plate, pattern) in enumerate(trial["mountings"], start=1)
        for speed, pressure in layouts["patterns"][pattern]
    ]
    names = ["make_ready", "speed", "roll", "cell_volume", "pressure", "plate"]
    layout = pd.DataFrame(rows, columns=names)
    layout.insert(0, "print", [f"{prefix}-{number:03d}" for number in range(1, len(rows) + 1)])
    return layout


def simulate_trial(truth, layout, rng, plate_gaps=None):
    """Trial in the form of the trial file: one row per measured line or gap.

    Parameters
    ----------
    truth : dict
        From `read_truth` or `drifted`.
    layout : DataFrame
        One row per print, as `layout_first` gives it.
    rng : numpy.random.Generator
    plate_gaps : sequence of float, µm, optional
        Both of the trials unless given.

    Returns
    -------
    DataFrame
        Columns as in `COLUMNS`, units in brackets.
    """
    of_run = layout["make_ready"].factorize()[0]
    run_effects = _effects(truth, "make_ready", of_run.max() + 1, rng)[of_run]
    effects = run_effects + _effects(truth, "print", len(layout), rng)
    rows = _feature_rows(truth, layout, plate_gaps)
    values = expected(truth, rows) + effects[rows["print_index"]]
    values += _effects(truth, "feature", len(rows), rng)
    measured = _measure(truth, rows, values, rng).round(DECIMALS)
    return _with_gap_counts(rows.join(measured))[list(COLUMNS)].rename(columns=COLUMNS)


def _feature_rows(truth, layout, plate_gaps):
    if plate_gaps is None:
        plate_gaps = [truth["factors"]["plate_gap"][end] for end in ("low", "high")]
    features = pd.DataFrame(
        [(number, np.nan) for number in range(LINES_PER_PRINT)]
        + [(np.nan, plate_gap) for plate_gap in plate_gaps for _ in range(GAPS_PER_PLATE_GAP)],
        columns=["line_number", "plate_gap"],
    )
    rows = layout.assign(print_index=np.arange(len(layout)), direction=0.0)
    rows["plate_width"] = rows["plate"].map(truth["plate_width"])
    return rows.merge(features, how="cross")


def _with_gap_counts(rows):
    is_gap = rows["plate_gap"].notna()
    bridged = rows["gap"] <= 0  # after rounding, so that no open gap reads 0
    return rows.assign(
        gap=rows["gap"].mask(bridged),
        gaps_inspected=is_gap.astype("Int64").where(is_gap),
        gaps_bridged=bridged.astype("Int64").where(is_gap),
    )


def _measure(truth, rows, values, rng):
    """Turn the responses of each feature into what the instruments read."""
    line = truth["line"]
    area_noise = rng.normal(0.0, line["section_factor_sd"], len(rows))
    is_line = rows["line_number"].notna()
    has_area = rows["line_number"] < 2
    has_resistance = rows["line_number"] >= 2
    height, width = np.exp(values["log_height"]), np.exp(values["log_width"])
    area = line["section_factor"] * height * width  # µm²
    length = line["resistance_length"]
    # The same stretch of line is profiled and probed; mm / µm² = 1e9 / m.
    resistance = np.exp(values["log_resistivity"]) * length * 1e9 / area
    return pd.DataFrame(
        {
            "line_height": height.where(is_line),
            "line_width": width.where(is_line),
            "section_area": (area * np.exp(area_noise)).where(has_area),
            "gap": rows["plate_gap"] - values["closure"],
            "resistance": resistance.where(has_resistance),
            "line_length": pd.Series(length, rows.index).where(has_resistance),
        }
    )


def simulate_next_runs(truth, setup, product, n, rng):
    """Whether each of `n` next runs, each a new make-ready and a new print, meets a product.

    Parameters
    ----------
    truth : dict
        From `read_truth` or `drifted`.
    setup : dict
        ``speed`` [m/min], ``cell_volume`` [cm³/m²], ``pressure`` [µm]: each a number, or `n`
        numbers where settings vary from run to run.
    product : dict
        From `read_product`; its pattern gives plate, plate gap and pitch.
    n : int
    rng : numpy.random.Generator

    Returns
    -------
    DataFrame
        `n` rows, one boolean column per requirement and ``all``; the mean of a column is the
        true conformance probability. Line and sheet resistance and line width are those of the
        print, without feature variation; every one of the gaps carries its own.
    """
    pattern = product["pattern"]
    plates = {name: pattern[name] for name in ("plate", "plate_gap")}
    setups = pd.DataFrame({**setup, **plates}, index=range(n))
    runs = expected(truth, setups)
    runs += _effects(truth, "make_ready", n, rng) + _effects(truth, "print", n, rng)
    met = {
        name: _within(_part_values(name, limits, truth, runs, pattern, rng), limits)
        for name, limits in product["requirements"].items()
    }
    return pd.DataFrame(met).assign(all=np.all(list(met.values()), axis=0))


def _part_values(name, limits, truth, runs, pattern, rng):
    """Values a requirement limits: one row per run, one column per place on the part."""
    width = np.exp(runs["log_width"].to_numpy())[:, None]  # µm
    if name == "line_width":
        return width
    if name == "gap":
        printed = pattern["plate_gap"] - runs["closure"].to_numpy()[:, None]
        noise = rng.normal(0.0, truth["sd"]["feature"]["closure"], (len(runs), limits["count"]))
        return printed - noise
    if name == "open_area":
        open_share = 1 - width / pattern["pitch"]
        return open_share ** {"square mesh": 2, "parallel lines": 1}[pattern["layout"]]
    height, resistivity = np.exp(runs[["log_height", "log_resistivity"]].to_numpy()).T[:, :, None]
    area = truth["line"]["section_factor"] * height * width
    if name == "line_resistance":
        return resistivity * limits["length"] * 1e9 / area
    if name == "sheet_resistance":
        return resistivity * pattern["pitch"] * 1e6 / area
    raise ValueError(f"requirement {name!r} is not known; remove it or add its formula here")


def _within(values, limits):
    above = values >= limits.get("least", -np.inf)
    return (above & (values <= limits.get("most", np.inf))).all(axis=1)


def main():
    """Write the trial files and the prints of a run beside this script."""
    truth = read_truth()
    later = drifted(truth, "second")
    tag_gap = read_product(HERE / "tag.toml")["pattern"]["plate_gap"]
    rng = np.random.default_rng(truth["trial_seed"])
    made = {
        "trial_first": simulate_trial(truth, layout_first(), rng),
        "trial_second": simulate_trial(later, layout_second(), rng),
        "run_tag": simulate_trial(later, layout_run(), rng, [tag_gap]),
    }
    for name, rows in made.items():
        rows.to_csv(HERE / f"{name}.csv", index=False, lineterminator="\n")


if __name__ == "__main__":
    main()
