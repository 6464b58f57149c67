"""The capture writer: nothing is overwritten, nothing recorded is lost."""

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from capture_samples import HEADER, interval_line, read, some_entries, write
from coilcount.capture import writer as writing
from coilcount.capture.entries import encode
from coilcount.capture.writer import CaptureWriter
from coilcount.errors import InputError, StorageError
from coilcount.model import End, Line, Operator


def test_nothing_is_overwritten(tmp_path):
    path = write(tmp_path / "a.ccap", some_entries())
    before = path.read_bytes()
    with pytest.raises(InputError, match=r"exists .*a\.ccap.*another name"):
        CaptureWriter(path, HEADER)
    assert path.read_bytes() == before


def test_every_line_reaches_the_system_at_once_and_the_disk_at_the_end(tmp_path, monkeypatch):
    synced = []
    real = os.fsync
    monkeypatch.setattr(os, "fsync", lambda file: synced.append(os.fstat(file).st_size) or real(file))
    path = tmp_path / "a.ccap"
    with CaptureWriter(path, HEADER) as writer:
        for number in range(500):
            writer.write(Line(0.02 * number, interval_line(number)))
            assert path.read_bytes().endswith(interval_line(number) + b'"}\n')
    assert synced == [path.stat().st_size]
    with pytest.raises(StorageError, match="closed"):
        writer.write(Line(1.0, b"late"))


def test_rotation_loses_nothing_and_each_part_can_be_read_alone(tmp_path):
    occupied = tmp_path / "a.003.ccap"
    occupied.write_text("last week's")
    path = write(tmp_path / "a.ccap", some_entries(600), rotate_s=5.0)
    parts = [path, tmp_path / "a.002.ccap", tmp_path / "a.004.ccap"]
    assert sorted(tmp_path.iterdir()) == sorted([*parts, occupied])
    assert occupied.read_text() == "last week's"
    again = [some_entries()[0], Operator(0.415, "threshold", 6.5), Operator(0.41, "freeze")]
    together = []
    for part, status in zip(parts, ["rotated", "rotated", "closed"], strict=True):
        entries, report = read(part)
        assert report.whole
        assert report.status == status
        assert entries[-1].lines == len(entries) - 1
        if part != path:
            assert entries[0].part == int(part.name.split(".")[1])
            assert entries[1:4] == again
            entries = entries[3:]
        together += entries[1:-1]
    assert together == some_entries(600)


def test_rotation_by_size(tmp_path):
    write(tmp_path / "a.ccap", some_entries(600), rotate_bytes=20_000)
    *parts, first = sorted(tmp_path.iterdir())
    full = [part.stat().st_size for part in [first, *parts[:-1]]]
    assert len(full) > 1
    assert all(20_000 <= size < 20_200 for size in full)


CHILD = """
import sys
sys.path.insert(0, {tests!r})
from capture_samples import HEADER, CaptureWriter, Line, interval_line
{limit}
with CaptureWriter({path!r}, HEADER) as writer:
    for number in range({count}):
        writer.write(Line(0.02 * number, interval_line(number)))
        if number % 50 == 49:
            print(number, flush=True)
"""


def child(path: Path, count: int, limit: str = "") -> list[str]:
    source = CHILD.format(tests=str(Path(__file__).parents[1] / "support"), path=str(path), count=count, limit=limit)
    return [sys.executable, "-c", source]


def test_a_killed_recording_holds_all_written_lines(tmp_path):
    path = tmp_path / "a.ccap"
    with subprocess.Popen(child(path, 10_000_000), stdout=subprocess.PIPE, text=True) as process:
        while int(process.stdout.readline()) < 999:
            pass
        process.send_signal(signal.SIGKILL)
        said = [int(line) for line in process.stdout.read().splitlines() if line.strip()]
    assert process.returncode == -signal.SIGKILL
    entries, report = read(path)
    assert len(entries) > max([999, *said]) + 1
    assert [entry.data for entry in entries[1:]] == [interval_line(number) for number in range(len(entries) - 1)]
    assert not report.closed
    assert not report.whole
    assert "it was not closed" in report.complaint()


def test_a_file_that_may_not_grow_keeps_every_whole_line(tmp_path):
    # The real system call fails (EFBIG at a limit on file size), where a full disk would fail with ENOSPC.
    path = tmp_path / "a.ccap"
    limit = "import resource; resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, 20_000))"
    done = subprocess.run(child(path, 1000, limit), capture_output=True, text=True, check=False)
    assert "StorageError: the disk is full" in done.stderr
    assert path.stat().st_size <= 20_000
    entries, report = read(path)
    lines = [entry for entry in entries if type(entry) is Line]
    assert [entry.data for entry in lines] == [interval_line(number) for number in range(len(lines))]
    assert path.stat().st_size + len(encode(lines[-1])) + 80 > 20_000
    assert not report.torn_tail


def test_on_a_full_disk_the_half_line_is_cut_off_and_the_safe_lines_are_counted(tmp_path, monkeypatch):
    # A fake write: a disk that takes half of the line and then no more, until room is made by the cut.
    real = os.write
    calls = []

    def fake_write_to_full_disk(file, data):
        calls.append(len(data))
        if len(calls) == 11:
            return real(file, data[: len(data) // 2])
        if len(calls) == 12:
            raise OSError(28, "No space left on device")
        return real(file, data)

    monkeypatch.setattr(writing.os, "write", fake_write_to_full_disk)
    path = tmp_path / "a.ccap"
    with (
        pytest.raises(StorageError, match=r"disk is full .*a\.ccap.*All 10 lines before are safe") as caught,
        CaptureWriter(path, HEADER) as writer,
    ):
        for entry in some_entries():
            writer.write(entry)
    assert caught.value.exit_code == 1
    entries, report = read(path)
    assert entries == [HEADER, *some_entries()[:9], End(0.16, "disk full", 10)]
    assert report.complaint() == "it ended because the disk was full"


def test_a_disk_that_is_full_from_the_start_leaves_no_file(tmp_path, monkeypatch):
    def fake_write_to_full_disk(file, data):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(writing.os, "write", fake_write_to_full_disk)
    with pytest.raises(StorageError, match="disk is full"):
        CaptureWriter(tmp_path / "a.ccap", HEADER)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("kind", [ValueError, KeyboardInterrupt])
def test_a_capture_that_an_exception_ends_has_the_status_aborted(tmp_path, kind):
    with pytest.raises(kind), CaptureWriter(tmp_path / "a.ccap", HEADER) as writer:
        writer.write(Line(0.0, interval_line(0)))
        raise kind
    entries, report = read(tmp_path / "a.ccap")
    assert entries == [HEADER, Line(0.0, interval_line(0)), End(0.0, "aborted", 2)]
    assert not report.whole
    assert report.complaint() == "an error ended it before its time (aborted)"


def test_if_the_next_part_cannot_be_made_recording_goes_on_with_a_warning(tmp_path):
    """The folder is renamed, and comes back."""
    here, there = tmp_path / "walk", tmp_path / "old"
    here.mkdir()
    said = []
    with CaptureWriter(here / "a.ccap", HEADER, rotate_s=5.0, on_warning=said.append) as writer:
        for number in range(3500):  # 70 s
            if number == 200:
                here.rename(there)
            elif number == 2600:
                there.rename(here)
            writer.write(Line(0.02 * number, interval_line(number)))
    assert len(said) == 1
    assert f"cannot be made ({here / 'a.002.ccap'}): there is no such folder." in said[0]
    assert f"Recording goes on in {here / 'a.ccap'}" in said[0]
    assert [path.name for path in sorted(here.iterdir())] == ["a.002.ccap", "a.ccap"]
    together = []
    for part, status in ((here / "a.ccap", "rotated"), (here / "a.002.ccap", "closed")):
        entries, report = read(part)
        assert report.whole and report.status == status
        together += [entry.data for entry in entries if type(entry) is Line]
    assert together == [interval_line(number) for number in range(3500)]
