"""The page "trade-offs", without a browser."""

import base64
import re
from urllib.parse import parse_qsl

import numpy as np
import pytest

import pwindow as pw
from pwindow.panels.shared.fields import written
from pwindow.panels.trade_offs import view as trade_words
from pwindow.panels.trade_offs.model import Own, Section, pinned, setup_of
from pwindow.panels.trade_offs.page import TradeOffsPage, trade_offs
from pwindow.window.setup import Setup
from pwindow.window.trade_offs import limit_trades, sensitivities, side_by_side
from pwindow.wording import METRIC, at_least, percent, speed_change
from pwindow.workflows.evidence import Evidence
from tests.helpers.trials import read_frame
from tests.helpers.words import plain

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def evidence(demo_surfaces, study, tag, mesh):
    return Evidence(
        surfaces=demo_surfaces, study=study, products={product.name: product for product in (tag, mesh)}
    )


@pytest.fixture
def page(evidence):
    return TradeOffsPage(evidence)


def text(widget):
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", widget.value))


def limit_field(page, words):
    """The field of a limit and the note below it."""
    parts = page.editor.box.children
    at = next(at for at, part in enumerate(parts) if words in part.description)
    return parts[at], parts[at + 1]


def query(page):
    """What the page has the browser show, both parts."""
    parts = re.findall(r'data-pw-(?:query|own)="([^"]*)"', page.frame._query.value)
    return "&".join(parts).replace("&amp;", "&")


def test_it_opens_at_the_recommended_set_up(page):
    assert page.controls.roll.value == "2047" and page.frame.problem.value == ""
    assert text(page.answer).startswith(" 95.1 %") and "Limiting requirement: line resistance" in text(
        page.answer
    )
    assert page.along.figure is not None and page.frontier.figure is None, "what is not seen is not drawn"
    page.section.value = Section.BEST.value
    assert page.frontier.figure is not None
    for words in ("press speed", "limit: gap at least", "outside the trial region"):
        assert words in text(page.steps)
    assert "film-imaged" in text(page.plates) and "30 µm same width" in text(page.plates)
    assert "per length of line" in text(page.silver) and "no pitch" not in text(page.notes)


def test_what_is_to_know_of_silver_stands_where_silver_does(page):
    page.pin.click()
    for section, quantity, shown in (
        (Section.ALONG, "line_width", False),
        (Section.ALONG, "silver", True),
        (Section.STEPS, "silver", False),
        (Section.BEST, "silver", True),
        (Section.BESIDE, "line_width", True),
        (Section.PLATES, "line_width", False),
        (Section.ALONG, "conformance", False),
    ):
        page.quantity.value = quantity
        page.section.value = section.value
        assert (page.silver.layout.display is None) == shown, (section, quantity)


def test_numbers_are_those_of_the_window(page, tag_window):
    setup = page.question.start()
    joint = tag_window.conformance(setup.frame(tag_window))["joint"].iloc[0]
    assert f"{100 * joint:.1f} %" in text(page.answer)
    page.controls.speed.value = 90.0
    slower = tag_window.setups(setup.plate, 90.0, setup.roll.cell_volume, setup.pressure)
    assert f"{100 * tag_window.conformance(slower)['joint'].iloc[0]:.1f} %" in text(page.answer)


def test_a_relaxed_limit_moves_everything(page):
    page.section.value = Section.BEST.value
    before = page.frontier.children[0]
    field, note = limit_field(page, "resistance")
    field.value = "400"
    assert "400 Ω" in text(page.steps) and page.frontier.children[0] is not before
    assert page.question.recommended.setup.speed > 97.8
    field.value = "−1"
    assert "line resistance at most: −1 Ω is not above zero. The page still uses 400 Ω." in plain(note.value)
    assert field.value == "−1" and "400 Ω" in text(page.steps), "what was there stays"
    limit_field(page, "gap at least")[0].value = "60"
    assert "60 µm is not below gap at most, 42 µm" in plain(limit_field(page, "gap at least")[1].value)
    assert "not above zero" in note.value, "a note stays until its field is changed"
    limit_field(page, "on one part")[0].value = "0"
    count = limit_field(page, "on one part")[1]
    assert "0 is not a whole number of at least 1. The page still uses 48." in count.value
    limit_field(page, "on one part")[0].value = "2,5"
    assert "2.5 is not a whole number of at least 1. The page still uses 48." in count.value
    field.value = "390"
    assert note.value == "" and "390 Ω" in text(page.steps)


def test_an_assurance_beyond_the_slider_is_shown_as_it_is(demo_surfaces, study, tag):
    near_one = tag.with_assurance(0.999)
    page = TradeOffsPage(Evidence(surfaces=demo_surfaces, study=study, products={tag.name: near_one}))
    assert page.controls.level.value == page.question.window.level == 0.999
    assert page.controls.level.field.value == "99.9", "99.9 % is not 100 %"
    page.controls.level.value = 0.9
    assert page.question.window.level == 0.9 and page.controls.level.slider.max == 99


def test_pinned_set_ups_stand_side_by_side(page):
    page.pin.click()
    page.controls.speed.value = 90.0
    assert "pin 1: roll 2047, 50 µm, 97.8 m/min" in text(page.beside)
    assert "roll 2047, 50 µm, 90 m/min" in text(page.beside) and "points" in text(page.beside)
    page.controls.speed.value = 97.8
    page.pin.click()
    assert "already pinned" in plain(page.frame.problem.value)
    page.section.value = Section.BESIDE.value
    page.unpin.click()
    assert page.pins == () and page.frame.problem.value == ""
    assert page.section.value == Section.ALONG.value and Section.BESIDE.value not in page.section.options


def test_the_picture_along_the_speed_marks_what_is_selected_and_pinned(page):
    def mark(name):
        return next(trace for trace in page.along.figure.data if trace.name == name)

    page.pin.click()
    figure = page.along.figure
    page.controls.speed.value = 90.0
    assert page.along.figure is figure, "a slider moves the ring and draws no other picture"
    assert mark("selected").x == (90.0,) and mark("pins").x == (97.8,) and mark("pins").text == ("1",)
    page.frame._colours.value = "dark"
    assert mark("selected").x == (90.0,)
    page.unpin.click()
    assert mark("pins").x == () and mark("selected").x == (90.0,)


def test_pins_that_another_product_cannot_have_are_not_lost_silently(page):
    page.pin.click()
    page.controls.product.value = "De-fogging heater mesh"
    assert page.pins == () and "1 pinned set-up was removed" in text(page.document)


def test_a_planned_roll_is_marked_and_can_be_forgotten(page):
    page.volume.field.value = "6,3"
    page.plan.click()
    assert page.controls.roll.value == "2047" and "Added as new 1 (6.3 cm³/m²)" in plain(page.planned.value)
    bands = page.question.bands
    fastest = bands[bands["roll"] == "new 1"]["speed_high_m_min"].max()
    assert fastest > 80 and f"{fastest:g} m/min" in plain(page.planned.value)
    labels = [label for label, _ in page.controls.roll.options]
    assert "new 1 (planned) · 6.3" in labels
    names = {trace.name for trace in page.along.children[0].data if trace.name}
    assert "roll new 1 (planned, 6.3 cm³/m²)" in names
    page.controls.roll.value = "new 1"
    assert "(planned)" in text(page.answer)
    page.pin.click()
    page.forget.click()
    assert page.controls.roll.value == "2047" and page.pins == ()
    assert "planned" not in text(page.answer)


@pytest.mark.parametrize(
    "volume, words",
    [
        (-1.0, "a roll of −1 cm³/m² cannot be judged: the trial covers cell volumes from 2.4 to 7.2 cm³/m²"),
        (0.1, "2.4 to 7.2"),
        (100.0, "2.4 to 7.2"),
        (4.4, "4.4 cm³/m²: already in the inventory as roll 1203"),
    ],
)
def test_a_roll_that_makes_no_sense_is_refused(page, volume, words):
    page.volume.field.value = written(volume)
    page.plan.click()
    assert words in plain(page.planned.value) and page.volume.field.value == written(volume)
    assert not any(roll.planned for roll in page.question.window.rolls)


def test_a_planned_volume_may_have_another_unit(page):
    page.volume.field.value = "3.9 BCM"
    page.plan.click()
    assert "Added as new 1 (6.05 cm³/m²)" in plain(page.planned.value)
    assert page.question.roll("new 1").cell_volume == pytest.approx(3.9 / 0.64516)


def test_no_more_rolls_are_planned_than_charts_show(page):
    for volume in ("2.6", "2.8", "3", "3.6", "3.8", "4", "4.2"):
        page.volume.field.value = volume
        page.plan.click()
    assert "4.2 cm³/m²: 6 rolls are planned, the most there can be" in plain(page.planned.value)
    assert sum(roll.planned for roll in page.question.window.rolls) == 6


def test_a_planned_roll_keeps_its_name_in_the_address(page, evidence):
    for volume in ("6,9", "6,3"):
        page.volume.field.value = volume
        page.plan.click()
    page.controls.roll.value = "new 1"
    other = TradeOffsPage(evidence)
    other.open_at(query(page))
    assert other.controls.roll.value == "new 1" and other.question.roll("new 1").cell_volume == 6.9


def test_a_roll_is_planned_once(page):
    page.volume.field.value = "6,3"
    page.plan.click()
    page.plan.click()
    assert "already planned as roll new 1" in plain(page.planned.value)
    assert sum(roll.planned for roll in page.question.window.rolls) == 1


def test_what_is_below_a_new_answer_is_marked_until_it_is_worked_out(page, monkeypatch):
    page.section.value = Section.BEST.value
    seen = []
    draw = page.frontier.show
    monkeypatch.setattr(
        page.frontier,
        "show",
        lambda drawn: (seen.append((page.busy.value, page.sections[Section.BEST]._dom_classes)), draw(drawn)),
    )
    limit_field(page, "resistance")[0].value = "350"
    assert "updating the charts" in seen[0][0] and "pw-old" in seen[0][1]
    assert page.busy.value == "" and all("pw-old" not in part._dom_classes for part in page.rest)


def test_set_ups_that_practically_never_conform_are_no_choice(page):
    limit_field(page, "resistance")[0].value = "200"
    assert page.trade_offs.frontier["conformance"].min() >= 0.01


def test_other_quantities_are_drawn(page):
    names = dict(page.quantity.options)
    assert {"line width", "line height", "average gap on a print", "silver per length of line"} <= set(names)
    page.quantity.value = "line_width"
    assert "line width" in page.along.children[0].layout.title.text
    page.controls.product.value = "De-fogging heater mesh"
    assert page.quantity.value == "line_width", "what is drawn stays where it can"
    assert "silver_of_area" in dict(page.quantity.options).values()


def test_who_opens_the_address_sees_the_same(page, evidence):
    page.pin.click()
    page.volume.field.value = "6,3"
    page.plan.click()
    page.controls.speed.value = 85.0
    page.quantity.value = "gap"
    page.section.value = Section.BESIDE.value
    limit_field(page, "resistance")[0].value = "350"
    address = query(page)
    assert dict(parse_qsl(address))["planned"] == "6.3"
    other = TradeOffsPage(evidence)
    other.open_at(address)
    assert other.pins == page.pins and other.quantity.value == "gap"
    assert other.section.value == Section.BESIDE.value
    for name in ("answer", "steps", "beside", "plates", "notes"):
        assert getattr(other, name).value == getattr(page, name).value, name
    assert query(other) == address


@pytest.mark.parametrize(
    "address, words",
    [
        ("pin=80;50", "not a set-up"),
        ("pin=80;50;9999;laser-imaged", "roll 9999 does not exist here"),
        ("pin=80;50;2047;<b>steel</b>", "&lt;b&gt;steel"),
        ("planned=much", "not a number"),
        ("planned=-2", "2.4 to 7.2"),
        ("show=nothing", ""),
    ],
)
def test_an_address_that_cannot_be_used_is_told(page, address, words):
    page.open_at(address)
    assert words in plain(page.frame._notices.value) and "<b>steel" not in plain(page.frame._notices.value)
    assert "95.1 %" in text(page.answer)


def test_own_parts_of_an_address():
    own = Own.read("pin=80;50;20;47;laser&pin=1&planned=6.3&show=gap&roll=2047&section=best")
    assert own == Own((("80", "50", "20", "47;laser"), ("1",)), "gap", Section.BEST)
    assert Own.read(None) == Own()


def test_no_more_pins_than_fit(tag_window):
    pins = ()
    for speed in range(60, 66):
        pins = pinned(pins, Setup("laser-imaged", tag_window.rolls[0], 50.0, speed))
    with pytest.raises(pw.errors.UnusableInput, match="the most that fit"):
        pinned(pins, Setup("laser-imaged", tag_window.rolls[0], 50.0, 70.0))
    assert setup_of(tag_window, ("60", "50", tag_window.rolls[0].id, "laser-imaged")) == pins[0]


def test_names_from_files_are_escaped(evidence, tag):
    import dataclasses

    named = dataclasses.replace(tag, name="<script>x</script>")
    page = TradeOffsPage(dataclasses.replace(evidence, products={named.name: named}))
    page.pin.click()
    for name in ("answer", "steps", "beside", "plates", "notes"):
        assert "<script>" not in getattr(page, name).value
    assert "<script>" not in plain(page.frame.facts.value)
    page.section.value = Section.BEST.value
    for place in (page.along, page.frontier):
        assert "<script>" not in place.children[0].layout.title.text


def test_a_trial_with_one_plate_says_why_none_is_compared(demo_rows, study, tag):
    surfaces = pw.fit(read_frame(demo_rows[demo_rows["plate"] == "laser-imaged"]))
    page = TradeOffsPage(Evidence(surfaces=surfaces, study=study, products={tag.name: tag}))
    assert "print a trial with another" in text(page.plates)


def test_a_page_on_nothing_says_why(monkeypatch):
    monkeypatch.setenv("PWINDOW_TRIAL", "/nowhere.csv")
    assert "cannot be read" in trade_offs().value


def saved(widget):
    """The file that a link saves."""
    return base64.b64decode(re.search(r'base64,([^"]+)"', widget.value)[1]).decode()


def test_documents_are_of_the_pinned_set_up(page, tag_window):
    page.controls.speed.value = 90.0
    page.pin.click()
    page.controls.speed.value = 95.0
    page.report.click()
    report = plain(saved(page.document))
    assert "trade-offs.ipynb?product=Grain%20moisture%20tag" in report.replace("&amp;", "&")
    assert "90 m/min" in report and "How fast should Grain moisture tag be run?" in report
    page.run_sheet.click()
    sheet = plain(saved(page.document))
    assert "90 m/min" in sheet or re.search(r"90\s*</", sheet)
    assert page.document.value.count("base64,") == 2, "one document does not take the other away"
    names = re.findall(r'download="([^"]+)"', page.document.value)
    assert names == ["report.html", "run-sheet.html"], "as the buttons stand"
    page.controls.speed.value = 94.0
    assert page.document.value == "", "a document that was made is of what was shown then"


def test_no_run_sheet_for_a_roll_that_is_only_planned(page):
    page.volume.field.value = "6,3"
    page.plan.click()
    page.controls.roll.value = "new 1"
    page.run_sheet.click()
    assert "only planned" in plain(page.frame.problem.value) and page.document.value == ""


def test_numbers_of_the_pictures_can_be_saved(page):
    assert saved(page.along.saves).startswith("roll,planned,cell_volume_cm3_m2,speed_m_min")
    page.section.value = Section.BEST.value
    assert saved(page.frontier.saves).startswith("trade,roll,planned,plate")


def test_what_limits_is_shown_along_the_speed_of_every_roll(page):
    told = text(page.limiting)
    assert "0412 line resistance at all speeds" in told
    one, other = re.search(r"2047 gap below (\d+) m/min, line resistance above (\d+) m/min", told).groups()
    assert one == other
    along = page.offers.along("laser-imaged", 50.0)
    own = along[along["roll"] == "2047"]
    assert set(own[own["speed_m_min"] > float(one) + 0.5]["limiting"]) == {"line_resistance"}
    assert [roll for roll in ("0412", "0655", "1203", "1290", "1318", "2047") if roll not in told] == []


def test_probabilities_have_the_digits_that_the_assurance_asks_for(tag, demo_surfaces, study):
    """99.89 % is not the 99.9 % that was asked for, on the page as in a document."""
    window = pw.find_window(demo_surfaces, tag.with_assurance(0.999), study)
    roll = next(roll for roll in window.rolls if roll.id == "2047")
    setup = Setup("laser-imaged", roll, 35.0, 76.0)
    steps = sensitivities(window, setup)
    joint = window.conformance(setup.frame(window))["joint"].iloc[0]
    assert 0.9985 < joint < 0.999
    for told in (
        trade_words.chosen_card(window, setup, steps, METRIC),
        trade_words.beside_table(window, [setup, setup], side_by_side(window, [setup, setup]), METRIC),
    ):
        assert percent(joint, 0.999) in plain(told) and percent(joint, 0.999) == "99.89 %"
    faster = steps.loc[0, "conformance_after"]
    assert percent(faster, 0.999) in plain(trade_words.step_table(steps, window.product.assurance, METRIC))


def test_one_section_is_shown_and_the_selected_roll_is_drawn_strongest(page):
    shown = [section for section, part in page.sections.items() if part.layout.display is None]
    assert shown == [Section.ALONG]

    def widths():
        lines = [trace for trace in page.along.figure.data if trace.name.endswith(", assured")]
        return {trace.name: trace.line.width for trace in lines}

    before = widths()
    strongest = "roll 2047, assured"
    assert all(before[strongest] > width for name, width in before.items() if name != strongest)
    page.controls.roll.value = "1318"
    assert max(widths(), key=widths().get) == "roll 1318, assured"


def cells(html, row):
    """Texts of a row, of every table that has it."""
    found = re.findall(rf'<tr><th scope="row">{row}</th>(.*?)</tr>', html, re.DOTALL)
    return [[re.sub(r"<[^>]+>", " ", cell) for cell in re.findall(r"<td.*?</td>", one)] for one in found]


def test_limits_are_moved_when_they_are_first_shown(page):
    seen = []
    page.limits.observe(lambda change: seen.append(change["new"]), "value")
    assert page.limits.value == ""
    page.section.value = Section.LIMITS.value
    assert [("working out" in value, "<table" in value) for value in seen] == [(True, False), (False, True)]
    trades = limit_trades(page.question.window, page.question.start())
    _, looser = trades.limits[0]
    kept, best = cells(plain(page.limits.value), "line resistance at most 330 Ω")
    told = f"{looser.fastest:g}", speed_change(looser.fastest - 97.8)
    assert "With all limits unchanged: 97.8 m/min" in text(page.limits)
    assert [cell.strip() for cell in kept[3:6]] == [cell.strip() for cell in best[3:6]] == ["363 Ω", *told]
    kept, best = cells(plain(page.limits.value), "line width at most 70 µm")
    assert kept[1].split()[0] == "none" and kept[2].strip() == "–"
    assert re.sub(r"\s+", " ", best[1]).strip() == "75.6 roll 2047, 20 µm"


def test_moved_limits_are_worked_out_once_for_a_question(page):
    page.section.value = Section.LIMITS.value
    seen = []
    page.limits.observe(lambda change: seen.append(change["new"]), "value")
    page.controls.speed.value = 90.0
    page.section.value = Section.STEPS.value
    page.section.value = Section.LIMITS.value
    assert seen == [], "the speed that is selected does not matter"
    before = page.offers.moved_limits
    page.controls.roll.value = "1318"
    assert "roll 1318" in plain(page.limits.value) and page.offers.moved_limits is before
    assert "<table" in seen[0], "what was there stays until the new speeds are known"
    page.section.value = Section.STEPS.value
    limit_field(page, "resistance")[0].value = "350"
    assert "350 Ω" not in plain(page.limits.value)
    page.section.value = Section.LIMITS.value
    assert "line resistance at most 350 Ω" in plain(page.limits.value) and "working" not in plain(
        page.limits.value
    )


def test_a_limit_that_cannot_be_moved_says_why(page):
    limit_field(page, "gap at least")[0].value = "40"
    page.section.value = Section.LIMITS.value
    assert "least (44) is not below most (42)" in plain(page.limits.value)
    assert "With all limits unchanged, no set-up is assured." in plain(page.limits.value)
    said = text(page.limits)
    assert said.index("What would help") < said.index("If a limit were 10 % tighter")
    setup = page._setup()
    (tighter, _), *_ = limit_trades(page.question.window, setup).limits
    (kept, _) = cells(plain(page.limits.value), tighter.moved.words())
    assert (
        re.sub(r"\s+", " ", kept[1]).strip()
        == f"none {percent(tighter.conformance)} at {setup.speed:g} m/min"
    )


def test_moved_limits_have_bars_as_long_as_their_changes(page):
    page.section.value = Section.LIMITS.value
    trades = limit_trades(page.question.window, page.question.start())
    kept = np.array([trades.change(then) for pair in trades.limits for then in pair])
    bars = [float(width) for width in re.findall(r"width: ([0-9.]+)%", page.limits.value)][: len(kept)]
    expected = 50.0 * np.nan_to_num(np.abs(kept)) / np.nanmax(np.abs(kept))
    assert bars == pytest.approx(expected, abs=0.06)


def test_a_step_has_a_bar_as_long_as_its_gain(page):
    bars = [float(width) for width in re.findall(r"width: ([0-9.]+)%", page.steps.value)]
    gains = page.offers.steps(page.question.start())["gain_percentage_points"].dropna().abs()
    assert bars == pytest.approx(50.0 * gains / gains.max(), abs=0.06)


def test_a_volume_that_was_shown_in_other_units_is_itself_again(page):
    before = page.volume.value
    page.units_menu.widget.value = "us"
    assert page.volume.value == pytest.approx(before * 0.64516, rel=1e-3)
    page.units_menu.widget.value = ""
    assert page.volume.value == before


def test_with_a_confidence_each_step_has_its_lower_bound(page):
    assert "confidence" not in text(page.steps)
    page.controls.confidence.value = 0.9
    assert "new probability at least, with 90 % confidence new limiting requirement" in text(page.steps)
    steps = page.offers.steps(page._setup())
    faster = steps[(steps["what"] == "speed") & (steps["step"] > 0)].iloc[0]
    cell = cells(page.steps.value, "press speed")[0][-2].strip().replace("\xa0", " ")
    assert cell == at_least(faster["at_least_after"]) != percent(faster["conformance_after"])


def test_with_a_confidence_moved_limits_say_what_is_held_against_the_level(page):
    page.controls.confidence.value = 0.9
    page.section.value = Section.LIMITS.value
    tighter, _ = limit_trades(page.asked.window, page._setup()).limits[0]
    assert tighter.held < 0.95 and tighter.held < tighter.conformance - 0.01
    said = [
        cell for row in re.findall(r"none at least (\S+) % at", text(page.limits)) for cell in [float(row)]
    ]
    assert said and max(said) < 95.0
