"""Several people at once, and processes that are killed: nothing is lost and nothing is half there."""

import multiprocessing
import signal
import subprocess
import sys
import threading
import time

import numpy as np
import pytest
from sqlalchemy import func, select

from pwindow.errors import UnusableInput
from pwindow.inputs import InputFile
from pwindow.trials.archive import Archive
from pwindow.trials.archive.schema import CELLS, DECISIONS, FEATURES, FILES, PRINTS, TRIALS

WRITERS, KILLS = 8, 4
ADDING = """
import sys
from pathlib import Path
from pwindow.inputs import InputFile
from pwindow.trials.archive import Archive

archive = Archive(sys.argv[1])
print("open", flush=True)
for path in sys.argv[2:]:
    print(archive.add(InputFile.of(Path(path))).name, flush=True)
"""


def whole(archive: Archive) -> list[str]:
    """Names of the trials, each with every row that its file has."""
    with archive._reading() as connection:
        trials = connection.execute(select(TRIALS)).all()
        for trial in trials:
            counts = [
                connection.scalar(select(func.count()).where(table.c.trial == trial.id))
                for table in (FEATURES, PRINTS, CELLS, DECISIONS)
            ]
            assert (
                counts[0] == trial.features == 650 and counts[1] == 65 and counts[2] > 65 and counts[3] >= 1
            )
        for table in (FEATURES, PRINTS, CELLS, DECISIONS):
            owners = set(connection.scalars(select(table.c.trial).distinct()))
            assert owners == {trial.id for trial in trials}
        assert connection.scalar(select(func.count()).select_from(FILES)) == len(trials)
    return [trial.name for trial in trials]


def add_in_a_process(address, file, results):
    try:
        results.put(Archive(address).add(file))
    except Exception as problem:
        results.put(problem)


def processes():
    """Makers of processes that share nothing with this one, and import what they need once for all where that is possible."""
    if "forkserver" not in multiprocessing.get_all_start_methods():
        return multiprocessing.get_context("spawn")
    found = multiprocessing.get_context("forkserver")
    found.set_forkserver_preload([__name__, "pwindow.trials.archive"])
    return found


def at_once(address, files):
    """What came of adding each file in a process of its own, all started together."""
    context = processes()
    results = context.Queue()
    adding = [context.Process(target=add_in_a_process, args=(address, file, results)) for file in files]
    for process in adding:
        process.start()
    found = [results.get(timeout=120) for _ in adding]
    for process in adding:
        process.join()
    return found


@pytest.mark.slow
def test_eight_writers_open_a_new_archive_and_add(address, another):
    files = [another(seed) for seed in range(WRITERS)]
    found = at_once(address, files)
    assert sorted(one.name for one in found) == sorted(file.name for file in files)
    assert not any(one.known for one in found)
    assert sorted(whole(Archive(address))) == sorted(file.name for file in files)


@pytest.mark.slow
def test_the_same_file_from_four_at_once_is_one_trial(address, first):
    found = at_once(address, [InputFile(f"copy {at}.csv", first.content) for at in range(4)])
    assert sorted(one.known for one in found) == [False, True, True, True]
    assert len({one.trial for one in found}) == 1
    assert len(whole(Archive(address))) == 1


@pytest.mark.slow
def test_who_writes_waits_until_who_wrote_before_has_ended(address):
    """What one has looked up before it writes is still so when it writes."""
    begun, held, other = threading.Event(), Archive(address), Archive(address)

    def write():
        with other._writing():
            begun.set()

    waiting = threading.Thread(target=write)
    with held._writing():
        waiting.start()
        assert not begun.wait(0.5)
        assert other.trials().empty, "who only reads does not wait"
    assert begun.wait(30)
    waiting.join()


@pytest.mark.slow
def test_who_has_waited_for_long_is_told_so(address, monkeypatch):
    monkeypatch.setattr("pwindow.trials.archive.connection._PATIENCE", 1)
    held, other = Archive(address), Archive(address)
    with held._writing(), pytest.raises(UnusableInput, match="another program has been writing"):
        other.keep_fit("0123456789ab", "", "")


@pytest.mark.slow
def test_a_killed_process_leaves_the_archive_whole(address, another, tmp_path):
    """Killed at random moments while it adds one trial after another."""
    Archive(address)
    rng, told = np.random.default_rng(11), []
    for round_ in range(KILLS):
        paths = []
        for at in range(12):
            file = another(100 * round_ + at)
            paths.append(tmp_path / file.name)
            paths[-1].write_bytes(file.content)
        process = subprocess.Popen(
            [sys.executable, "-c", ADDING, address, *map(str, paths)], stdout=subprocess.PIPE, text=True
        )
        assert process.stdout.readline() == "open\n"
        start = time.perf_counter()
        told.append(process.stdout.readline().strip())
        time.sleep(rng.uniform(0.0, 4.0) * (time.perf_counter() - start))
        process.send_signal(signal.SIGKILL)
        told += process.stdout.read().split()
        process.wait()
        kept = whole(Archive(address))
        assert set(told) <= set(kept), "what was said to be kept is kept"
        assert len(kept) - len(told) <= round_ + 1, "at most one a kill was kept and not yet told"
    assert KILLS <= len(kept) < 12 * KILLS


REFITTING = """
import os, signal, sys
from sqlalchemy import event
from sqlalchemy.engine import Engine
import pwindow as pw
from pwindow.inputs import InputFile
from pwindow.trials.archive import Archive
from pwindow.workflows import kept

def killed(*_, **__):
    os.kill(os.getpid(), signal.SIGKILL)

def killed_before_the_fit(connection, cursor, order, *_):
    if order.startswith("INSERT INTO fits"):
        killed()

if sys.argv[2] == "while it fits":
    kept.answer_of = killed
else:
    kept.answer_of = lambda *_, **__: {"surfaces": {}, "products": {}}
    event.listen(Engine, "before_cursor_execute", killed_before_the_fit)
tag, study = (InputFile.of(pw.demo(name)) for name in ("tag.toml", "study.toml"))
kept.refit(Archive(sys.argv[1]), [tag], study)
"""


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX")
@pytest.mark.parametrize("when", ["while it fits", "while it writes"])
def test_a_killed_refit_declares_nothing(filled, when):
    done = subprocess.run(
        [sys.executable, "-c", REFITTING, filled._whole_address, when],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == -signal.SIGKILL, done.stderr
    assert filled.declarations("product") == filled.declarations("study") == []
    assert filled.fits().empty
    with filled._reading() as connection:
        assert connection.scalar(select(func.count()).select_from(FILES)) == 1
