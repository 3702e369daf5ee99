"""The page "new trial data", without a browser."""

import datetime
import re
from types import SimpleNamespace

import ipywidgets as widgets
import pandas as pd
import pytest

import pwindow as pw
from pwindow.errors import SeveralSheets
from pwindow.inputs import InputFile
from pwindow.panels.new_trial_data import view
from pwindow.panels.new_trial_data.model import Step
from pwindow.panels.new_trial_data.page import NewTrialData, new_trial_data
from pwindow.panels.new_trial_data.steps import inputs
from pwindow.trials.archive import Archive
from pwindow.wording import METRIC, us_customary
from pwindow.workflows.desk import Compared, Desk
from pwindow.workflows.given import given_beside_archive
from tests.helpers.words import plain


@pytest.fixture(autouse=True)
def at_once(monkeypatch):
    """Work is done at once: a browser of other tests may have an event loop in this thread, which hears no page."""
    monkeypatch.setattr("pwindow.panels.shared.work.page_loop", lambda: None)


@pytest.fixture
def desk(tmp_path):
    archive = Archive(str(tmp_path / "trials.db"))
    return NewTrialData(Desk(archive, [InputFile.of(pw.demo("tag.toml"))]))


def add(desk, name, content=None):
    if current(desk) is not Step.ADD:
        go_to(desk, Step.ADD)
    hand_over(desk.upload, name, content)


def confirm(desk, name, content=None):
    if current(desk) is not Step.CONFIRM:
        go_to(desk, Step.CONFIRM)
    hand_over(desk.run, name, content)


def hand_over(upload, name, content):
    assert not upload.disabled
    content = pw.demo(name).read_bytes() if content is None else content
    file = {"name": name, "content": memoryview(content), "type": "", "size": len(content)}
    upload.value = ({**file, "last_modified": datetime.datetime.now(datetime.UTC)},)


def press(desk, text):
    """Press a button, in the step that it belongs to."""
    buttons = (*desk.decisions, desk.hold, desk.compare, desk.refit)
    button = next(button for button in buttons if button.description == text)
    for step, place in desk.steps.items():
        if button in inputs([place.box]) and current(desk) is not step:
            go_to(desk, step)
    assert not button.disabled
    button.click()


def go_to(desk, step):
    go = desk.steps[step].go
    assert go.layout.display is None and not go.disabled
    go.click()


def decide(desk, text, reason):
    desk.reason.value = reason
    press(desk, text)


def current(desk):
    """The one step that is marked, which is the one whose controls can be used."""
    marked = [step for step, place in desk.steps.items() if 'aria-current="step"' in place.heading.value]
    assert len(marked) == 1
    for step, place in desk.steps.items():
        controls = [control for control in inputs(place.controls) if control is not desk.trial]
        assert controls and {control.disabled for control in controls} == {step not in marked}
    return marked[0]


def said(desk, step):
    return re.sub("<[^>]*>", "", desk.steps[step].said.value)


def test_numbers_are_shown_in_the_units_of_the_menu(desk):
    add(desk, "trial_first.csv")
    press(desk, "Refit")
    add(desk, "trial_second.csv")
    decide(desk, "Same process", "ink lot 7")
    press(desk, "Refit")
    press(desk, "Compare")
    assert "m/min" in desk.results.compared.value and "ft/min" not in desk.results.compared.value
    desk.units_menu.widget.value = "us"
    assert "m/min" not in plain(desk.results.compared.value).replace("ft/min", "")
    assert "ft/min" in desk.results.why.value and desk.frame.units == "us"
    go_to(desk, Step.AGREE)
    press(desk, "Compare with the other trials")
    titles = [one.text for one in desk.results.agreement.figure.layout.annotations]
    assert "line width, thou" in titles
    desk.units_menu.widget.value = ""
    titles = [one.text for one in desk.results.agreement.figure.layout.annotations]
    assert "line width, µm" in titles


def test_the_first_trial_sets_the_units(desk):
    rows = pd.read_csv(pw.demo("trial_first.csv"))
    rows = rows.rename(columns={"speed [m/min]": "speed [ft/min]"})
    rows["speed [ft/min]"] /= 0.3048
    add(desk, "feet.csv", rows.to_csv(index=False).encode())
    press(desk, "Refit")
    assert "ft/min" in desk.results.compared.value and desk.units_menu.widget.label.startswith("ft/min")


def test_an_empty_archive_says_so(desk):
    assert "No trials yet" in desk.table.value and "none in this archive yet" in desk.line.value
    assert current(desk) is Step.ADD and "Next step" in desk.steps[Step.ADD].heading.value
    assert said(desk, Step.DECIDE) == "Needs a trial."
    assert said(desk, Step.REFIT) == "Needs a trial that is used in fits."
    assert said(desk, Step.COMPARE) == "Needs two fits; there are none yet."
    assert said(desk, Step.CONFIRM) == "Needs a fit."
    assert [place.go.layout.display for place in desk.steps.values()] == ["none"] * 6


@pytest.mark.slow
def test_each_step_leads_to_the_next(desk):
    add(desk, "trial_first.csv")
    assert current(desk) is Step.REFIT, "a first trial is used at once"
    press(desk, "Refit")
    assert current(desk) is Step.CONFIRM and said(desk, Step.COMPARE) == "Needs two fits; there is one."
    go_to(desk, Step.ADD)
    assert current(desk) is Step.ADD and "Chosen step" in desk.steps[Step.ADD].heading.value
    add(desk, "trial_second.csv")
    assert current(desk) is Step.DECIDE, "it is compared as it is added"
    assert said(desk, Step.REFIT) == "The trial that awaits a decision is not included."
    decide(desk, "Changed process", "new ink batch")
    assert current(desk) is Step.REFIT
    press(desk, "Refit")
    assert current(desk) is Step.COMPARE and (desk.before.value, desk.after.value) == (1, 2)
    assert said(desk, Step.REFIT) == "Fit 2 is up to date."
    press(desk, "Compare")
    assert current(desk) is Step.CONFIRM and "predictions of fit 2" in said(desk, Step.CONFIRM)
    confirm(desk, "run_tag.csv")
    assert current(desk) is Step.DECIDE and desk.trial.value == 3
    decide(desk, "Same process", "as predicted")
    assert current(desk) is Step.REFIT
    later = NewTrialData(Desk(desk.desk.archive, desk.desk.given_products))
    assert current(later) is Step.REFIT, "what is next is read from the archive"


@pytest.mark.slow
def test_a_comparison_is_asked_for_again_where_other_trials_are_used(desk):
    add(desk, "trial_first.csv")
    add(desk, "trial_second.csv")
    add(desk, "run_tag.csv")
    assert current(desk) is Step.DECIDE and desk.trial.value == 3
    desk.trial.value = 2
    decide(desk, "Changed process", "new ink batch")
    assert current(desk) is Step.AGREE and desk.trial.value == 3
    press(desk, "Compare with the other trials")
    assert current(desk) is Step.DECIDE


@pytest.mark.slow
def test_what_was_found_before_is_shown_when_the_page_is_opened(desk):
    add(desk, "trial_first.csv")
    add(desk, "trial_second.csv")
    later = NewTrialData(Desk(desk.desk.archive))
    assert ">Does not agree<" in later.results.outcome.value
    assert re.search(r"consistently [\d.]+ % low", plain(later.results.outcome.value))


def test_history_is_folded_and_counted(desk):
    add(desk, "trial_first.csv")
    assert "<summary>History of trial 1, trial_first.csv (1 entry)</summary>" in desk.history.value
    decide(desk, "Set aside", "worn doctor blade")
    assert "(2 entries)</summary>" in desk.history.value


def columns(table):
    return re.findall('<th scope="col">(.*?)</th>', table)


@pytest.mark.slow
def test_no_column_is_empty(desk):
    name = "no reason.db"
    archive = Archive(str(desk.desk.archive.address).replace("trials.db", name))
    archive.add(InputFile.of(pw.demo("trial_first.csv")))
    assert "reason" not in columns(NewTrialData(Desk(archive)).table.value)
    add(desk, "trial_first.csv")
    assert "reason" in columns(desk.table.value)
    press(desk, "Refit")
    go_to(desk, Step.ADD)
    add(desk, "trial_second.csv")
    decide(desk, "Changed process", "new ink batch")
    press(desk, "Refit")
    press(desk, "Compare")
    for body in re.findall("<table>.*?</table>", desk.results.why.value, re.DOTALL):
        rows = [re.findall("<t[hd][^>]*>(.*?)</t[hd]>", row) for row in body.split("<tr>")[2:]]
        assert all(set(column) - {"", "–"} for column in zip(*rows, strict=True)), columns(body)


@pytest.mark.slow
def test_from_the_first_trial_to_a_changed_process(desk):
    add(desk, "trial_first.csv")
    assert "is stored and used in fits" in plain(desk.results.outcome.value) and desk.upload.value == ()
    press(desk, "Refit")
    assert "Fit 1" in plain(desk.results.compared.value) and not desk.results.windows.children
    add(desk, "trial_second.csv")
    assert "Does not agree" in plain(desk.results.outcome.value) and re.search(
        r"consistently [\d.]+ % low", plain(desk.results.outcome.value)
    )
    assert desk.results.agreement.figure is not None and desk.results.compared.value == ""
    assert desk.trial.value == 2
    decide(desk, "Changed process", "new ink batch")
    assert "is now “changed process”" in plain(desk.results.outcome.value) and desk.reason.value == ""
    assert "new ink batch" in desk.table.value and not desk.results.agreement.children
    press(desk, "Refit")
    assert "fit 1" in plain(desk.results.compared.value) and "Fit 2" in plain(desk.results.compared.value)
    press(desk, "Compare")
    assert "fit 1" in plain(desk.results.compared.value) and "Fit 2" in plain(desk.results.compared.value)
    assert desk.results.windows.figure is not None
    for title in ("with and without each trial", "Fastest assured speed", "What varies", "Coefficients"):
        assert title in plain(desk.results.why.value)
    assert "trial_second.csv" in plain(desk.results.why.value) and "cell volume × pressure" in plain(
        desk.results.why.value
    )
    assert "new ink batch" in desk.history.value and re.search(
        r"consistently [\d.]+ % low", plain(plain(desk.history.value))
    )
    assert desk.problem.value == ""


def test_a_decision_needs_a_reason(desk):
    add(desk, "trial_first.csv")
    press(desk, "Set aside")
    assert "needs a reason" in desk.no_reason.value and desk.problem.value == ""
    assert desk.desk.archive.trials().loc[1, "standing"] == "same process"


def test_a_wrong_file_is_told_in_place_and_changes_nothing(desk):
    add(desk, "trial_first.csv")
    before = desk.table.value
    bad = pw.demo("trial_second.csv").read_bytes().replace(b",30.0,", b",<b>fast</b>,", 1)
    add(desk, "bad.csv", bad)
    assert "&lt;b&gt;fast" in desk.problem.value and "<b>fast" not in desk.problem.value
    assert desk.table.value == before and desk.upload.value == ()
    assert desk.steps[Step.ADD].spot.text.value == ""


@pytest.mark.slow
def test_the_same_file_twice_is_said(desk):
    add(desk, "trial_first.csv")
    add(desk, "trial_first.csv")
    assert "already in the archive" in plain(desk.results.outcome.value)


@pytest.mark.slow
def test_an_earlier_trial_is_held_against_the_others(desk):
    add(desk, "trial_first.csv")
    assert said(desk, Step.AGREE) == "Needs another trial that is used in fits."
    add(desk, "trial_second.csv")
    desk.trial.value = 2
    press(desk, "Compare with the other trials")
    assert ">Does not agree<" in plain(desk.results.outcome.value) and desk.problem.value == ""


@pytest.mark.slow
def test_two_pages_see_what_the_other_did(desk):
    other = NewTrialData(Desk(Archive(desk.desk.archive.address)))
    add(desk, "trial_first.csv")
    add(other, "trial_second.csv")
    assert "2 trials" in other.line.value and "trial_first.csv" in other.table.value


@pytest.mark.slow
def test_two_earlier_fits_are_compared(desk):
    add(desk, "trial_first.csv")
    press(desk, "Refit")
    add(desk, "mesh.toml")
    press(desk, "Refit")
    assert (desk.before.value, desk.after.value) == (1, 2)
    desk.after.value = 1
    press(desk, "Compare")
    assert "choose two different fits" in desk.problem.value
    desk.before.value, desk.after.value = 2, 1
    press(desk, "Compare")
    assert "Fit 1" in plain(desk.results.compared.value) and '<th scope="col">fit 2</th>' in plain(
        desk.results.compared.value
    )


@pytest.mark.slow
def test_a_product_is_kept_and_judged(tmp_path):
    page = NewTrialData(Desk(Archive(str(tmp_path / "trials.db"))))
    add(page, "trial_first.csv")
    press(page, "Refit")
    assert "No product was judged" in page.results.compared.value
    add(page, "tag.toml")
    add(page, "mesh.toml")
    assert "De-fogging heater mesh" in page.results.outcome.value
    assert [(box.description, box.value) for box in page.products.children] == [
        ("Grain moisture tag", True),
        ("De-fogging heater mesh", True),
    ]
    page.products.children[0].value = False
    press(page, "Refit")
    assert "De-fogging" in page.results.compared.value and "moisture" not in page.results.compared.value
    later = NewTrialData(Desk(page.desk.archive))
    assert [box.value for box in later.products.children] == [False, True], "as the last fit was asked"


def test_a_study_is_not_kept_here(desk):
    add(desk, "study.toml")
    assert "is a study" in desk.problem.value and "pwindow rolls" in desk.problem.value


@pytest.mark.slow
def test_a_run_is_held_against_the_last_fit(desk):
    add(desk, "trial_first.csv")
    press(desk, "Refit")
    confirm(desk, "run.csv", pw.demo("trial_second.csv").read_bytes())
    assert "prints meet every requirement that was measured" in plain(desk.results.outcome.value)
    assert "now, if changed process" in plain(desk.results.outcome.value) and "Does not agree" in plain(
        desk.results.outcome.value
    )
    assert "confirmation prints of fit 1" in desk.table.value and desk.results.agreement.figure is not None
    assert "85 m/min, 7.2 cm³/m², 50 µm" in plain(desk.results.outcome.value), (
        "set-ups of one speed are told apart"
    )


@pytest.mark.slow
def test_a_trial_of_which_nothing_can_be_compared_has_no_picture(desk):
    add(desk, "trial_first.csv")
    rows = pd.read_csv(pw.demo("trial_second.csv"), dtype={"roll": str}).assign(plate="engraved")
    add(desk, "engraved.csv", rows.to_csv(index=False).encode())
    assert "cannot be compared" in plain(desk.results.outcome.value) and not desk.results.agreement.children


@pytest.mark.slow
def test_steps_are_told_while_it_fits(desk):
    add(desk, "trial_first.csv")
    steps, text = [], desk.steps[Step.REFIT].spot.text
    text.observe(lambda change: steps.append(change["new"]), "value")
    press(desk, "Refit")
    assert ["fitting" in steps[0], "judging Grain moisture tag" in "".join(steps)] == [True, True]
    assert text.value == ""


@pytest.mark.slow
@pytest.mark.parametrize("at", ["fitting the surfaces", "judging Grain moisture tag"])
def test_a_refit_that_is_stopped_keeps_nothing(desk, at):
    add(desk, "trial_first.csv")
    stop_at(desk, Step.REFIT, at)
    press(desk, "Refit")
    assert "Stopped. Nothing was changed." in desk.steps[Step.REFIT].spot.text.value
    assert desk.desk.fits().empty and current(desk) is Step.REFIT and desk.problem.value == ""
    go_to(desk, Step.ADD)
    assert desk.steps[Step.REFIT].spot.text.value == "", "it is said as long as it is the last thing done"
    press(desk, "Refit")
    assert len(desk.desk.fits()) == 1, "it can be done after all"


@pytest.mark.slow
@pytest.mark.parametrize("at", ["fitting the trials in use", "comparing with the fit"])
def test_a_trial_whose_adding_is_stopped_is_not_there(desk, at):
    add(desk, "trial_first.csv")
    go_to(desk, Step.ADD)
    stop_at(desk, Step.ADD, at)
    add(desk, "trial_second.csv")
    assert "Stopped" in desk.steps[Step.ADD].spot.text.value and len(desk.desk.trials()) == 1


@pytest.mark.slow
@pytest.mark.parametrize(
    "at", ["fitting with these prints as changed process", "computing the probabilities"]
)
def test_prints_whose_confirmation_is_stopped_are_not_there(desk, at):
    add(desk, "trial_first.csv")
    press(desk, "Refit")
    stop_at(desk, Step.CONFIRM, at)
    confirm(desk, "run_tag.csv")
    assert "Stopped" in desk.steps[Step.CONFIRM].spot.text.value and len(desk.desk.trials()) == 1


def stop_at(desk, step, what):
    """Stop the work of a step as it says that it does something."""
    spot = desk.steps[step].spot

    def stop(change):
        if what in change["new"]:
            spot.button.click()
            spot.text.unobserve(stop, "value")

    spot.text.observe(stop, "value")


def test_a_sheet_is_chosen_on_the_page(desk, monkeypatch):
    kept, seen = Desk.add, []

    def of_sheet(self, file, tell):
        seen.append(file.sheet)
        if file.sheet is None:
            raise SeveralSheets(file.name, ("Monday", "Friday"))
        return kept(self, InputFile(file.name, file.content), tell)

    monkeypatch.setattr(Desk, "add", of_sheet)
    add(desk, "trial_first.csv")
    assert desk.sheets.box.layout.display is None and desk.problem.value == ""
    assert "No trials yet" in desk.table.value and desk.upload.value == ()
    desk.sheets.sheet.value = "Friday"
    desk.sheets.read.click()
    assert seen == [None, "Friday"] and desk.sheets.box.layout.display == "none"
    assert "is stored and used in fits" in plain(desk.results.outcome.value)


def test_what_was_noticed_on_reading_is_told(desk):
    rows = pd.read_csv(pw.demo("trial_first.csv"), dtype={"roll": str}).assign(operator="<b>me</b>")
    add(desk, "noted.csv", rows.rename(columns={"operator": "<b>operator</b>"}).to_csv(index=False).encode())
    assert "Notes on the file" in plain(desk.results.outcome.value) and "&lt;b&gt;operator" in plain(
        desk.results.outcome.value
    )
    assert "<b>operator" not in plain(desk.results.outcome.value)


def test_pressures_of_several_kinds_leave_a_way_out(desk):
    rows = pd.read_csv(pw.demo("trial_first.csv"), dtype={"roll": str})
    rows["pressure [N/mm]"] = 4 + (rows.pop("pressure [um]") - 20) / 15
    rows["print"] = "nip " + rows["print"]
    archive = desk.desk.archive
    for name, content in {
        "kiss.csv": pw.demo("trial_first.csv").read_bytes(),
        "nip.csv": rows.to_csv().encode(),
    }.items():
        archive.add(InputFile(name, content), "same process", "for this test")
    page = NewTrialData(Desk(archive, desk.desk.given_products))
    press(page, "Refit")
    assert "pressures are of several kinds" in page.problem.value
    decide(page, "Set aside", "in another unit")
    assert current(page) is Step.REFIT and "is now “set aside”" in page.results.outcome.value


def test_files_that_the_other_pages_show_beside_the_archive_are_named(monkeypatch, tmp_path):
    monkeypatch.setenv("PWINDOW_ARCHIVE", str(tmp_path / "kept.db"))
    monkeypatch.setenv("PWINDOW_TRIAL", str(pw.demo("trial_first.csv")))
    assert given_beside_archive() == ("trial_first.csv",)
    page = NewTrialData(Desk(Archive(str(tmp_path / "kept.db"))), given_beside_archive())
    assert any("The other pages show trial_first.csv" in text for text in texts(page.widget))
    monkeypatch.setenv("PWINDOW_TRIAL", "")
    assert given_beside_archive() == ()


def texts(box):
    for part in box.children:
        if isinstance(part, widgets.Box):
            yield from texts(part)
        elif isinstance(part, widgets.HTML):
            yield part.value


def test_a_server_without_an_archive_says_how_to_start_one(monkeypatch):
    for name in ("PWINDOW_ARCHIVE", "PWINDOW_SHARED"):
        monkeypatch.delenv(name, raising=False)
    assert "pwindow serve --archive" in new_trial_data().value


@pytest.mark.slow
def test_the_fit_before_is_there_to_compare_with(desk):
    """A trial that is compared has the fit of those before it kept; so what it changed can be told."""
    add(desk, "trial_first.csv")
    assert desk.listed.fits.empty
    add(desk, "trial_second.csv")
    assert list(desk.listed.fits.index) == [1]
    desk.reason.value = "new ink batch"
    press(desk, "Changed process")
    press(desk, "Refit")
    assert len(desk.listed.fits) == 2 and current(desk) is Step.COMPARE
    press(desk, "Compare")
    assert "97.8 m/min" in plain(desk.results.compared.value)


def test_what_each_decision_does_stands_below_its_button(desk):
    said = [part.value for part in desk.steps[Step.DECIDE].controls if isinstance(part, widgets.HTML)]
    said = [text for text in said if text]
    assert len(said) == 3 and "predictions describe the changed process" in said[1]


@pytest.mark.slow
def test_the_last_refit_is_there_after_the_page_is_loaded_again(desk):
    def reloaded():
        return NewTrialData(Desk(desk.desk.archive, desk.desk.given_products))

    add(desk, "trial_first.csv")
    press(desk, "Refit")
    assert current(reloaded()) is current(desk) is Step.CONFIRM
    add(desk, "trial_second.csv")
    decide(desk, "Changed process", "new ink batch")
    later = reloaded()
    assert current(later) is Step.REFIT and "97.8 m/min" in plain(later.results.compared.value)
    press(desk, "Refit")
    later = reloaded()
    assert current(later) is current(desk) is Step.COMPARE
    assert later.results.compared.value == desk.results.compared.value
    assert (later.before.value, later.after.value) == (1, 2), "the comparison is one click away"
    press(later, "Compare")
    assert current(later) is Step.CONFIRM and later.results.windows.figure is not None


AT = {"speed_m_min": 97.9, "roll": "2047", "plate": "laser-imaged", "pressure": 50.0, "conformance": 0.95}


@pytest.mark.parametrize(
    ("was", "now", "units", "big", "beside"),
    [
        (AT, AT | {"speed_m_min": 96.1}, METRIC, "1.8 m/min slower", ""),
        (AT, AT | {"speed_m_min": 99.0}, METRIC, "1.1 m/min faster", ""),
        (AT, AT | {"speed_m_min": 96.1}, us_customary(), "5.9 ft/min slower", ""),
        (AT, AT, METRIC, "No change", ""),
        (AT, AT | {"roll": "1318"}, METRIC, "No change of speed", "roll 1318 instead of 2047"),
        (AT, AT | {"speed_m_min": 90.0, "pressure": 35.0}, METRIC, "7.9 m/min slower", "pressure 35 µm instead of 50 µm"),
        (None, AT, METRIC, "Assured now, at 97.9 m/min", ""),
        (AT, None, METRIC, "No assured speed any more", ""),
        (None, None, METRIC, "No assured speed", "there was none before"),
    ],
)  # fmt: skip
def test_the_headline_of_two_fits_is_what_changed(was, now, units, big, beside):
    fits = [
        SimpleNamespace(number=at, answer={"products": {"Tag": {"recommended": best}}})
        for at, best in ((1, was), (2, now))
    ]
    card = view.compared_card(Compared(*fits, {}, None), units)
    assert re.search('class="pw-big">([^<]+)<', card).group(1).replace("\xa0", " ") == big
    told = re.sub("<[^>]+>", "", plain(card))
    assert f"Recommended speed for Tag, fit 2 compared with fit 1{': ' * bool(beside)}{beside}." in told


def test_a_fit_alone_has_its_speed_as_the_headline():
    fit = SimpleNamespace(number=1, answer={"products": {"Tag": {"recommended": AT}}})
    card = plain(view.compared_card(Compared(None, fit, {}, None), METRIC))
    assert "97.9 m/min" in card and "fit 1." in card and "compared with" not in card
