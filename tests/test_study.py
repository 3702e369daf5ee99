"""Study files: roll inventory and ink."""

import pytest

import pwindow as pw
from pwindow.errors import DeclarationProblem, UnusableInput
from pwindow.inputs import InputFile


def read(text):
    return pw.read_study(InputFile("press.toml", text if isinstance(text, bytes) else text.encode()))


def test_the_demo_study(study):
    assert [(roll.id, roll.cell_volume) for roll in study.rolls] == [
        ("0412", pytest.approx(2.4)),
        ("0655", pytest.approx(3.3)),
        ("1203", pytest.approx(4.4)),
        ("1290", pytest.approx(5.0)),
        ("1318", pytest.approx(5.6)),
        ("2047", pytest.approx(7.2)),
    ]
    assert study.ink.resistivity == pytest.approx(9.5e-8)
    assert study.ink.resistivity_spread == pytest.approx(0.04)
    assert study.ink.silver_density == pytest.approx(7.4)
    assert not any(roll.planned for roll in study.rolls)


def test_everything_has_a_default():
    found = read("")
    assert (found.name, found.rolls, found.ink.resistivity, found.ink.resistivity_spread) == (
        "press",
        (),
        None,
        0.1,
    )


@pytest.mark.parametrize("text, expected", [("7.4 g/cm3", 7.4), ("7400 kg/m³", 7.4), ("10.49 g/cm³", 10.49)])
def test_silver_density_by_its_unit(text, expected):
    assert read(f'[ink]\nsilver_density = "{text}"\n').ink.silver_density == pytest.approx(expected)
    assert read("").ink.silver_density is None


def test_volumes_in_bcm():
    assert read('[[rolls]]\nid = "7"\ncell_volume = "2 BCM"\n').rolls[0].cell_volume == pytest.approx(
        3.1000062
    )


ROLL = '[[rolls]]\nid = "7"\ncell_volume = "2 BCM"\n'
REFUSED = {
    "unknown foot": ('[scans]\nfoot = "half"\n', ["foot", "“half”", '"three-deviations"']),
    "unknown instrument": ('[scans]\ninstrument = "eye"\n', ["“eye”", '"stylus"']),
    "bare uncertainty of heights": ("[scans]\nheight_uncertainty = 4\n", ["without a unit"]),
    "misspelt uncertainty": ('[scans]\nheight_spread = "4 nm"\n', ["“height_spread”", "height_share"]),
    "unknown key": ("[factors]\nspeed = 1\n", ["“factors”", "[[rolls]]"]),
    "misspelt ink": ('[ink]\nresistivty = "9e-8 ohm m"\n', ["“resistivty”", "resistivity"]),
    "bare resistivity": ("[ink]\nresistivity = 9e-8\n", ["resistivity", "without a unit"]),
    "sheet resistance for resistivity": (
        '[ink]\nresistivity = "9e-8 ohm"\n',
        ["resistivity", "“ohm”"],
    ),
    "zero resistivity": ('[ink]\nresistivity = "0 ohm m"\n', ["resistivity", "above zero"]),
    "negative spread": ('[ink]\nresistivity_spread = "-4 %"\n', ["resistivity_spread"]),
    "bare silver density": ("[ink]\nsilver_density = 7.4\n", ["silver_density", "without a unit"]),
    "no silver": ('[ink]\nsilver_density = "0 g/cm3"\n', ["silver_density", "above zero"]),
    "more than silver": ('[ink]\nsilver_density = "12 g/cm3"\n', ["silver_density", "12 g/cm³", "10.49"]),
    "number for the ink": ("ink = 5\n", ["ink", "table"]),
    "same id twice": (ROLL + ROLL, ["same id"]),
    "number as id": (ROLL.replace('"7"', "412"), ["412", 'id = "412"']),
    "empty id": (ROLL.replace('"7"', '""'), ["id"]),
    "no volume": ('[[rolls]]\nid = "7"\n', ["roll 7", "cell volume"]),
    "negative volume": (ROLL.replace("2 BCM", "-2 BCM"), ["roll 7", "above zero"]),
    "infinite volume": (ROLL.replace("2 BCM", "1e999 BCM"), ["cell_volume"]),
    "volume of a length": (ROLL.replace("2 BCM", "2 ohm"), ["cell_volume", "“ohm”"]),
    "rolls as one table": ('[rolls]\nid = "7"\n', ["[[rolls]]"]),
    "rolls as a number": ("rolls = 5\n", ["[[rolls]]"]),
    "rolls as text": ('rolls = "7"\n', ["[[rolls]]"]),
    "UTF-16": ('name = "x"'.encode("utf-16"), ["UTF-8"]),
}


@pytest.mark.parametrize("text, words", REFUSED.values(), ids=REFUSED.keys())
def test_refused_with_a_reason_that_names_it(text, words):
    with pytest.raises(DeclarationProblem) as caught:
        read(text)
    assert [word for word in ["press.toml", *words] if word not in str(caught.value)] == []


def test_missing_file_and_directory(tmp_path):
    for path in (tmp_path / "none.toml", tmp_path):
        with pytest.raises(UnusableInput, match="check the path"):
            pw.read_study(path)


def test_keys_that_are_not_known_are_named_in_a_sentence(tmp_path):
    for text, words in (("a = 1", "“a” is not recognised"), ("a = 1\nb = 2", "“a”, “b” are not recognised")):
        path = tmp_path / "study.toml"
        path.write_text(text)
        with pytest.raises(UnusableInput, match=words):
            pw.read_study(path)


def test_plate_making_has_defaults_and_can_be_stated():
    usual = read("").plates
    assert (usual.width_spread, usual.gap_spread, usual.offset_spread, usual.resolution) == (
        1.5,
        2.0,
        5.0,
        5.3,
    )
    assert (usual.known_from, usual.stated, usual.measured) == (7, frozenset(), ())
    found = read('[plate_making]\nwidth_spread = "0.8 µm"\nknown_from = 12\n').plates
    assert (found.width_spread, found.gap_spread, found.known_from) == (0.8, 2.0, 12)
    assert found.stated == {"width_spread"}


PLATE = '[[plates]]\nid = "L1"\nprocess = "laser-imaged"\nfeatures = [{feature = "line", plate_width = "30 µm"}]\n'


def test_plates_are_kept_as_they_were_stated():
    (plate,) = read(PLATE).plates.measured
    assert (plate.id, plate.process) == ("L1", "laser-imaged")
    assert [dict(one) for one in plate.features] == [{"feature": "line", "plate_width": "30 µm"}]
    assert read(PLATE).overview().rows["Plates"] == "1 plate"


@pytest.mark.parametrize(
    "text, said",
    [
        (PLATE + PLATE, "two plates have the same id"),
        ("plates = 3\n", "each plate as a table [[plates]]"),
        (PLATE.replace('"L1"', "1"), 'write id = "1"'),
        (PLATE.replace('"30 µm"', "30"), "must be text with its unit"),
        (PLATE.replace("features", "feature"), "no features"),
        (PLATE.replace('feature = "line", ', ""), "has no name"),
        (PLATE + 'colour = "red"\n', "“colour”"),
        ('[plate_making]\nwidth_spread = "0 µm"\n', "above zero"),
        ("[plate_making]\nknown_from = 1\n", "number of plates"),
        (
            '[plate_making]\nwidth = "1 µm"\n',
            "width_spread, gap_spread, offset_spread, resolution, known_from",
        ),
    ],
)
def test_refused_plates(text, said):
    with pytest.raises(DeclarationProblem) as caught:
        read(text)
    assert said in str(caught.value)
