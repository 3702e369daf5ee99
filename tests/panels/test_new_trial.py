"""The page "new trial data", without a browser."""

import datetime
import re

import pandas as pd
import pytest

import pwindow as pw
from pwindow.errors import SeveralSheets
from pwindow.inputs import InputFile
from pwindow.panels.new_trial_data.page import NewTrialData, new_trial_data
from pwindow.trials.archive import Archive
from pwindow.workflows.desk import Desk


@pytest.fixture
def desk(tmp_path):
    archive = Archive(str(tmp_path / "trials.db"))
    return NewTrialData(Desk(archive, [InputFile.of(pw.demo("tag.toml"))]))


def add(desk, name, content=None):
    content = pw.demo(name).read_bytes() if content is None else content
    file = {"name": name, "content": memoryview(content), "type": "", "size": len(content)}
    desk.upload.value = ({**file, "last_modified": datetime.datetime.now(datetime.UTC)},)


def press(desk, text):
    buttons = (*desk.decisions, desk.hold, desk.compare, desk.refit)
    next(button for button in buttons if button.description == text).click()


def test_an_empty_archive_says_so(desk):
    assert "No trials yet" in desk.table.value and "no fit yet" in desk.line.value
    press(desk, "Set aside")
    assert "has no trials yet" in desk.problem.value
    press(desk, "Refit")
    assert "no trial that can be used in fits" in desk.problem.value


@pytest.mark.slow
def test_from_the_first_trial_to_a_changed_process(desk):
    add(desk, "trial_first.csv")
    assert "is stored: same process" in desk.outcome.value and desk.upload.value == ()
    press(desk, "Refit")
    assert "Fit 1" in desk.compared.value and not desk.windows.children
    add(desk, "trial_second.csv")
    assert "Differs" in desk.outcome.value and re.search(r"consistently [\d.]+ % low", desk.outcome.value)
    assert desk.agreement.figure is not None and desk.compared.value == ""
    assert desk.trial.value == 2
    desk.reason.value = "new ink batch"
    press(desk, "Changed process")
    assert "is now “changed process”" in desk.outcome.value and desk.reason.value == ""
    assert "new ink batch" in desk.table.value and not desk.agreement.children
    press(desk, "Refit")
    assert "fit 1" in desk.compared.value and "Fit 2" in desk.compared.value
    assert desk.windows.figure is not None
    for title in ("with and without each trial", "Fastest assured speed", "What varies", "Coefficients"):
        assert title in desk.why.value
    assert "new ink batch" in desk.history.value and re.search(
        r"consistently [\d.]+ % low", desk.history.value
    )
    assert desk.problem.value == ""


def test_a_decision_needs_a_reason(desk):
    add(desk, "trial_first.csv")
    press(desk, "Set aside")
    assert "needs a reason" in desk.problem.value
    assert desk.desk.archive.trials().loc[1, "standing"] == "same process"


def test_a_wrong_file_is_told_in_place_and_changes_nothing(desk):
    add(desk, "trial_first.csv")
    before = desk.table.value
    bad = pw.demo("trial_second.csv").read_bytes().replace(b",30.0,", b",<b>fast</b>,", 1)
    add(desk, "bad.csv", bad)
    assert "&lt;b&gt;fast" in desk.problem.value and "<b>fast" not in desk.problem.value
    assert desk.table.value == before and desk.busy.value == "" and desk.upload.value == ()


@pytest.mark.slow
def test_the_same_file_twice_is_said(desk):
    add(desk, "trial_first.csv")
    add(desk, "trial_first.csv")
    assert "already in the archive" in desk.outcome.value


@pytest.mark.slow
def test_an_earlier_trial_is_held_against_the_others(desk):
    add(desk, "trial_first.csv")
    press(desk, "Compare with the other trials")
    assert "nothing to compare this one with" in desk.problem.value
    add(desk, "trial_second.csv")
    desk.trial.value = 2
    press(desk, "Compare with the other trials")
    assert ">Differs<" in desk.outcome.value and desk.problem.value == ""


@pytest.mark.slow
def test_two_pages_see_what_the_other_did(desk):
    other = NewTrialData(Desk(Archive(desk.desk.archive.address)))
    add(desk, "trial_first.csv")
    add(other, "trial_second.csv")
    assert "2 trials" in other.line.value and "trial_first.csv" in other.table.value


@pytest.mark.slow
def test_two_earlier_fits_are_compared(desk):
    press(desk, "Compare")
    assert "there is no fit yet" in desk.problem.value
    add(desk, "trial_first.csv")
    press(desk, "Refit")
    press(desk, "Compare")
    assert "choose two different fits" in desk.problem.value
    add(desk, "mesh.toml")
    press(desk, "Refit")
    assert (desk.before.value, desk.after.value) == (1, 2)
    desk.before.value, desk.after.value = 2, 1
    press(desk, "Compare")
    assert "Fit 1" in desk.compared.value and '<th scope="col">fit 2</th>' in desk.compared.value


@pytest.mark.slow
def test_a_product_is_kept_and_judged(tmp_path):
    page = NewTrialData(Desk(Archive(str(tmp_path / "trials.db"))))
    add(page, "trial_first.csv")
    press(page, "Refit")
    assert "No product was judged" in page.compared.value
    add(page, "tag.toml")
    add(page, "mesh.toml")
    assert "De-fogging heater mesh" in page.outcome.value
    assert [(box.description, box.value) for box in page.products.children] == [
        ("Grain moisture tag", True),
        ("De-fogging heater mesh", True),
    ]
    page.products.children[0].value = False
    press(page, "Refit")
    assert "De-fogging" in page.compared.value and "moisture" not in page.compared.value
    later = NewTrialData(Desk(page.desk.archive))
    assert [box.value for box in later.products.children] == [False, True], "as the last fit was asked"


def test_a_study_is_not_kept_here(desk):
    add(desk, "study.toml")
    assert "is a study" in desk.problem.value and "pwindow rolls" in desk.problem.value


@pytest.mark.slow
def test_a_run_is_held_against_the_last_fit(desk):
    add(desk, "trial_first.csv")
    run_file = desk.run
    content = pw.demo("trial_second.csv").read_bytes()
    file = {"name": "run.csv", "content": memoryview(content), "type": "", "size": len(content)}
    value = ({**file, "last_modified": datetime.datetime.now(datetime.UTC)},)
    run_file.value = value
    assert "there is no fit to confirm yet" in desk.problem.value and len(desk.desk.archive.trials()) == 1
    press(desk, "Refit")
    run_file.value = value
    assert "prints meet every requirement that was measured" in desk.outcome.value
    assert "now, if changed process" in desk.outcome.value and "Differs" in desk.outcome.value
    assert "confirmation prints of fit 1" in desk.table.value and desk.agreement.figure is not None
    assert "85 m/min, 7.2 cm³/m², 50 µm" in desk.outcome.value, "set-ups of one speed are told apart"


@pytest.mark.slow
def test_a_trial_of_which_nothing_can_be_compared_has_no_picture(desk):
    add(desk, "trial_first.csv")
    rows = pd.read_csv(pw.demo("trial_second.csv"), dtype={"roll": str}).assign(plate="engraved")
    add(desk, "engraved.csv", rows.to_csv(index=False).encode())
    assert "cannot be compared" in desk.outcome.value and not desk.agreement.children


@pytest.mark.slow
def test_steps_are_told_while_it_fits(desk):
    add(desk, "trial_first.csv")
    steps = []
    desk.busy.observe(lambda change: steps.append(change["new"]), "value")
    press(desk, "Refit")
    assert ["fitting" in steps[0], "judging Grain moisture tag" in "".join(steps)] == [True, True]
    assert desk.busy.value == ""


def test_a_sheet_is_chosen_on_the_page(desk, monkeypatch):
    kept, seen = Desk.add, []

    def of_sheet(self, file):
        seen.append(file.sheet)
        if file.sheet is None:
            raise SeveralSheets(file.name, ("Monday", "Friday"))
        return kept(self, InputFile(file.name, file.content))

    monkeypatch.setattr(Desk, "add", of_sheet)
    add(desk, "trial_first.csv")
    assert desk.sheets.box.layout.display is None and desk.problem.value == "" and desk.busy.value == ""
    assert "No trials yet" in desk.table.value and desk.upload.value == ()
    desk.sheets.sheet.value = "Friday"
    desk.sheets.read.click()
    assert seen == [None, "Friday"] and desk.sheets.box.layout.display == "none"
    assert "is stored: same process" in desk.outcome.value


def test_what_was_noticed_on_reading_is_told(desk):
    rows = pd.read_csv(pw.demo("trial_first.csv"), dtype={"roll": str}).assign(operator="<b>me</b>")
    add(desk, "noted.csv", rows.rename(columns={"operator": "<b>operator</b>"}).to_csv(index=False).encode())
    assert "Notes on the file" in desk.outcome.value and "&lt;b&gt;operator" in desk.outcome.value
    assert "<b>operator" not in desk.outcome.value


def test_a_server_without_an_archive_says_how_to_start_one(monkeypatch):
    for name in ("PWINDOW_ARCHIVE", "PWINDOW_SHARED"):
        monkeypatch.delenv(name, raising=False)
    assert "pwindow serve --archive" in new_trial_data().value
