"""The numbers and sentences of both documents as JSON has them."""

from __future__ import annotations

from dataclasses import asdict

from pwindow.review.essentials import Promise
from pwindow.review.provenance import Provenance
from pwindow.review.report import Report
from pwindow.review.run_sheet import RunSheet
from pwindow.window.calibration import Calibration
from pwindow.window.shortfall.words import shortfall_dict


def document_dict(report: Report, sheet: RunSheet) -> dict:
    """What a report and the run sheet of the same set-up say, as nested mappings."""
    shared, key = report.essentials, report.essentials.promise.pressure_key
    checks = shared.first_prints
    return {
        **_promise_dict(shared.promise, report),
        **_alternatives_dict(report, key),
        "trial": shared.trial.to_dict(),
        **_evidence_dict(report, shared.assumption),
        "first_prints": [limit.to_dict() for limit in checks.limits],
        "gaps_to_inspect": checks.gaps,
        "stops": asdict(checks.stops),
        "pattern": sheet.pattern.to_dict(),
        "shortfall": None if report.shortfall is None else shortfall_dict(report.shortfall),
        **_provenance_dict(shared.provenance, report.evidence.fit_notes),
    }


def _promise_dict(promise: Promise, report: Report) -> dict:
    each = {judgement.name: judgement.conformance for judgement in report.judgements}
    measured = promise.volume.measured
    return {
        "product": promise.product.name,
        "assurance": promise.level,
        **(
            {}
            if promise.product.assurance.confidence is None
            else {"confidence": promise.product.assurance.confidence}
        ),
        "setup": promise.setup.to_dict(promise.pressure_key),
        "chosen": str(promise.chosen),
        "assured": promise.assured,
        "conformance": {"joint": promise.joint} | each,
        "conformance_interval": promise.interval.to_dict(),
        **({} if promise.tails is None else {"tail_range": promise.tails.to_dict()}),
        "requirements": [asdict(judgement) for judgement in report.judgements],
        "settings": [asdict(setting) for setting in promise.settings],
        "roll_volume": asdict(promise.volume) | {"measured": measured and str(measured)},
        "band": promise.band and promise.band.to_dict(promise.pressure_key),
    }


def _alternatives_dict(report: Report, pressure_key: str) -> dict:
    others = report.alternatives
    return {
        "bands": [band.to_dict(pressure_key) for band in others.bands],
        "recommended": report.recommended and report.recommended.to_dict(pressure_key),
        "nearby": [neighbour.to_dict() for neighbour in others.nearby],
        "steps": [asdict(step) for step in others.steps],
        "limits": others.limits.to_frame().to_dict("records"),
        "beside": others.beside and others.beside.to_dict(),
        "silver_notes": others.silver_notes,
    }


def _evidence_dict(report: Report, assumption: str) -> dict:
    evidence = report.evidence
    return {
        "fit": [asdict(fit) for fit in evidence.fit],
        "assumption": assumption or None,
        "findings": [asdict(finding) for finding in evidence.findings],
        "notes": report.notes,
        "untried": report.untried,
        "calibration": evidence.calibration and _calibration_dict(evidence.calibration),
    }


def _calibration_dict(calibration: Calibration) -> dict:
    return {
        "simulated_trials": calibration.trials,
        "bands": calibration.to_frame().to_dict("records"),
        "recommended": asdict(calibration.at_recommended()),
        "unusable": calibration.unusable,
    }


def _provenance_dict(provenance: Provenance, fit_notes: tuple[str, ...]) -> dict:
    return {
        "in_full": provenance.in_full,
        "fit_notes": fit_notes,
        "fingerprints": asdict(provenance.fingerprints),
        "versions": provenance.versions,
        "made": str(provenance.made),
        "command": provenance.origin.command,
        "address": provenance.origin.address,
        "loaded": provenance.origin.loaded,
    }
