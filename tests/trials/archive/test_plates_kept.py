"""An archive keeps measured plates: trials that are added later may name their features."""

import pytest

import pwindow as pw
from pwindow.errors import TrialProblem
from pwindow.inputs import InputFile
from pwindow.surfaces.model.responses import response_data
from pwindow.workflows.adding import add_trial, keep_plates

PLATES, TRIAL = (InputFile.of(pw.demo(name)) for name in ("plates.csv", "trial_plates.csv"))
AGAIN = InputFile(
    "again.csv",
    b"plate_id,plate_feature,plate_width [um],measured\nF1,along 30,28.3,2026-11-02\n",
)


def test_a_trial_without_the_file_of_its_plates_is_refused(archive):
    with pytest.raises(TrialProblem, match="plate"):
        add_trial(archive, TRIAL)


def test_a_trial_takes_what_was_measured_on_its_plates(archive, plates_trial):
    keep_plates(archive, PLATES)
    add_trial(archive, TRIAL)
    kept = archive.trial()
    assert kept.fingerprint == plates_trial.fingerprint
    assert kept.plates.features.equals(plates_trial.plates.features)
    assert kept.cells["lip_width"].notna().sum() == plates_trial.cells["lip_width"].notna().sum()
    assert not archive.changed_trials([1])


def test_what_is_measured_later_leaves_earlier_trials_as_they_were(archive, plates_trial):
    keep_plates(archive, PLATES)
    add_trial(archive, TRIAL)
    record = keep_plates(archive, AGAIN)
    assert any("25.8 µm (2026-09-14) and 28.3 µm (2026-11-02)" in note for note in record.notes)
    assert record.features.loc[("F1", "along 30"), "plate_width"] == pytest.approx((25.8 + 28.3) / 2)
    assert archive.trial().fingerprint == plates_trial.fingerprint
    assert not archive.changed_trials([1])


def test_a_file_is_kept_once(archive):
    keep_plates(archive, PLATES)
    keep_plates(archive, PLATES)
    assert [file.name for file in archive.plate_files()] == ["plates.csv"]


def test_a_fit_reads_no_plates(archive, monkeypatch):
    keep_plates(archive, PLATES)
    add_trial(archive, TRIAL)
    monkeypatch.setattr(type(archive), "plates", lambda _: pytest.fail("plates were read"))
    trial = archive.trial()
    assert response_data(trial)
