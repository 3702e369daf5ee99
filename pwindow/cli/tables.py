"""Answers as text for a terminal."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import pandas as pd

from pwindow.product import KINDS
from pwindow.surfaces.make_readies import counted
from pwindow.window.calibration import CANNOT_SEE


def table(frame: pd.DataFrame, index: bool = False) -> str:
    """A table with aligned columns and short numbers."""
    return frame.to_string(index=index, float_format=lambda value: f"{value:.4g}", na_rep="–")


def summary_text(summary: Mapping) -> str:
    """What was read from a trial."""
    measured = ", ".join(f"{count} {name}" for name, count in summary["measured"].items() if count)
    lines = [
        *(f"WARNING: {warning}" for warning in summary["warnings"]),
        f"{', '.join(summary['files'])}: {summary['prints']} prints {_mounted(summary)}, "
        f"{summary['features']} features (fingerprint {summary['fingerprint']})",
        f"measured: {measured or 'counts only'}; {summary['gaps_bridged']} of {summary['gaps_inspected']} "
        "inspected gaps bridged",
        "",
        table(pd.DataFrame.from_dict(summary["ranges"], orient="index"), index=True),
        "",
        "rolls: " + ", ".join(f"{name} ({volume:.3g} cm³/m²)" for name, volume in summary["rolls"].items()),
    ]
    if summary["plates"]:
        lines.append("plates: " + ", ".join(summary["plates"]))
    if summary["constant"]:
        constant = ", ".join(
            f"{name} {value:.4g}" if isinstance(value, float) else f"{name} {value}"
            for name, value in summary["constant"].items()
        )
        lines.append(f"constant: {constant}")
    return "\n".join([*lines, *(f"note: {note}" for note in summary["notes"])])


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
        f"{', '.join(trial['files'])}: {trial['prints']} prints (data {trial['fingerprint']}, fit {trial['fit']})",
        "settings are coded to -1 … 1 over their tried range; next print: as measured, on the modelled scale",
    ]
    parts += [_surface_text(surface) for surface in answer["surfaces"].values()]
    correlation = pd.DataFrame(answer["residual_correlation"])
    parts.append("correlation of one print's residuals\n" + table(correlation, index=True))
    parts.append(_findings_text(answer["findings"]))
    parts.append("\n".join(f"note: {note}" for note in answer["notes"]))
    return "\n\n".join(parts)


def _findings_text(findings: Sequence[Mapping]) -> str:
    if not findings:
        return "what to mind: no check objects to these surfaces"
    lines = (f"{at}. {finding['sentence']}" for at, finding in enumerate(findings, start=1))
    return "\n".join(["what to mind before relying on these surfaces, serious things first", *lines])


def _surface_text(surface: Mapping) -> str:
    spread = {name: value for name, value in surface["standard_deviations"].items() if value is not None}
    anova, lack = surface["analysis_of_variance"], surface["lack_of_fit"]
    lines = [
        f"── {surface['response']}, {surface['scale']} ── {surface['prints']} prints, {surface['cells']} means",
        table(pd.DataFrame.from_dict(surface["coefficients"], orient="index"), index=True),
        f"R² {surface['r2']:.4f}, adjusted {surface['adjusted_r2']:.4f}, predicted "
        f"{_number(surface['predicted_r2'])} (PRESS {_number(surface['press'])}, leaving out one "
        f"{surface['left_out']} at a time)",
        f"model: F({anova['df_model']}, {anova['df_residual']}) = {_number(anova['f'])}, p {_number(anova['p'])}",
        "lack of fit: no set-up was repeated, so it cannot be tested"
        if lack is None
        else f"lack of fit: F({lack['df']}, {lack['df_pure']}) = {_number(lack['f'])}, p {_number(lack['p'])}",
        "standard deviations: "
        + ", ".join(f"{name.replace('_', ' ')} {value:.4g}" for name, value in spread.items())
        + f" ({surface['df_next_print']:.1f} degrees of freedom)",
        f"largest leverage: print {surface['largest_leverage']['print']} {surface['largest_leverage']['leverage']:.3f}",
    ]
    if surface["cells_checked"] < surface["cells"]:
        lines.append(
            f"bridging hides some closures: residuals of {surface['cells_checked']} means can be checked"
        )
    for name, check in surface["residual_checks"].items():
        lines.append(f"{name}: p {_number(check['p'])}, {check['meaning']}")
    return "\n".join(lines)


def _number(value: float | None) -> str:
    return "not defined" if value is None else f"{value:.4g}"


def place_words(at: Mapping) -> str:
    """A set-up as one line: each setting by the name that `--json` gives it."""
    return ", ".join(
        f"{name} {value:.4g}" if isinstance(value, float) else f"{name} {value}" for name, value in at.items()
    )


def predict_text(answer: Mapping) -> str:
    """Predictions at each set-up."""
    parts = _assumed(answer)
    for point in answer["points"]:
        place = place_words(point["at"])
        where = (
            "inside the trial region"
            if point["in_trial_region"]
            else ("OUTSIDE the trial region: nothing was tried there, do not rely on it")
        )
        lines = [
            f"{place}: {where}",
            table(pd.DataFrame.from_dict(point["responses"], orient="index"), index=True),
        ]
        if "conformance" in point:
            shares = ", ".join(f"{_label(name)} {value:.3f}" for name, value in point["conformance"].items())
            lines.append(f"conformance probability of the next run: {shares}")
        parts.append("\n".join(lines))
    return "\n\n".join(parts)


def _assumed(answer: Mapping) -> list[str]:
    """What the promises stand on where the trial does not tell how far make-readies differ."""
    found = answer["trial"]["make_readies"]
    return [] if found["spread_measured"] else [f"note: {found['assumption']}; {found['cure']}"]


def _label(name: str) -> str:
    return "all together" if name == "joint" else KINDS[name].label


def speeds_text(answer: Mapping) -> str:
    """Speed bands and the set-up to run."""
    trial = answer["trial"]
    head = (
        f"{answer['product']}: speeds at which all requirements hold together with a probability of at least "
        f"{answer['assurance']:g}\n{trial['prints']} prints of {', '.join(trial['files'])} "
        f"(data {trial['fingerprint']}, fit {trial['fit']})"
    )
    serious = [finding["sentence"] for finding in answer["findings"] if finding["weight"] == "serious"]
    head += "".join(f"\nnote: {note}" for note in [*answer["notes"], *serious])
    if not answer["bands"]:
        return f"{head}\n\n{_closest_text(answer['closest'])}"
    chosen = answer["recommended"]
    return (
        f"{head}\n\n{_band_table(answer['bands'])}\n\nrecommended: {chosen['speed_m_min']:g} m/min, conformance "
        f"{chosen['conformance']:.3f}.\n{chosen['why']}\nThe press's own limits, safety data sheets and site rules prevail."
    )


_PRESSURES = {
    "pressure_um": "pressure, µm",
    "pressure_n_mm": "pressure, N/mm",
    "pressure_kpa": "pressure, kPa",
}


def _band_table(bands: Sequence[Mapping]) -> str:
    """One line a band: the speeds, the safest of them, and what limits at the slow and the fast end."""
    rows = []
    for band in bands:
        pressure = next(key for key in _PRESSURES if key in band)
        limits = [_label(band[name]) for name in ("limiting_low", "limiting_high")]
        rows.append(
            {
                "roll": band["roll"],
                "plate": band["plate"],
                "cm³/m²": f"{band['cell_volume_cm3_m2']:.3g}",
                _PRESSURES[pressure]: f"{band[pressure]:g}",
                "speeds, m/min": f"{band['speed_low_m_min']:g} – {band['speed_high_m_min']:g}",
                "at fastest": f"{band['conformance_at_fastest']:.3f}",
                "safest": f"{band['safest_speed_m_min']:g} ({band['conformance_at_safest']:.3f})",
                "limiting slow / fast": " / ".join(limits),
            }
        )
    return pd.DataFrame(rows).to_string(index=False)


def _closest_text(closest: Mapping | None) -> str:
    if closest is None:
        return "no roll of the inventory lies in the trial region"
    lines = [
        f"no set-up is assured; the closest reaches {closest['joint']:.3f} at {place_words(closest['at'])}"
    ]
    for name, found in closest["requirements"].items():
        limits = [f"{word} {found[word]:g}" for word in ("least", "most") if found[word] is not None]
        lines.append(
            f"  {KINDS[name].label}: conformance {found['conformance']:.3f}, predicted {found['predicted']:.4g} "
            f"{found['unit']} ({', '.join(limits)})"
        )
    return "\n".join(lines)


def calibration_text(answer: Mapping) -> str:
    """Stated against realised conformance."""
    rows = pd.DataFrame(answer["bands"])
    shown = pd.DataFrame(
        {
            "stated between": [f"{low:g} and {high:g}" for low, high in zip(rows["from"], rows["to"])],
            "judgements": rows["judgements"],
            "stated": rows["stated"].map("{:.3f}".format),
            "came true": rows["realised"].map("{:.3f}".format),
            "difference": [
                f"{off:+.3f} ± {2 * error:.3f}" for off, error in zip(rows["difference"], rows["std_error"])
            ],
        }
    )
    best = answer["recommended"]
    return "\n\n".join(
        [
            f"{answer['product']}: {answer['simulated_trials']} simulated trials of this layout, the fit taken as true",
            shown.to_string(index=False),
            _recommended_text(best, answer["simulated_trials"]),
            CANNOT_SEE,
            *_assumed(answer),
            *(
                f"{len(answer['unusable'])} could not be judged: {answer['unusable'][0]}"
                for _ in answer["unusable"][:1]
            ),
        ]
    )


def _recommended_text(best: Mapping, trials: int) -> str:
    if not best["trials"]:
        return "no simulated trial recommends a set-up"
    error = "" if best["realised_std_error"] is None else f" ± {2 * best['realised_std_error']:.3f}"
    lowest = (
        f"; in the least fortunate tenth of trials at most {best['realised_lowest_tenth']:.3f}"
        if best["trials"] >= 10
        else ""
    )
    return (
        f"at the recommended set-up of {best['trials']} of {trials} trials: stated {best['stated']:.3f}, came true "
        f"{best['realised']:.3f}{error}{lowest}"
    )
