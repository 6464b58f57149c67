"""Recording in the background: a slow, full, failing or vanishing disk delays nothing and loses nothing silently."""

import itertools
import json
import os
import re
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest
from capture_samples import HEADER, interval_line, read, some_entries
from coilcount.capture.background_writer import BackgroundWriter
from coilcount.capture.entries import encode
from coilcount.capture.writer import CaptureWriter
from coilcount.errors import InputError, StorageError
from coilcount.model import Line

REAL_FSYNC, REAL_WRITE = os.fsync, os.write
CLI = [sys.executable, "-m", "coilcount"]


def wait_for(condition, most_s: float = 10.0) -> None:
    until = time.monotonic() + most_s
    while not condition():
        assert time.monotonic() < until
        time.sleep(0.005)


class Gate:
    """A fake system call of a disk that hangs: it waits until open() is called, then makes the real call."""

    def __init__(self, monkeypatch, name: str, real) -> None:
        self._opened = threading.Event()
        self.asked = threading.Event()
        self._real = real
        monkeypatch.setattr(os, name, self._call)

    def _call(self, *args):
        if threading.current_thread() is not threading.main_thread():
            self.asked.set()
            assert self._opened.wait(20)
        return self._real(*args)

    def open(self) -> None:
        self._opened.set()


def test_the_file_is_equal_to_that_of_the_plain_writer(tmp_path):
    for kind, name in ((CaptureWriter, "a.ccap"), (BackgroundWriter, "b.ccap")):
        with kind(tmp_path / name, HEADER, rotate_s=5.0) as writer:
            for entry in some_entries(600):
                writer.write(entry)
    for part in ("", ".002", ".003"):
        assert (tmp_path / f"a{part}.ccap").read_bytes() == (tmp_path / f"b{part}.ccap").read_bytes()
    assert writer.parts == [tmp_path / "b.ccap", tmp_path / "b.002.ccap", tmp_path / "b.003.ccap"]
    assert writer.missing == [] and writer.backlog_lines == 0
    assert writer.lines == sum(path.read_bytes().count(b"\n") for path in writer.parts)
    with pytest.raises(StorageError, match="closed"):
        writer.write(Line(1.0, b"late"))
    with pytest.raises(InputError, match="the file exists"):
        BackgroundWriter(tmp_path / "a.ccap", HEADER)


def test_fsync_is_called_repeatedly_and_at_the_end_for_everything(tmp_path, monkeypatch):
    synced = []
    monkeypatch.setattr(os, "fsync", lambda file: synced.append(os.fstat(file).st_size) or REAL_FSYNC(file))
    path = tmp_path / "a.ccap"
    with BackgroundWriter(path, HEADER, sync_s=0.01) as writer:
        size = path.stat().st_size
        for line in map(interval_line, range(3)):
            writer.write(Line(0.25, line))
            size += len(encode(Line(0.25, line)))
            wait_for(lambda size=size: synced[-1:] == [size])
        quiet = len(synced)
        time.sleep(0.1)
        assert len(synced) == quiet  # nothing new, nothing asked
    assert synced[-1] == path.stat().st_size


def test_every_line_reaches_the_system_while_fsync_hangs(tmp_path, monkeypatch):
    gate = Gate(monkeypatch, "fsync", REAL_FSYNC)
    said = []
    path = tmp_path / "a.ccap"
    with BackgroundWriter(path, HEADER, on_warning=said.append, sync_s=0.01) as writer:
        assert gate.asked.wait(10)
        for number in range(500):
            writer.write(Line(0.02 * number, interval_line(number)))
        wait_for(lambda: path.read_bytes().endswith(interval_line(499) + b'"}\n'))
        assert writer.backlog_lines == 0 and said == []
        wait_for(lambda: writer.late_s > 2.0)
        for _ in range(3):
            writer.tick(10.0)
        assert len(said) == 1 and "the disk is slow: it has not confirmed the last 2 s" in said[0]
        gate.open()
        wait_for(lambda: writer.late_s == 0)
    assert 2.0 < writer.worst_late_s < 20
    assert said[1:] == [f"the disk was up to {writer.worst_late_s:.1f} s late; nothing was lost by it"]
    assert read(path)[1].whole


def test_the_number_of_waiting_entries_is_limited_and_then_write_blocks(tmp_path, monkeypatch):
    path = tmp_path / "a.ccap"
    said = []
    with BackgroundWriter(path, HEADER, on_warning=said.append, most_waiting=10) as writer:
        gate = Gate(monkeypatch, "write", REAL_WRITE)
        for number in range(11):  # the thread is writing one of them
            writer.write(Line(0.02 * number, interval_line(number)))
            assert gate.asked.wait(10)
        assert writer.backlog_lines == 10 and said == []
        threading.Timer(0.2, gate.open).start()
        for number in range(11, 100):
            writer.write(Line(0.02 * number, interval_line(number)))
    assert "10 lines wait for it. Nothing more is read from the board until it does" in said[0]
    entries, report = read(path)
    assert report.whole
    assert [entry.data for entry in entries[1:-1]] == [interval_line(number) for number in range(100)]


@pytest.mark.parametrize("closing", [False, True])
def test_a_disk_that_hangs_does_not_hold_the_program(tmp_path, monkeypatch, closing):
    writer = BackgroundWriter(tmp_path / "a.ccap", HEADER, most_waiting=3, patience_s=0.3)
    gate = Gate(monkeypatch, "write", REAL_WRITE)
    lost = "1 lines were written before, .* " + ("4" if closing else "5") + " lines are not recorded"
    with pytest.raises(StorageError, match=f"the disk has done nothing for 0 s .*{lost}"):
        for number in range(4 if closing else 5):
            writer.write(Line(0.02 * number, interval_line(number)))
            assert gate.asked.wait(10)
        writer.close()
    gate.open()


def test_a_full_disk_is_raised_by_the_next_call_with_the_number_of_safe_lines(tmp_path, monkeypatch):
    # A fake write: a disk that takes half of the line and then no more, until room is made by the cut.
    calls = []

    def fake_write_to_full_disk(file, data):
        calls.append(len(data))
        if len(calls) == 11:
            return REAL_WRITE(file, data[: len(data) // 2])
        if len(calls) == 12:
            raise OSError(28, "No space left on device")
        return REAL_WRITE(file, data)

    path = tmp_path / "a.ccap"
    writer = BackgroundWriter(path, HEADER)
    monkeypatch.setattr(os, "write", fake_write_to_full_disk)
    handed_over = 0
    with pytest.raises(StorageError, match=r"disk is full .*a\.ccap.*All 11 lines before are safe") as caught:
        for entry in some_entries(200):
            handed_over += 1
            writer.write(entry)
        writer.close()
    entries, report = read(path)
    assert entries[:-1] == [HEADER, *some_entries()[:10]]
    assert (report.status, report.missing, report.torn_tail) == ("disk full", 0, False)
    assert int(re.search(r"(\d+) lines? (is|are) not recorded", str(caught.value)).group(1)) == handed_over - 10
    writer.close()  # nothing more to do


def test_a_failed_fsync_is_reported_and_recording_goes_on(tmp_path, monkeypatch):
    bad = [True]

    def fake_fsync(file):
        if bad[0]:
            raise OSError(5, "Input/output error")
        return REAL_FSYNC(file)

    monkeypatch.setattr(os, "fsync", fake_fsync)
    said = []
    writer = BackgroundWriter(tmp_path / "a.ccap", HEADER, on_warning=said.append, sync_s=0.01)
    writer.write(Line(0.0, interval_line(0)))
    wait_for(lambda: writer.tick(0.1) or said)
    assert "did not keep the last second" in said[0] and "Input/output error" in said[0]
    bad[0] = False
    writer.write(Line(0.2, interval_line(1)))
    writer.close()
    assert len(said) == 2 and "Check the recording: coilcount inspect" in said[1]
    assert read(tmp_path / "a.ccap")[1].whole
    bad[0] = True
    writer = BackgroundWriter(tmp_path / "b.ccap", HEADER)
    with pytest.raises(StorageError, match="the last second may not be on the disk: Input/output error"):
        writer.close()


def test_a_nearly_full_disk_gives_one_warning_and_unknown_free_space_gives_none(tmp_path):
    free = [9e9, OSError(5, "Input/output error"), 2e7]

    def fake_free(folder):
        value = free.pop(0) if len(free) > 1 else free[0]
        if isinstance(value, OSError):
            raise value
        return value

    said = []
    with BackgroundWriter(tmp_path / "a.ccap", HEADER, on_warning=said.append, sync_s=0.01, free=fake_free) as writer:
        wait_for(lambda: writer.tick(0.1) or said)
        time.sleep(0.05)
    assert len(said) == 1 and "only 20 MB are free" in said[0] and "a.ccap" in said[0]


def recording(folder: Path, said: list) -> BackgroundWriter:
    folder.mkdir()
    writer = BackgroundWriter(folder / "a.ccap", HEADER, on_warning=said.append, sync_s=0.01)
    writer.write(Line(0.0, interval_line(0)))
    return writer


def test_a_deleted_capture_is_reported_at_once_and_at_the_end(tmp_path):
    said = []
    writer = recording(tmp_path / "walk", said)
    writer.path.unlink()
    wait_for(lambda: writer.tick(0.1) or said)
    assert f"{writer.path} was deleted. Recording goes on in the open file, which is lost" in said[0]
    if sys.platform == "linux":  # the remedy that it names
        copy = re.search(r"cp (/proc/\S+) NEW", said[0]).group(1)
        wait_for(lambda: interval_line(0) in Path(copy).read_bytes())
    writer.path.write_text("another file of that name")
    writer.write(Line(0.2, interval_line(1)))
    writer.close()
    assert len(said) == 2 and f"at the end there is no such file: {writer.path}" in said[1]
    assert writer.missing == writer.parts == [writer.path]
    assert writer.path.read_text() == "another file of that name"


def test_a_folder_that_is_renamed_and_comes_back_is_reported_both_times(tmp_path):
    said = []
    writer = recording(tmp_path / "walk", said)
    writer.path.parent.rename(tmp_path / "old")
    wait_for(lambda: writer.tick(0.1) or said)
    assert "no longer there under its name" in said[0] and "Recording goes on in the open file" in said[0]
    if sys.platform == "linux":
        assert f"which is now {tmp_path / 'old' / 'a.ccap'}" in said[0]
    assert writer.missing == [writer.path]
    writer.write(Line(0.2, interval_line(1)))
    (tmp_path / "old").rename(tmp_path / "walk")
    wait_for(lambda: writer.tick(0.3) or len(said) > 1)
    assert said[1] == f"{writer.path} is there again"
    writer.close()
    entries, report = read(writer.path)
    assert report.whole and len(entries) == 4 and writer.missing == [] and len(said) == 2


CHILD = """
import sys, time
sys.path.insert(0, {tests!r})
from capture_samples import HEADER, Line, interval_line
from coilcount.capture.background_writer import BackgroundWriter
import os
os.fsync = lambda file: time.sleep(60)
writer = BackgroundWriter({path!r}, HEADER)
for number in range(1_000_000):
    writer.write(Line(0.005 * number, interval_line(number)))
    print(number, flush=True)
    time.sleep(0.005)
"""


def test_a_recording_that_is_killed_while_fsync_hangs_lacks_few_lines(tmp_path):
    """fsync is a fake that never ends; lines that the operating system has survive the process."""
    path = tmp_path / "a.ccap"
    source = CHILD.format(tests=str(Path(__file__).parents[1] / "support"), path=str(path))
    with subprocess.Popen([sys.executable, "-c", source], stdout=subprocess.PIPE, text=True) as process:
        while int(process.stdout.readline()) < 299:
            pass
        process.send_signal(signal.SIGKILL)
        said = [299, *(int(line) for line in process.stdout.read().splitlines() if line.strip())]
    entries, report = read(path)
    lines = [entry.data for entry in entries[1:]]
    assert lines == [interval_line(number) for number in range(len(lines))]
    assert len(lines) > said[-1] - 100  # half a second, much even for a busy machine, of 1.5 s
    assert report.complaint() in ("it was not closed", "it stops in the middle of a line, it was not closed")


# Python runs this by itself at the start of a process.
SLOW_DISK = """
import os, time
real = os.fsync
def fsync(file):
    time.sleep(1.5)
    real(file)
os.fsync = fsync
"""


def test_the_command_records_without_a_pause_on_a_slow_disk(tmp_path):
    """The real command and firmware; each fsync takes 1.5 s longer (a fake around the real fsync)."""
    (tmp_path / "sitecustomize.py").write_text(SLOW_DISK)
    environment = {**os.environ, "PYTHONPATH": str(tmp_path)}
    done = subprocess.run(
        [*CLI, "record", "a.ccap", "--virtual", "--for", "4"],
        cwd=tmp_path, env=environment, capture_output=True, text=True, timeout=60, check=True,
    )  # fmt: skip
    assert "recorded: a.ccap" in done.stdout and "lost 0" in done.stdout
    entries, report = read(tmp_path / "a.ccap")
    assert report.whole
    # From the first interval on: before it the scene is read, which may take its time.
    times = [entry.host_s for entry in entries if type(entry) is Line and b"@I," in entry.data]
    assert times[-1] - times[0] > 3.9
    assert max(later - earlier for earlier, later in itertools.pairwise(times)) < 1.0


def test_the_command_does_not_report_a_file_as_recorded_that_is_gone(tmp_path):
    folder = tmp_path / "walk"
    folder.mkdir()
    process = subprocess.Popen(
        [*CLI, "record", str(folder / "a.ccap"), "--virtual"], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    wait_for(lambda: (folder / "a.ccap").exists() and (folder / "a.ccap").read_bytes().count(b"\n") > 20)
    folder.rename(tmp_path / "old")
    assert "no longer there under its name" in process.stderr.readline()
    process.send_signal(signal.SIGINT)
    out, err = process.communicate(timeout=20)
    assert process.returncode == 1 and "summary: " in out and "recorded" not in out
    assert err.count("\n") == 1 and "at the end there is no such file" in err
    *_, last = (tmp_path / "old" / "a.ccap").read_text().splitlines()
    assert json.loads(last)["end"] == "closed"
