"""What an archive keeps, and that it loses nothing."""

import datetime
import io

import numpy as np
import pandas as pd
import pytest
from sqlalchemy import text

import pwindow as pw
from pwindow.errors import TrialProblem, UnusableInput
from pwindow.inputs import InputFile
from pwindow.study import MakeReadies
from pwindow.surfaces.fingerprint import fit_fingerprint
from pwindow.surfaces.posterior.gap_shape import GapShape
from pwindow.surfaces.posterior.sampler import Plan
from pwindow.trials.archive import Archive, Comparison

SHORT = Plan(warm=20, kept=20, doublings=0)


def same(one: pd.DataFrame, other: pd.DataFrame) -> None:
    pd.testing.assert_frame_equal(one, other, check_dtype=False, check_exact=True)


@pytest.mark.slow
def test_a_trial_comes_back_as_it_was(archive, first):
    added = archive.add(first, "same process", "the first")
    assert (added.name, added.known) == ("trial_first.csv", False)
    stored, read = archive.trial(), pw.read_trial(first)
    same(stored.prints, read.prints)
    same(stored.cells, read.cells)
    same(stored.features[list(read.features)], read.features)
    assert (stored.fingerprint, stored.pressure_unit) == (read.fingerprint, read.pressure_unit)
    assert (stored.files, stored.notes) == (read.files, read.notes)
    assert archive.file(added.trial) == first


@pytest.mark.slow
def test_a_fit_from_the_archive_is_the_same_to_the_last_digit(filled, demo_surfaces):
    again = pw.fit(filled.trial())
    for one, other in zip(again.joint.centres, demo_surfaces.joint.centres):
        np.testing.assert_array_equal(one, other)
    np.testing.assert_array_equal(again.joint.spread, demo_surfaces.joint.spread)


@pytest.mark.slow
def test_a_fit_fetches_no_features(filled, monkeypatch):
    """Nor does a window of a product that asks nothing of the worst of many gaps."""
    monkeypatch.setattr(Archive, "_features", lambda *_: pytest.fail("features were fetched"))
    surfaces = pw.fit(filled.trial(), plan=SHORT)
    pw.find_window(surfaces, pw.read_product(pw.demo("mesh.toml"))).speed_bands([50.0])


@pytest.mark.slow
def test_gaps_vary_alike_from_an_archive_and_from_a_file(filled, first):
    one, other = GapShape.of(filled.trial()), GapShape.of(pw.read_trial(first))
    assert one.p == other.p and one.inspected == other.inspected
    np.testing.assert_array_equal(one.weights, other.weights)


@pytest.mark.slow
def test_the_same_file_twice_is_recognised(filled, first):
    again = filled.add(InputFile("other name.csv", first.content))
    assert again.known and again.trial == 1
    assert len(filled.trials()) == 1


@pytest.mark.slow
def test_the_same_measurements_in_another_format_are_recognised(filled, first):
    frame = pd.read_csv(io.BytesIO(first.content), dtype={"roll": str, "print": str, "make_ready": str})
    book = io.BytesIO()
    frame.to_parquet(book)
    other = filled.add(InputFile("trial.parquet", book.getvalue()))
    assert other.known and other.trial == 1


@pytest.mark.slow
def test_a_refused_file_changes_nothing(filled, first):
    before = filled.trials()
    with pytest.raises(TrialProblem):
        filled.add(InputFile("bad.csv", first.content.replace(b",30.0,", b",fast,", 1)))
    same(filled.trials(), before)


@pytest.mark.slow
def test_trials_together_keep_their_prints_apart(filled, first, another):
    for file in (another(1), another(2)):
        filled.add(file, "same process", "more of it")
    together = filled.trial()
    assert len(together.prints) == 3 * 65 and together.prints.index.is_unique
    assert together.prints.index[0].startswith("trial_first.csv: ")
    assert together.prints["make_ready"].str.contains(": ").all()
    assert together.files == ("trial_first.csv", "trial_1.csv", "trial_2.csv")
    read = pw.read_trial([first, another(1), another(2)])
    same(together.cells, read.cells.assign(order=read.cells["print"].str.split(":").str[0].map(
        {name: at for at, name in enumerate(together.files)})).sort_values("order", kind="stable")
        .drop(columns="order").reset_index(drop=True))  # fmt: skip
    same(together.features[list(read.features)], read.features)


@pytest.mark.slow
def test_decisions_are_kept_with_their_reasons(archive, first):
    number = archive.add(first).trial
    assert archive.trials().loc[number, "standing"] == "undecided"
    with pytest.raises(UnusableInput, match="no trial that can be used in fits"):
        archive.trial()
    archive.decide(number, "same process", "agrees")
    archive.decide(number, "set aside", "ink was old")
    archive.decide(number, "same process", "it was not")
    told = archive.decisions(number)
    assert list(told["standing"]) == ["undecided", "same process", "set aside", "same process"]
    assert list(told["reason"]) == ["", "agrees", "ink was old", "it was not"]
    assert told["made"].is_monotonic_increasing
    assert told["made"].iloc[0].tzinfo is not None
    assert abs(told["made"].iloc[-1] - datetime.datetime.now(datetime.UTC)) < datetime.timedelta(minutes=5)
    assert archive.trial().numbers == (number,)


@pytest.mark.slow
def test_what_was_found_is_kept_with_a_trial(archive, first, another):
    seen = Comparison("a1b2c3d4e5f6", "does not agree", ("line height: 4 % low", "gap closure: agrees"))
    number = archive.add(first, compared=seen).trial
    archive.keep_comparison(number, Comparison("0f0f0f0f0f0f", "agrees", ("all agree",)))
    told = archive.comparisons(number)
    assert list(told["against"]) == ["a1b2c3d4e5f6", "0f0f0f0f0f0f"]
    assert list(told["verdict"]) == ["does not agree", "agrees"]
    assert told["told"].iloc[0].splitlines() == list(seen.sentences)
    assert archive.comparisons(archive.add(another(1)).trial).empty
    with pytest.raises(UnusableInput, match="no trial 7"):
        archive.keep_comparison(7, seen)


@pytest.mark.slow
def test_an_archive_from_before_comparisons_gets_them(filled):
    with filled._engine.begin() as connection:
        connection.execute(text("DROP TABLE comparisons"))
        connection.execute(text("DELETE FROM migrations WHERE name = 'comparisons'"))
    later = Archive(filled._whole_address)
    assert later.comparisons(1).empty and later.trial().numbers == (1,)


@pytest.mark.slow
def test_an_archive_whose_comparisons_only_say_yes_or_no_gets_words(archive, address, first):
    number = archive.add(first, compared=Comparison("a1b2c3d4e5f6", "", ("line height: 4 % low",))).trial
    archive.keep_comparison(number, Comparison("0f0f0f0f0f0f", "", ("all agree",)))
    with archive._writing() as connection:
        connection.execute(text("ALTER TABLE comparisons DROP COLUMN verdict"))
        connection.execute(text("ALTER TABLE comparisons ADD COLUMN agrees BOOLEAN NOT NULL DEFAULT FALSE"))
        connection.execute(text("UPDATE comparisons SET agrees = TRUE WHERE told = 'all agree'"))
        connection.execute(text("DELETE FROM migrations WHERE name = 'verdicts'"))
    later = Archive(address)
    assert list(later.comparisons(number)["verdict"]) == ["does not agree", "agrees"]
    later.keep_comparison(number, Comparison("a1b2c3d4e5f6", "cannot be compared", ("nothing",)))
    assert later.comparisons(number)["verdict"].iloc[-1] == "cannot be compared"


@pytest.mark.slow
def test_prints_are_not_counted_twice(filled, first, another):
    rows = pd.read_csv(io.BytesIO(first.content), dtype=str).sample(frac=1.0, random_state=1)
    with pytest.raises(UnusableInput, match=r"65 prints of the file .* are already in trial 1"):
        filled.add(InputFile("shuffled.csv", rows.to_csv(index=False).encode()))
    part = rows[rows["print"] != "A-001"].to_csv(index=False).encode()
    with pytest.raises(UnusableInput, match="64 prints of the file"):
        filled.add(InputFile("part.csv", part))
    assert len(filled.trials()) == 1
    filled.add(another(1), "same process", "the same ids with other values")


@pytest.mark.slow
def test_prints_with_a_column_dropped_are_the_same_prints(filled, first):
    rows = pd.read_csv(io.BytesIO(first.content), dtype={"roll": str})
    fewer = rows.drop(columns=["resistance [ohm]", "line_length [mm]"])
    with pytest.raises(UnusableInput, match="65 prints of the file .* already in trial 1"):
        filled.add(InputFile("fewer.csv", fewer.to_csv(index=False).encode()))


@pytest.mark.slow
def test_prints_of_one_name_whose_gaps_were_only_counted_are_not_taken_to_be_the_same(archive, another):
    def counted(seed):
        rows = pd.read_csv(io.BytesIO(another(seed).content), dtype={"roll": str})
        gaps = rows[rows["plate_gap [um]"].notna()].assign(**{"gap [um]": None})
        speeds = gaps["speed [m/min]"] + seed
        return InputFile(f"{seed}.csv", gaps.assign(**{"speed [m/min]": speeds}).to_csv(index=False).encode())

    archive.add(counted(0))
    assert not archive.add(counted(1)).known


@pytest.mark.slow
def test_what_is_found_again_is_not_kept_twice(archive, first):
    seen = Comparison("a1b2c3d4e5f6", "agrees", ("all agree",))
    number = archive.add(first, compared=seen).trial
    archive.keep_comparison(number, seen)
    assert len(archive.comparisons(number)) == 1


@pytest.mark.slow
def test_reasons_stay_on_one_line_and_short(archive, first):
    number = archive.add(first, reason="ink\nwas \x1b[31m old").trial
    assert archive.trials().loc[number, "reason"] == "ink was [31m old"
    with pytest.raises(UnusableInput, match="has 400 characters; shorten it to 300"):
        archive.decide(number, "set aside", "x" * 400)


@pytest.mark.slow
def test_measured_volumes_override_those_of_trials(filled):
    tried = filled.trial().rolls
    assert filled.rolls(tried) == (), "nothing is said of rolls where none was measured"
    filled.keep_volume("2047", 7.0, datetime.date(2026, 1, 10))
    filled.keep_volume("0655", 0.0, datetime.date(2026, 1, 10), "sold")
    found = {roll.id: roll.cell_volume for roll in filled.rolls(tried)}
    assert list(found) == ["0412", "1203", "1318", "2047"] and found["2047"] == 7.0
    with pytest.raises(UnusableInput, match="needs an id"):
        filled.keep_volume(" ", 7.0, datetime.date(2026, 1, 10))


@pytest.mark.slow
@pytest.mark.parametrize("reason", ["", "  "])
def test_a_decision_needs_a_reason(filled, reason):
    with pytest.raises(UnusableInput, match="needs a reason"):
        filled.decide(1, "set aside", reason)


def test_trials_that_are_not_there(archive):
    assert archive.trials().empty
    with pytest.raises(UnusableInput, match="no trial 7"):
        archive.decide(7, "set aside", "why")
    with pytest.raises(UnusableInput, match="no trial 7"):
        archive.trial([7])


@pytest.mark.slow
def test_pressures_of_several_kinds_are_refused(filled, another):
    other = another(1).content.replace(b"pressure [um]", b"pressure [kPa]")
    filled.add(InputFile("load.csv", other), "same process", "second")
    with pytest.raises(UnusableInput, match="several kinds"):
        filled.trial()


@pytest.mark.slow
def test_trials_without_make_readies_come_back(archive, first, another):
    def bare(file):
        rows = pd.read_csv(io.BytesIO(file.content), dtype={"roll": str}).drop(columns="make_ready")
        return InputFile(f"bare {file.name}", rows.to_csv(index=False).encode())

    archive.add(bare(first), "same process", "the first")
    alone = archive.trial()
    assert alone.prints["make_ready"].isna().all()
    fitted = pw.fit(alone, plan=SHORT).fingerprint
    assert fitted == fit_fingerprint(pw.read_trial(bare(first)), "all", (), MakeReadies())
    archive.add(bare(another(1)), "same process", "more of it")
    assert archive.trial().prints["make_ready"].isna().all()
    archive.add(another(2), "same process", "more of it")
    assert archive.trial().prints["make_ready"].notna().sum() == 65
