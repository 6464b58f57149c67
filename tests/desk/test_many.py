"""Several recordings at once, in real processes."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from coilcount.desk.cache import Cache
from coilcount.desk.many import replay_many
from coilcount.desk.recordings import Recording
from coilcount.desk.replays import replay_grid
from coilcount.errors import CoilcountError, InputError
from coilcount.model import GridReplay
from coilcount.settings import defaults
from desk_recordings import eventful, imported, write_recording

CAPTURES = Path(__file__).parents[2] / "captures"
GRID = (3.0, 6.0, 12.0)
MANY = tuple(2.5 + 0.1 * k for k in range(60))  # a second of work for each recording

# Replays the recordings in the arguments, and prints the processes that it has started once they are at work.
SCRIPT = """
import multiprocessing, sys
from pathlib import Path
from coilcount.desk.many import replay_many
from coilcount.desk.recordings import Recording
from coilcount.settings import defaults

shown = False

def progress(share):
    global shown
    if not shown and share > 0:
        shown = True
        print(*(child.pid for child in multiprocessing.active_children()), flush=True)

try:
    replay_many(
        [Recording((Path(word),)) for word in sys.argv[1:]], defaults(), [2.5 + 0.1 * k for k in range(60)],
        progress=progress, processes=2,
    )
except KeyboardInterrupt:
    sys.exit(130)
"""


def recordings_of(tmp_path, count):
    return [write_recording(tmp_path / f"{seed}.ccap", eventful(seed)) for seed in range(count)]


def is_there(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    return True


def test_results_are_those_of_one_process_in_the_order_given(tmp_path):
    recordings = [
        write_recording(tmp_path / "small.ccap", imported(1)[:200]),
        *recordings_of(tmp_path, 2),
        Recording((CAPTURES / "quiet-bench.ccap.gz",)),
    ]
    shares = []
    results = replay_many(recordings, defaults(), GRID, series=True, progress=shares.append, processes=2)
    assert results == [replay_grid(recording, defaults(), GRID, series=True) for recording in recordings]
    assert shares == sorted(shares) and shares[-1] == 1.0 and len(shares) >= len(recordings)


@pytest.mark.parametrize("processes", [1, 2])
def test_a_recording_that_cannot_be_used_gives_its_error_and_the_others_are_done(processes, tmp_path):
    (tmp_path / "text.ccap").write_text("no capture\n" * 30)
    data = (CAPTURES / "quiet-bench.ccap.gz").read_bytes()
    (tmp_path / "cut.ccap.gz").write_bytes(data[: len(data) // 2])
    (tmp_path / "empty.ccap").write_bytes(b"")
    names = ["missing.ccap", "text.ccap", "cut.ccap.gz", "empty.ccap", ""]
    good = CAPTURES / "quiet-bench.ccap.gz"
    recordings = [Recording((tmp_path / name,)) for name in names] + [Recording((good,))]
    missing, text, cut, empty, folder, whole = replay_many(
        recordings, defaults(), GRID, cache=Cache(tmp_path / "cache"), processes=processes
    )
    assert all(isinstance(error, CoilcountError) for error in (missing, text, empty))
    assert "no such file" in str(missing)
    assert "not a coilcount capture" in str(text)
    assert "before its first line" in str(empty)
    assert "text.ccap" in text.where and text.remedy
    assert isinstance(folder, CoilcountError)
    assert "in the middle of a line" in cut.complaint and cut.summary.records > 1000
    assert whole.complaint == "" and len(whole.at) == len(GRID) + 1


def test_a_threshold_out_of_range_is_refused_before_any_work():
    with pytest.raises(InputError, match=r"threshold is 0\.5"):
        replay_many([Recording((Path("missing"),))], defaults(), [0.5])


def test_no_recordings():
    assert replay_many([], defaults(), GRID) == []


def test_a_killed_process_costs_its_own_recording_alone(tmp_path):
    import multiprocessing

    killed = []

    def progress(share):
        if not killed and share > 0:
            killed.append(multiprocessing.active_children()[0])
            killed[0].kill()

    results = replay_many(recordings_of(tmp_path, 4), defaults(), MANY, progress=progress, processes=2)
    assert sorted(type(result).__name__ for result in results) == ["CoilcountError"] + 3 * ["GridReplay"]
    [error] = [result for result in results if not isinstance(result, GridReplay)]
    assert "ended early" in str(error) and ".ccap" in error.where


@pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX")
@pytest.mark.parametrize("how", ["ctrl-c", "kill"])
def test_after_ctrl_c_or_a_kill_no_process_is_left(how, tmp_path):
    words = [recording.name for recording in recordings_of(tmp_path, 4)]
    process = subprocess.Popen(
        [sys.executable, "-c", SCRIPT, *words],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    pids = [int(word) for word in process.stdout.readline().split()]
    assert len(pids) == 2 and all(map(is_there, pids))
    if how == "ctrl-c":
        os.killpg(process.pid, signal.SIGINT)  # as a terminal does
    else:
        process.kill()
    _, errors = process.communicate(timeout=60)
    assert errors == ""
    assert process.returncode == (130 if how == "ctrl-c" else -signal.SIGKILL)
    end_s = time.monotonic() + 60
    while any(map(is_there, pids)) and time.monotonic() < end_s:
        time.sleep(0.02)
    assert not any(map(is_there, pids))
