"""Numbers as visitors type them: taken or refused, and never changed silently."""

import dataclasses

import pytest

from pwindow.errors import UnusableInput
from pwindow.panels.shared.controls import RequirementEditor
from pwindow.panels.shared.fields import NumberField, SlidingNumber, typed_number, written
from pwindow.wording import METRIC, PERCENT, metric, us_customary
from tests.helpers.words import plain


def unguarded(handler):
    return handler


@pytest.mark.parametrize(
    ("text", "number"),
    [
        ("33,5", 33.5),
        ("33.5", 33.5),
        (" 33.5 µm", 33.5),
        ("33.5μm", 33.5),
        ("−5", -5.0),
        ("–5", -5.0),
        ("-5", -5.0),
        ("+5", 5.0),
        ("0,125", 0.125),
        ("1.234", 1.234),
        (",5", 0.5),
        ("5.", 5.0),
        ("1e3", 1000.0),
        ("1234567", 1234567.0),
        ("\u00a033,5\u202f", 33.5),
    ],
)
def test_what_people_type_is_read(text, number):
    assert typed_number(text, "µm") == number


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "the field is empty; type a number in µm"),
        ("   ", "the field is empty"),
        ("fast", "“fast” is not a number"),
        ("33 mm", "“33 mm” is not a number; type a number in µm"),
        ("1,234", "“1,234” could be 1234 or 1.234"),
        ("1.234,5", "is not a number"),
        ("1 234", "is not a number"),
        ("nan", "is not a number"),
        ("inf", "is not a number"),
        ("1e999", "is not a number"),
        ("٣", "is not a number"),
        ("0x10", "is not a number"),
        ("1_000", "is not a number"),
        ("5" * 400, "is not a number"),
    ],
)
def test_the_rest_is_refused_with_its_reason(text, words):
    with pytest.raises(UnusableInput, match=words):
        typed_number(text, "µm")


def test_what_is_written_can_be_typed():
    for value in (33.5, -5.0, 0.125, 1234567.0, 1e-5):
        assert typed_number(written(value)) == value


def refused(text):
    raise UnusableInput(text)


def test_a_field_keeps_what_cannot_be_used_until_it_is_corrected():
    taken = []
    field = NumberField("gap at least", "µm", 16.0, unguarded, taken.append)
    field.field.value = ""
    assert field.field.value == "" and "The page still uses 16 µm" in plain(field.note.value)
    field.field.value = "<b>"
    assert field.field.value == "<b>" and "&lt;b&gt;" in field.note.value and "<b>" not in field.note.value
    with pytest.raises(UnusableInput, match="correct “<b>” first"):
        field.needed()
    field.field.value = "16,5"
    assert (field.needed(), field.field.value, field.note.value, taken) == (16.5, "16.5", "", [16.5])
    field.field.value = "16.5"
    assert taken == [16.5], "the same number is not taken twice"


def test_a_number_that_the_page_refuses_stays_in_its_field():
    field = NumberField("gap", "µm", 16.0, unguarded, lambda number: refused(f"{number:g} µm is too much"))
    field.field.value = "90"
    assert field.field.value == "90" and field.value == 16.0 and "too much" in field.note.value
    field.field.value = "16"
    assert field.note.value == ""


def test_a_slider_and_its_field_say_the_same():
    chosen = []
    number = SlidingNumber("Speed", unguarded, lambda: chosen.append(number.value))
    number.show(METRIC.speed, 30.0, 120.0, 98.8, 0.1)
    assert (number.value, number.field.value, chosen) == (98.8, "98.8", [])
    number.slider.value = 60.0
    assert (number.field.value, chosen) == ("60", [60.0])
    number.field.value = "62,5"
    assert (number.value, number.field.value, chosen) == (62.5, "62.5", [60.0, 62.5])
    for text, words in (
        ("335", "335 m/min is outside 30 to 120 m/min"),
        ("", "empty"),
        ("quick", "not a number"),
    ):
        number.field.value = text
        assert words in plain(number.note.value) and "The page still uses 62.5 m/min" in plain(
            number.note.value
        )
        assert (number.field.value, number.value) == (text, 62.5)
    number.show(METRIC.speed, 30.0, 120.0, 62.5, 0.1)
    assert number.field.value == "quick" and number.note.value, "what was typed stays"
    number.show(METRIC.speed, 30.0, 110.0, 62.5, 0.1)
    assert number.field.value == "62.5" and number.note.value == ""
    assert chosen == [60.0, 62.5]
    number.slider.value = 70.0
    assert number.field.value == "70" and number.note.value == ""


def test_a_slider_with_other_ends_is_another_one():
    """To ends that move, a browser answers with the value before, clamped: nobody must listen."""
    chosen = []
    number = SlidingNumber("Pressure", unguarded, lambda: chosen.append(number.value))
    number.show(METRIC.pressure, 20.0, 80.0, 50.0, 1.0)
    before = number.slider
    number.show(METRIC.pressure, 20.0, 80.0, 60.0, 1.0)
    assert number.slider is before
    number.show(metric("N/mm").pressure, 4.0, 8.0, 6.0, 0.1)
    assert number.slider is not before and before not in number.box.children[0].children
    assert before.comm is None, "it is closed"
    slider = number.slider
    assert (slider.min, slider.max, slider.value, slider.description) == (4.0, 8.0, 6.0, "Pressure, N/mm")
    assert (number.field.value, chosen) == ("6", [])


def test_a_share_is_shown_in_per_cent():
    number = SlidingNumber("Assurance", unguarded, lambda: None)
    number.show(PERCENT, 0.5, 0.99, 0.95, 0.01)
    assert (number.value, number.field.value) == (0.95, "95")
    number.field.value = "90 %"
    assert number.value == 0.9
    number.field.value = "0.95"
    assert "0.95 % is outside 50 to 99 %" in plain(number.note.value)


@pytest.fixture
def editor(tag):
    made = RequirementEditor(lambda product: made.taken.append(product), unguarded)
    made.taken = []
    made.show(tag, METRIC)
    return made


def part(editor, words):
    parts = editor.box.children
    at = next(at for at, one in enumerate(parts) if words in one.description)
    return parts[at], parts[at + 1]


def test_a_limit_that_another_forbade_is_taken_once_that_one_allows_it(editor):
    least, note = part(editor, "gap at least")
    least.value = "60"
    assert "60 µm is not below gap at most, 42 µm" in plain(note.value) and editor.taken == []
    part(editor, "gap at most")[0].value = "80"
    gap = next(one for one in editor.taken[-1].requirements if one.name == "gap")
    assert (gap.least, gap.most, note.value, least.value) == (60.0, 80.0, "", "60")


def test_what_was_typed_stays_where_the_limits_do(editor, tag):
    field, note = part(editor, "line width")
    field.value = "much"
    editor.show(tag.with_assurance(0.9), METRIC)
    assert part(editor, "line width") == (field, note) and field.value == "much" and note.value
    part(editor, "gap at most")[0].value = "50"
    assert editor.taken[-1].assurance.level == 0.9, "limits change on the product that is shown"
    editor.show(dataclasses.replace(tag, requirements=tag.requirements[:1]), METRIC)
    assert len(editor.box.children) == 2


@pytest.mark.parametrize("count", ["0", "−3", "2,5", "1e999", "many"])
def test_a_count_is_whole_and_at_least_one(editor, count):
    field, note = part(editor, "on one part")
    field.value = count
    assert note.value and field.value == count and editor.taken == []
    field.value = "60"
    assert next(one for one in editor.taken[-1].requirements if one.name == "gap").parameters["count"] == 60


def test_a_slider_in_other_units_keeps_the_number_whatever_step_it_stands_on():
    """A browser moves a slider to the step next to its number, and tells of it."""
    chosen = []
    number = SlidingNumber("Speed", unguarded, lambda: chosen.append(number.value))
    number.show(us_customary().speed, 30.0, 120.0, 98.8, 0.1)
    assert (number.field.value, number.slider.description) == ("324.1", "Speed, ft/min")
    number.slider.value = number.slider.min + round((number.slider.value - number.slider.min) / 0.1) * 0.1
    assert (number.value, chosen) == (98.8, [])
    number.slider.value += 1.0
    assert chosen == [pytest.approx(98.8 + 0.3048, abs=0.02)] and number.field.value == "325.1"
    number.field.value = "300 ft/min"
    assert number.value == pytest.approx(91.44) and len(chosen) == 2
    number.field.value = "98.4"
    assert number.value == pytest.approx(30.0), "the end as it is written, 98.43"
    number.field.value = "98"
    assert "98 ft/min is outside 98.4 to 393.7 ft/min" in plain(number.note.value)
