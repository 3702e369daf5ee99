"""Answers as text for a terminal."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import pandas as pd

from pwindow.product import REQUIREMENT_KINDS, Assurance
from pwindow.study import Roll
from pwindow.window.setup import planned_notes
from pwindow.wording import (
    METRIC,
    Unit,
    Units,
    amount,
    asked,
    at_least,
    counted,
    mounting_words,
    percent,
    signed,
    speed_change,
    stated,
    term_words,
    to_width,
    with_interval,
)

_TOLD_ERROR = 0.001
"""Sampling error from which on it is told."""


def table(frame: pd.DataFrame, *, index: bool = False) -> str:
    """A table with aligned columns and short numbers."""
    return frame.to_string(index=index, float_format=lambda value: amount(value, 4), na_rep="–")


def summary_text(summary: Mapping, units: Units = METRIC) -> str:
    """What was read from a trial."""
    measured = ", ".join(f"{count} {name}" for name, count in summary["measured"].items() if count)
    lines = [
        *(f"WARNING: {warning}" for warning in summary["warnings"]),
        f"{', '.join(summary['files'])}: {counted(summary['prints'], 'print', 'prints')} {_mounted(summary)}, "
        f"{counted(summary['features'], 'feature', 'features')} (trial {summary['fingerprint']})",
        f"measured: {measured or 'counts only'}; {summary['gaps_bridged']} of {summary['gaps_inspected']} "
        "inspected gaps bridged",
        "",
        table(_ranges(summary["ranges"], units), index=True),
        "",
        "rolls: "
        + ", ".join(f"{name} ({units.volume.words(volume)})" for name, volume in summary["rolls"].items()),
    ]
    if summary["plates"]:
        lines.append("plates: " + ", ".join(summary["plates"]))
    if summary["constant"]:
        constant = ", ".join(
            f"{name} {_unit_of(name, summary, units).number(value)}"
            if isinstance(value, float)
            else f"{name} {value}"
            for name, value in summary["constant"].items()
        )
        lines.append(f"constant: {constant}")
    return "\n".join([*lines, *(f"note: {note}" for note in summary["notes"])])


def _ranges(ranges: Mapping[str, Mapping], units: Units) -> pd.DataFrame:
    """Smallest and largest value of each column, in the units of the text."""
    rows = {}
    for name, found in ranges.items():
        unit = units.of_column(name, found["unit"] or "")
        ends = {end: unit.of(found[end]) for end in ("least", "most")}
        rows[name] = {"unit": unit.name, **ends, "values": found["levels"]}
    return pd.DataFrame.from_dict(rows, orient="index")


def _unit_of(name: str, summary: Mapping, units: Units) -> Unit:
    return units.of_column(name, summary["ranges"][name]["unit"])


def _mounted(summary: Mapping) -> str:
    count = summary["make_readies"]
    return (
        "(make_ready is not recorded)"
        if count is None
        else f"in {counted(count, 'make-ready', 'make-readies')}"
    )


def fit_text(answer: Mapping) -> str:
    """Everything a fit reports."""
    trial = answer["trial"]
    parts = [
        f"{', '.join(trial['files'])}: {trial['prints']} prints (trial {trial['fingerprint']}, fit {trial['fit']})",
        "settings are coded from −1 to 1 over their tried ranges; standard deviations are on the modelled scale",
    ]
    parts += [_surface_text(surface) for surface in answer["surfaces"].values()]
    correlation = _in_words(pd.DataFrame(answer["residual_correlation"])).rename(columns=term_words)
    parts.append("correlation of residuals within a print\n" + table(correlation, index=True))
    parts.append(_spread_ratios_text(answer["spread_ratios"]))
    if answer["drift"]:
        drifts = _in_words(pd.DataFrame.from_dict(answer["drift"], orient="index"))
        parts.append(
            "change from the first print to the last, on the modelled scale\n" + table(drifts, index=True)
        )
    parts.append(_findings_text(answer["findings"]))
    parts.append("\n".join(f"note: {note}" for note in answer["notes"]))
    return "\n\n".join(parts)


def _spread_ratios_text(ratios: Mapping[str, Mapping[str, Mapping[str, float]]]) -> str:
    """How many times the spread at the low end of each setting that at its high end is."""
    settings = dict.fromkeys(setting for own in ratios.values() for setting in own)
    rows = {
        name: {
            setting: f"{own[setting]['ratio']:.2f} ({own[setting]['low']:.2f} … {own[setting]['high']:.2f})"
            for setting in settings
            if setting in own
        }
        for name, own in ratios.items()
    }
    return (
        "spread from print to print at the high end of each setting, as a multiple of that at its low end (95 % interval)\n"
        + table(pd.DataFrame.from_dict(rows, orient="index"), index=True)
    )


def _in_words(rows: pd.DataFrame) -> pd.DataFrame:
    """Rows named by responses or terms, as these are read."""
    return rows.rename(index=term_words)


def _findings_text(findings: Sequence[Mapping]) -> str:
    if not findings:
        return "warnings: none"
    lines = (f"{at}. {finding['sentence']}" for at, finding in enumerate(findings, start=1))
    return "\n".join(["warnings, serious ones first", *lines])


def _surface_text(surface: Mapping) -> str:
    from pwindow.surfaces.checks.diagnostics import EVEN_SPREAD

    checks = {EVEN_SPREAD: "constant spread (Breusch-Pagan)"}
    spread = {name: value for name, value in surface["standard_deviations"].items() if value is not None}
    anova, lack = surface["analysis_of_variance"], surface["lack_of_fit"]
    lines = [
        f"── {surface['response']}, {surface['scale']} ── {surface['prints']} prints, {surface['cells']} means",
        table(_in_words(pd.DataFrame.from_dict(surface["coefficients"], orient="index")), index=True),
        f"R² {surface['r2']:.4f}, adjusted {surface['adjusted_r2']:.4f}, predicted "
        f"{_number(surface['predicted_r2'])} (PRESS {_number(surface['press'])}, leaving out one "
        f"{surface['left_out']} at a time)",
        f"model: F({anova['df_model']}, {anova['df_residual']}) = {_number(anova['f'])}, p {_number(anova['p'])}",
        "lack of fit: no set-up was repeated, so it cannot be tested"
        if lack is None
        else f"lack of fit: F({lack['df']}, {lack['df_pure']}) = {_number(lack['f'])}, p {_number(lack['p'])}",
        "standard deviations: "
        + ", ".join(f"{_SPREADS.get(name, name)} {amount(value, 4)}" for name, value in spread.items())
        + f" ({surface['df_next_print']:.1f} degrees of freedom)",
        f"largest leverage: print {surface['largest_leverage']['print']} {surface['largest_leverage']['leverage']:.3f}",
    ]
    if surface["cells_checked"] < surface["cells"]:
        lines.append(
            f"bridged gaps hide some closures: only the residuals of {surface['cells_checked']} means can be checked"
        )
    for name, check in surface["residual_checks"].items():
        lines.append(f"{checks.get(name, name)}: p {_number(check['p'])}, {check['meaning']}")
    return "\n".join(lines)


_SPREADS = {"make_ready": "make-ready", "next_print_measured": "new print as measured"}
"""Words for standard deviations that ``--json`` names in a way of its own."""


def _number(value: float | None) -> str:
    return "not defined" if value is None else amount(value, 4)


def place_words(at: Mapping, units: Units = METRIC) -> str:
    """A set-up as one line.

    Parameters
    ----------
    at : mapping
        Each setting by the name that ``--json`` gives it.
    units : Units
        To write it in.
    """
    return ", ".join(_setting(name, value, units) for name, value in at.items())


_SETTINGS = {
    "speed_m_min": ("speed", "speed"),
    "cell_volume_cm3_m2": ("cell volume", "volume"),
    **dict.fromkeys(("pressure_um", "pressure_n_mm", "pressure_kpa"), ("pressure", "pressure")),
    "plate_width_um": ("plate width", "length"),
    "plate_gap_um": ("plate gap", "length"),
}
"""Words and unit of settings, by the names that ``--json`` gives them."""


def _setting(name: str, value: object, units: Units) -> str:
    if isinstance(value, (int, float)) and name in _SETTINGS:
        words, quantity = _SETTINGS[name]
        unit: Unit = getattr(units, quantity)
        return f"{words} {unit.words(value)}"
    words = name.removesuffix("_deg").replace("_", " ")
    return (
        f"{words} {_short(value)}{' deg' * name.endswith('_deg')}"
        if isinstance(value, float)
        else f"{words} {value}"
    )


def _short(value: float) -> str:
    return stated(value)


def predict_text(answer: Mapping, units: Units = METRIC) -> str:
    """Predictions at each set-up."""
    rolls = [Roll(name, volume, planned=True) for name, volume in answer.get("planned_rolls", {}).items()]
    parts = [
        *(f"note: {note}" for note in planned_notes(rolls)),
        *(f"note: {one}" for one in assumed_notes(answer)),
    ]
    for point in answer["points"]:
        place = place_words(point["at"], units)
        where = (
            "inside the trial region"
            if point["in_trial_region"]
            else ("OUTSIDE the trial region: nothing was tried there; do not rely on these numbers")
        )
        lines = [
            f"{place}: {where}",
            _response_table(point["responses"], units),
        ]
        if "conformance" in point:
            shares = ", ".join(
                f"{_label(name)} {percent(value, answer['assurance'])}"
                for name, value in point["conformance"].items()
            )
            lines.append(f"probability that a print of the next run meets: {shares}")
            lines.append(_how_sure(point["conformance_interval"], point["conformance"]["joint"]))
            if "tail_range" in point:
                lines.append(_over_tails(point["tail_range"], answer["assurance"]))
            if point["sampling_error"] >= _TOLD_ERROR:
                lines.append(
                    f"numerical error of that probability: {100 * point['sampling_error']:.1f} percentage points (standard error)"
                )
        parts.append("\n".join(lines))
    return "\n\n".join([*parts, _EACH])


def assumed_notes(answer: Mapping) -> list[str]:
    """What is doubtful in the trial, and what probabilities assume where it does not show how much make-readies differ.

    Parameters
    ----------
    answer : mapping
        With ``trial``, as `pwindow.cli.answers.evidence` gives it.
    """
    sentences, found = list(answer["trial"]["warnings"]), answer["trial"]["make_readies"]
    if not found["spread_measured"]:
        sentences.append(f"{found['assumption']}; {found['cure']}")
    return sentences


_EACH = (
    "Intervals are of each response by itself; probabilities, pages and documents take all responses together, whose "
    "intervals differ a little."
)
_ENDS = {"mean": "95 % of the mean", "obs": "next print, 95 %", "most": "95 % of all prints"}
"""Pairs of columns of predictions, in words."""


def _response_table(responses: Mapping[str, Mapping], units: Units) -> str:
    """Predictions, each with the decimals that its prediction interval leaves."""
    rows = {}
    for name, kept in responses.items():
        label, unit = _quantity(name, units)
        found = {end: None if value is None else unit.of(value) for end, value in kept.items()}
        low, high = found.get("obs_ci_low"), found.get("obs_ci_high")
        width = high - low if low is not None and high is not None else math.nan
        words = {end: "–" if value is None else to_width(value, width) for end, value in found.items()}
        rows[label] = {"mean": words["mean"]} | {
            title: f"{words[f'{end}_low']} … {words[f'{end}_high']}"
            for key, title in _ENDS.items()
            for end in (f"{key}_ci" if f"{key}_ci_low" in words else key,)
            if f"{end}_low" in words
        }
    return pd.DataFrame.from_dict(rows, orient="index").to_string(na_rep="–")


_KEPT = {"ohm_mm": "Ω/mm", "ohm_m": "Ω·m", "ohm": "Ω", "um": "µm", "mv": "mV", "percent": "%"}
"""Units by what the names of quantities end in."""


def _quantity(name: str, units: Units) -> tuple[str, Unit]:
    """A quantity in words with its unit, and the unit, by the name that ``--json`` gives it."""
    end = next((end for end in _KEPT if name.endswith(f"_{end}")), None)
    if end is None:
        return name.replace("_", " "), units.of("")
    unit = units.of(_KEPT[end])
    return f"{name.removesuffix(f'_{end}').replace('_', ' ')}, {unit.name}", unit


def _label(name: str) -> str:
    return "all requirements" if name == "joint" else REQUIREMENT_KINDS[name].label


def speeds_text(answer: Mapping, units: Units = METRIC) -> str:
    """Speed bands and the set-up to run."""
    trial = answer["trial"]
    head = (
        f"{answer['product']}: speeds at which all requirements are met with a probability of at least "
        f"{_asked_for(answer)}\n{counted(trial['prints'], 'print', 'prints')} of {', '.join(trial['files'])} "
        f"(trial {trial['fingerprint']}, fit {trial['fit']})"
    )
    serious = [finding["sentence"] for finding in answer["findings"] if finding["weight"] == "serious"]
    head += "".join(f"\nnote: {note}" for note in [*answer["notes"], *serious])
    tail = f"\n\n{_limit_table(answer, units)}" if answer.get("limits") else ""
    if not answer["bands"]:
        return f"{head}\n\n{_closest_text(answer, units)}{tail}"
    chosen, between = answer["recommended"], answer["between_pressures"]
    better = f"{between['note']}\n" if between else ""
    return (
        f"{head}\n\n{_band_table(answer, units)}\n\nrecommended: {units.speed.words(chosen['speed_m_min'])}{units.speed.beside(chosen['speed_m_min'])}, "
        f"{percent(chosen['conformance'], answer['assurance'])} probability of meeting all requirements.\n{_how_sure(chosen['conformance_interval'], chosen['conformance'])}.\n{chosen['why']}\n{better}The press's own limits, safety data sheets and site rules take precedence."
        f"{tail}"
    )


def _asked_for(answer: Mapping) -> str:
    return Assurance(answer["assurance"], confidence=answer.get("confidence")).words


def _over_tails(found: Mapping, level: float) -> str:
    from pwindow.window.tails import TailRange

    return TailRange(**found).sentence(level)


def _how_sure(interval: Mapping[str, float], stated: float) -> str:
    from pwindow.window.confidence import ConformanceInterval

    return f"confidence: {ConformanceInterval(**interval).sentence(stated)}"


def _roll_label(answer: Mapping, name: str) -> str:
    """The id of a roll, and that it is only planned."""
    return Roll(name, 0.0, planned=name in answer.get("planned_rolls", ())).label


def _band_table(answer: Mapping, units: Units) -> str:
    """One line per band: the speeds, the most reliable of them, and what limits the band at either end."""
    from pwindow.window.bands import limited_by
    from pwindow.window.confidence import CONFIDENCE

    level, rows = answer["assurance"], []
    for band in answer["bands"]:
        pressure = _pressure_of(band)
        ends = (units.speed.number(band[f"speed_{end}_m_min"]) for end in ("low", "high"))
        rows.append(
            {
                "roll": _roll_label(answer, band["roll"]),
                "plate": band["plate"],
                units.volume.name: units.volume.number(band["cell_volume_cm3_m2"]),
                f"pressure, {units.pressure.name}": units.pressure.number(pressure),
                f"speed band, {units.speed.name}": " – ".join(ends),
                "probability at top speed": percent(band["conformance_at_fastest"], level),
                f"at least ({asked(answer.get('confidence', CONFIDENCE))} confidence)": at_least(
                    band["conformance_at_fastest_at_least"], level
                ),
                "most reliable speed": f"{units.speed.number(band['safest_speed_m_min'])} ({percent(band['conformance_at_safest'], level)})",
                "limited by (low end / high end)": f"{limited_by(band, 'low')} / {limited_by(band, 'high')}",
            }
        )
    return pd.DataFrame(rows).to_string(index=False)


def _pressure_of(row: Mapping, prefix: str = "") -> float:
    """The pressure of a row, whatever kind it is."""
    return next(value for name, value in row.items() if name.startswith(f"{prefix}pressure_"))


def _limit_table(answer: Mapping, units: Units) -> str:
    """One line for each limit, tighter and looser: the fastest assured speeds."""
    start = answer["recommended"] or answer["closest"]["at"]
    kept = mounting_words(_roll_label(answer, start["roll"]), _pressure_of(start), units)
    rows = [
        {
            "limit": _limit_label(row, units),
            "moved to": _limit_value(row, row["after"], units),
            f"with {kept}": row["reason"] or _gained(row["fastest_speed_m_min"], row["change_m_min"], units),
            "fastest of all": "" if row["reason"] else _best_then(answer, row, units),
        }
        for row in answer["limits"]
    ]
    title = f"fastest assured speed, {units.speed.name}, with one limit 10 % tighter or looser"
    return f"{title}\n{pd.DataFrame(rows).to_string(index=False)}"


def _limit_label(row: Mapping, units: Units) -> str:
    value = _limit_value(row, row["before"], units)
    if row["limit"] == "count":
        return f"{value} gaps on one part"
    return f"{REQUIREMENT_KINDS[row['requirement']].label} at {row['limit']} {value}"


def _limit_value(row: Mapping, value: float, units: Units) -> str:
    unit = units.of(row["unit"])
    return f"{_short(unit.of(value))} {unit.name}".rstrip()


def _gained(fastest: float | None, change: float | None, units: Units) -> str:
    if fastest is None:
        return "none"
    told = units.speed.number(fastest)
    return told if change is None else f"{told} ({speed_change(units.speed.of(change))})"


def _best_then(answer: Mapping, row: Mapping, units: Units) -> str:
    if row["best_speed_m_min"] is None:
        return "none"
    told = _gained(row["best_speed_m_min"], row["best_change_m_min"], units)
    mounted = mounting_words(_roll_label(answer, row["best_roll"]), _pressure_of(row, "best_"), units)
    return f"{told}, {mounted}"


def _closest_text(answer: Mapping, units: Units) -> str:
    """How close it comes, which limits conflict, and what would be enough."""
    closest, found = answer["closest"], answer["shortfall"]
    if closest is None:
        return "no roll of the inventory lies in the trial region"
    lines = [found["promise"]]
    lines += [
        _missed_text(name, one, answer["assurance"], units) for name, one in closest["requirements"].items()
    ]
    for heading, sentences in (
        ("conflicting limits", found["conflicts"]),
        ("what would be enough", found["remedies"]),
    ):
        lines += ["", heading, *(f"  {sentence}" for sentence in sentences)] if sentences else []
    return "\n".join(lines)


def _missed_text(name: str, found: Mapping, level: float, units: Units) -> str:
    unit, kind = units.of(found["unit"]), REQUIREMENT_KINDS[name]
    limits = " and ".join(
        f"at {end} {unit.limit(found[end])}" for end in ("least", "most") if found[end] is not None
    )
    predicted = "counted, not measured"
    if found["predicted"] is not None:
        value, *ends = with_interval(*(unit.of(found[f"predicted{end}"]) for end in ("", "_low", "_high")))
        predicted = f"{' '.join(filter(None, ('predicted', kind.predicted)))} {value} ({' … '.join(ends)}) {unit.name}"
    return f"  {kind.label} {limits}: {percent(found['conformance'], level)}, {predicted}"


def calibration_text(answer: Mapping) -> str:
    """Stated against realised conformance."""
    from pwindow.window.calibration import CANNOT_SEE

    rows = pd.DataFrame(answer["bands"])
    shown = pd.DataFrame(
        {
            "stated between": [f"{low:g} and {high:g}" for low, high in zip(rows["from"], rows["to"])],
            "set-ups": rows["judgements"],
            "stated": rows["stated"].map("{:.3f}".format),
            "observed": rows["realised"].map("{:.3f}".format),
            "difference": [
                f"{signed(off, 3)} ± {2 * error:.3f}"
                for off, error in zip(rows["difference"], rows["std_error"])
            ],
        }
    )
    best = answer["recommended"]
    return "\n\n".join(
        [
            f"{answer['product']}: {answer['simulated_trials']} simulated trials of this layout, with the fit taken as the true process",
            shown.to_string(index=False),
            _recommended_text(best, answer["simulated_trials"]),
            CANNOT_SEE,
            *(f"note: {one}" for one in assumed_notes(answer)),
            *(
                f"{len(answer['unusable'])} could not be judged: {answer['unusable'][0]}"
                for _ in answer["unusable"][:1]
            ),
        ]
    )


def _recommended_text(best: Mapping, trials: int) -> str:
    if not best["trials"]:
        return "no simulated trial led to a recommended set-up"
    error = "" if best["realised_std_error"] is None else f" ± {2 * best['realised_std_error']:.3f}"
    lowest = (
        f"; in the worst tenth of trials at most {best['realised_lowest_tenth']:.3f}"
        if best["trials"] >= 10
        else ""
    )
    return (
        f"at the recommended set-up of {best['trials']} of {trials} trials: stated {best['stated']:.3f}, observed "
        f"{best['realised']:.3f}{error}; the level is actually reached in {100 * best['share_reaching_level']:.0f} % of them{lowest}"
    )
