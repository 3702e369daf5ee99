"""Files of scans in an archive: each once, as it came, and none that was changed."""

import hashlib
import zlib

import pytest
from sqlalchemy import text

from pwindow.errors import UnusableInput
from pwindow.inputs import InputFile
from pwindow.trials.archive import Archive, scans

ONE, OTHER = InputFile("A-001.csv", b"x [um],z [nm]\n" * 500), InputFile("map.x3p", bytes(range(256)) * 9)


def digest(file):
    return hashlib.sha256(file.content).hexdigest()


def test_files_come_back_as_they_were_kept(archive):
    assert archive.scans().empty
    assert archive.keep_scans([ONE, OTHER]) == 2
    assert archive.scan(digest(ONE)) == ONE and archive.scan(digest(OTHER)) == OTHER
    listed = archive.scans().set_index("sha256")
    assert dict(listed["name"]) == {digest(ONE): "A-001.csv", digest(OTHER): "map.x3p"}
    assert listed.loc[digest(ONE), "size"] == len(ONE.content)
    with archive._reading() as connection:
        packed = connection.scalar(text("SELECT content FROM scans WHERE name = 'A-001.csv'"))
    assert len(packed) < len(ONE.content) / 20, "content is compressed"


def test_the_same_bytes_are_kept_once_under_their_first_name(archive):
    renamed = InputFile("copy.csv", ONE.content)
    assert archive.keep_scans([ONE, renamed]) == 1 and archive.keep_scans([renamed, OTHER]) == 1
    assert archive.keep_scans([]) == 0
    assert sorted(archive.scans()["name"]) == ["A-001.csv", "map.x3p"]


def test_two_that_keep_the_same_at_once_keep_it_once(archive, address):
    """What somebody else has kept since the files were looked up is not kept again."""
    other = Archive(address)

    def files():
        assert other.keep_scans([ONE]) == 1
        yield ONE

    assert archive.keep_scans(files()) == 0 and len(archive.scans()) == 1


def test_many_are_written_some_at_a_time(archive, monkeypatch):
    monkeypatch.setattr(scans, "_AT_ONCE", 100)
    many = [InputFile(f"{at}.csv", hashlib.sha256(bytes([at])).digest() * 3) for at in range(7)]
    assert archive.keep_scans(many) == 7
    assert [archive.scan(digest(file)) for file in many] == many


def test_a_file_that_is_too_large_is_refused(archive, monkeypatch):
    monkeypatch.setattr(scans, "LARGEST", len(OTHER.content))
    assert archive.keep_scans([OTHER]) == 1
    with pytest.raises(UnusableInput, match="A-001.csv has 0.0 MB, and an archive keeps scans of at most"):
        archive.keep_scans([ONE])
    assert len(archive.scans()) == 1


@pytest.mark.parametrize("content", [zlib.compress(b"another"), b"no compressed content"])
def test_content_that_was_changed_is_not_given(archive, content):
    archive.keep_scans([ONE])
    with archive._writing() as connection:
        connection.execute(text("UPDATE scans SET content = :content"), {"content": content})
    with pytest.raises(UnusableInput, match="A-001.csv.* is not the file that was kept"):
        archive.scan(digest(ONE))


def test_a_scan_that_is_not_there(archive):
    with pytest.raises(UnusableInput, match="there is no scan aaaa"):
        archive.scan(64 * "a")
