"""What visitors loaded is kept under an id, for nobody else, and within bounds."""

import threading

import pytest

from pwindow.errors import UnusableInput
from pwindow.inputs import InputFile
from pwindow.workflows import uploads
from pwindow.workflows.loaded import Loaded
from pwindow.workflows.uploads import Forgotten, Uploads, given_uploads, is_id

TRIAL, OTHER = InputFile("a.csv", b"trial", sheet="Monday"), InputFile("b.csv", b"other")
PRODUCT, STUDY = InputFile("p.toml", b"product"), InputFile("s.toml", b"study")


class Clock:
    now = 0.0

    def __call__(self):
        self.now += 1.0
        return self.now


@pytest.fixture
def kept(tmp_path):
    return Uploads(tmp_path / "uploads.db", most_of_one=1000, most_of_all=2500, clock=Clock())


def sized(size, name="a.csv"):
    return Loaded((InputFile(name, b"x" * size),))


def test_files_come_back_as_they_came_in_another_process_too(kept, tmp_path):
    everything = Loaded((TRIAL, OTHER), {"P": PRODUCT}, STUDY)
    visit, _ = kept.keep(None, everything)
    assert is_id(visit)
    assert Uploads(tmp_path / "uploads.db").read(visit) == everything


def test_a_product_joins_and_a_trial_takes_the_place_of_the_trial_and_its_study(kept):
    visit, _ = kept.keep(None, Loaded((TRIAL,), {"P": PRODUCT}, STUDY))
    same, loaded = kept.keep(visit, Loaded(products={"Q": PRODUCT}))
    assert same == visit and list(loaded.products) == ["P", "Q"] and loaded.trials == (TRIAL,)
    _, loaded = kept.keep(visit, Loaded((OTHER,)))
    assert (loaded.trials, loaded.study, list(loaded.products)) == ((OTHER,), None, ["P", "Q"])
    assert kept.read(visit) == loaded


def test_two_visitors_do_not_meet(kept):
    first, _ = kept.keep(None, Loaded((TRIAL,)))
    second, _ = kept.keep(None, Loaded((OTHER,)))
    assert first != second
    assert kept.read(first).trials == (TRIAL,) and kept.read(second).trials == (OTHER,)


@pytest.mark.parametrize(
    "text",
    ["", "x", "A" * 21, "A" * 23, "../../../../etc/passwd", "A" * 21 + "/", "A" * 21 + "\n", "Ä" * 22, "' or 1=1 --".ljust(22)],
)  # fmt: skip
def test_what_is_no_id_finds_nothing(kept, text):
    kept.keep(None, Loaded((TRIAL,)))
    assert not is_id(text)
    with pytest.raises(Forgotten, match="no longer on the server"):
        kept.read(text)


def test_an_id_cannot_be_guessed(kept, monkeypatch):
    """It has 128 random bits of the system's own source."""
    asked = []
    token = uploads.secrets.token_urlsafe
    monkeypatch.setattr(uploads.secrets, "token_urlsafe", lambda size: asked.append(size) or token(size))
    kept.keep(None, Loaded((TRIAL,)))
    assert asked == [16]


def test_more_than_is_kept_of_one_visitor_is_refused_and_what_was_kept_stays(kept):
    visit, _ = kept.keep(None, sized(600))
    with pytest.raises(UnusableInput, match="MB per visitor"):
        kept.keep(visit, Loaded(products={"P": InputFile("p.toml", b"x" * 401)}))
    assert kept.read(visit) == sized(600)
    kept.keep(visit, sized(1000))
    assert kept.read(visit).size == 1000, "what is replaced does not count"


def test_who_was_idle_for_longest_makes_room(kept):
    first, second = (kept.keep(None, sized(1000))[0] for _ in range(2))
    kept.use(first)
    third, _ = kept.keep(None, sized(900))
    assert kept.read(first).size == 1000 and kept.read(third).size == 900
    with pytest.raises(Forgotten):
        kept.read(second)
    kept.use(second)
    with pytest.raises(Forgotten):
        kept.read(second)


def test_a_forgotten_id_starts_another_with_what_the_page_still_has(kept):
    first, _ = kept.keep(None, sized(1000))
    for _ in range(3):
        kept.keep(None, sized(1000))
    again, loaded = kept.keep(first, Loaded(products={"P": PRODUCT}), before=sized(500))
    assert again != first and loaded.size == 500 + len(PRODUCT.content)
    assert kept.read(again) == loaded


def test_loads_of_several_pages_at_once_are_all_kept(tmp_path):
    kept = Uploads(tmp_path / "uploads.db")
    visit, _ = kept.keep(None, Loaded((TRIAL,)))

    def load(name):
        Uploads(tmp_path / "uploads.db").keep(visit, Loaded(products={name: PRODUCT}))

    threads = [threading.Thread(target=load, args=(f"P{at}",)) for at in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(kept.read(visit).products) == [f"P{at}" for at in range(8)]


def test_the_bounds_are_those_that_are_promised():
    assert (uploads.MOST_OF_ONE, uploads.MOST_OF_ALL) == (50_000_000, 1_000_000_000)


def test_without_a_server_nothing_is_kept(monkeypatch, tmp_path):
    monkeypatch.delenv("PWINDOW_SHARED", raising=False)
    assert given_uploads() is None
    monkeypatch.setenv("PWINDOW_SHARED", str(tmp_path / "nowhere"))
    with pytest.raises(UnusableInput, match="cannot keep what was loaded"):
        given_uploads()
