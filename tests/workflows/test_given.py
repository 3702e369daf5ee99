"""What pages stand on when the server was started: files, an archive, or a temporary one."""

import pytest

import pwindow as pw
from pwindow.errors import UnusableInput
from pwindow.inputs import InputFile
from pwindow.panels.new_trial_data.page import new_trial_data
from pwindow.trials.archive import Archive
from pwindow.workflows import given
from pwindow.workflows.given import (
    archive_is_temporary,
    check_given,
    given_archive,
    given_declarations,
    given_evidence,
)


@pytest.fixture(autouse=True)
def started_with(tmp_path, monkeypatch, demo_surfaces):
    """Nothing but a folder that pages share; fits are those of the demo, whatever the trial."""
    monkeypatch.setenv("PWINDOW_SHARED", str(tmp_path))
    for name in ("PWINDOW_TRIAL", "PWINDOW_PRODUCTS", "PWINDOW_STUDY", "PWINDOW_ARCHIVE"):
        monkeypatch.delenv(name, raising=False)
    asked = []
    monkeypatch.setattr(given, "fit", lambda trial, *terms, **more: asked.append(trial) or demo_surfaces)
    given._fit_archived.cache_clear()
    given._fit_paths.cache_clear()
    yield asked
    given._fit_archived.cache_clear()
    given._fit_paths.cache_clear()


def test_a_product_is_judged_by_the_archives_trials(tmp_path, started_with):
    address = str(tmp_path / "own.db")
    Archive(address).add(InputFile.of(pw.demo("trial_second.csv")), "same process", "the first")
    check_given((), [pw.demo("tag.toml")], None, address)
    assert [trial.files for trial in started_with] == [("trial_second.csv",)]
    alien = tmp_path / "alien.toml"
    alien.write_text(pw.demo("tag.toml").read_text(encoding="utf-8").replace("laser-imaged", "engraved"))
    with pytest.raises(UnusableInput, match="engraved"):
        check_given((), [alien], None, address)


def test_an_empty_archive_starts_with_products_and_without_the_demo(tmp_path, monkeypatch, started_with):
    address = str(tmp_path / "new.db")
    check_given((), [pw.demo("tag.toml")], None, address)
    monkeypatch.setenv("PWINDOW_ARCHIVE", address)
    monkeypatch.setenv("PWINDOW_PRODUCTS", str(pw.demo("tag.toml")))
    found = given_evidence()
    assert found.surfaces is None and list(found.products) == ["Grain moisture tag"] and started_with == []
    assert not archive_is_temporary() and given_archive().trials().empty


def test_trials_that_nobody_decided_about_are_no_trial_yet(tmp_path, monkeypatch):
    address = str(tmp_path / "own.db")
    Archive(address).add(InputFile.of(pw.demo("trial_second.csv")))
    monkeypatch.setenv("PWINDOW_ARCHIVE", address)
    assert given_evidence().surfaces is None


def test_a_trial_that_no_product_can_judge_starts_the_server(
    tmp_path, monkeypatch, demo_surfaces, started_with
):
    monkeypatch.setattr(given, "first_window", lambda evidence: 1 / 0)
    check_given([pw.demo("trial_first.csv")], (), None)
    with pytest.raises(ZeroDivisionError):
        check_given([pw.demo("trial_first.csv")], [pw.demo("tag.toml")], None)


@pytest.mark.slow
def test_the_demo_has_a_temporary_archive_with_its_trials(started_with):
    assert archive_is_temporary()
    assert given_evidence().source == "files"
    archive = given_archive()
    assert list(archive.trials()["name"]) == ["trial_first.csv", "trial_second.csv"]
    assert list(archive.trials()["standing"]) == ["same process", "undecided"]
    assert len(given_archive().trials()) == 2, "it is filled once"
    assert given_declarations()[1].name == "study.toml"
    found = given_evidence()
    assert found.source == "the archive" and "Grain moisture tag" in found.products
    assert started_with[-1].files == ("trial_first.csv",)
    archive.decide(2, "changed process", "new ink batch")
    given_evidence()
    assert started_with[-1].files == ("trial_first.csv", "trial_second.csv"), "decisions count on all pages"


def test_files_have_a_temporary_archive_with_them(monkeypatch, started_with):
    monkeypatch.setenv("PWINDOW_TRIAL", str(pw.demo("trial_second.csv")))
    monkeypatch.setenv("PWINDOW_PRODUCTS", str(pw.demo("tag.toml")))
    archive = given_archive()
    assert list(archive.trials()["name"]) == ["trial_second.csv"]
    assert [file.name for file in archive.declarations("product")] == ["tag.toml"]
    assert given_declarations()[1] is None, "the demo's rolls are not theirs"


def test_the_page_of_the_temporary_archive_says_that_it_is_lost(tmp_path):
    page = new_trial_data("data=" + "A" * 22)
    values = " ".join(part.value for part in page.children if hasattr(part, "value"))
    assert "deleted when the server stops" in values and "pwindow serve --archive trials.db" in values
    assert "visible only to you and are not in this archive" in values
    assert str(tmp_path) not in values


def test_the_page_of_a_lasting_archive_does_not(tmp_path, monkeypatch):
    monkeypatch.setenv("PWINDOW_ARCHIVE", str(tmp_path / "own.db"))
    page = new_trial_data("")
    assert "deleted when" not in " ".join(part.value for part in page.children if hasattr(part, "value"))
