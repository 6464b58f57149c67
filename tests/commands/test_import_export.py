"""CSV in and out, and the commands inspect, import and export as a person meets them."""

import json
import os
import random
import statistics

import pytest
from calls import caller
from capture_samples import HEADER, interval_line, some_entries
from coilcount.capture.csv_log import _Spacings, read_log, write_log
from coilcount.capture.entries import encode
from coilcount.capture.reader import Report, read_capture
from coilcount.capture.writer import CaptureWriter
from coilcount.errors import InputError
from coilcount.model import End, Imported, Line
from coilwire import frame, records


@pytest.fixture
def run(tmp_path, monkeypatch, capsys):
    """run(*words) -> (exit code, stdout, stderr), in an empty folder."""
    monkeypatch.chdir(tmp_path)

    return caller(capsys)


def readings(count=200, optional=False):
    rng = random.Random(4)
    more = (21.25, 0.75, 4.987) if optional else ()
    return [Imported(round(0.05 * n, 6), 25_000 + rng.gauss(0, 0.01), *more) for n in range(count) if n % 50 != 7]


def test_a_log_passes_through_a_capture_unchanged(run, tmp_path):
    write_log(tmp_path / "in.csv", readings(optional=True))
    code, out, _ = run("import", "in.csv", "a.ccap", "--note", "bench", "--start-utc", "2026-05-01T11:00:00+02:00")
    assert code == 0
    assert "196 readings of 0.05 s over 9.9" in out
    report = Report()
    header, *entries, end = read_capture(tmp_path / "a.ccap", report)
    assert report.whole
    assert entries == readings(optional=True)
    assert type(end) is End
    assert (header.source, header.interval_s, header.start_utc) == ("import", 0.05, "2026-05-01T09:00:00Z")
    assert header.notes == {"log": "in.csv", "note": "bench"}
    found = json.loads(run("inspect", "a.ccap", "--json")[1])
    assert (found["records"], found["lost"], found["duration_s"]) == (196, 4, 10.0)
    assert run("export", "a.ccap", "out.csv")[0] == 0
    assert (tmp_path / "out.csv").read_bytes() == (tmp_path / "in.csv").read_bytes()


def test_without_a_start_it_is_computed_from_the_files_time_and_the_notes_say_so(run, tmp_path):
    write_log(tmp_path / "in.csv", readings())
    os.utime(tmp_path / "in.csv", (1_777_626_009.95, 1_777_626_009.95))
    assert run("import", "in.csv", "a.ccap", "--quiet") == (0, "", "")
    header = next(read_capture(tmp_path / "a.ccap"))
    assert header.start_utc == "2026-05-01T09:00:00Z"
    assert "computed" in header.notes["start_utc"]


def test_columns_in_any_order_unknown_ones_are_left_out_and_named(run, tmp_path):
    (tmp_path / "in.csv").write_text("﻿frequency_hz, gain ,time_s,supply_v\r\n25000.5,3,0,5\r\n\r\n25001,3,0.1,\r\n")
    code, _, err = run("import", "in.csv", "a.ccap")
    assert code == 0
    assert err == 'coilcount: column "gain" is not known and is left out (in.csv)\n'
    entries = list(read_capture(tmp_path / "a.ccap"))[1:-1]
    assert entries == [Imported(0, 25000.5, supply_v=5.0), Imported(0.1, 25001.0)]


def log_of(*rows):
    return "time_s,frequency_hz,temperature_c\n" + "".join(row + "\n" for row in rows)


GOOD = ("0.0,25000,20", "0.1,25000,20")
BAD_LOGS = {
    "an empty file": ("", "no column time_s and no column frequency_hz", "line 1"),
    "no time": ("frequency_hz\n25000\n", "no column time_s", "line 1"),
    "no frequency": ("time_s,frequency\n0,25000\n", "no column frequency_hz", "line 1"),
    "semicolons": ("time_s;frequency_hz\n0;25000\n", "with commas between", "line 1"),
    "a column twice": ("time_s,time_s,frequency_hz\n0,0,25000\n", "there are two columns time_s", "line 1"),
    "text for a number": (log_of(*GOOD, "0.2,abc,20"), 'frequency_hz is "abc"', "line 4"),
    "text for a time": (log_of(*GOOD, "12:30,25000,20"), 'time_s is "12:30"', "line 4"),
    "an empty frequency": (log_of(*GOOD, "0.2,,20"), 'frequency_hz is ""', "line 4"),
    "nan": (log_of(*GOOD, "0.2,nan,20"), 'frequency_hz is "nan"', "line 4"),
    "inf": (log_of(*GOOD, "0.2,25000,inf"), 'temperature_c is "inf"', "line 4"),
    "an underscore": (log_of(*GOOD, "0.2,25_000,20"), 'frequency_hz is "25_000"', "line 4"),
    "zero": (log_of(*GOOD, "0.2,0,20"), "frequency_hz is 0", "line 4"),
    "a negative frequency": (log_of(*GOOD, "0.2,-25000,20"), "frequency_hz is -25000", "line 4"),
    "a time that goes back": (log_of(*GOOD, "0.05,25000,20"), "time_s goes back: 0.05 after 0.1", "line 4"),
    "a time twice": (log_of(*GOOD, "0.1,25000,20"), "time_s repeats: 0.1 after 0.1", "line 4"),
    "a time a nanosecond on": (log_of(*GOOD, "0.100000001,25000,20"), "time_s repeats", "line 4"),
    "a number out of all bounds": (log_of(*GOOD, "0.2,1e300,20"), 'frequency_hz is "1e300"', "line 4"),
    "a decimal comma": (log_of(*GOOD, "0,2,25000,20"), "has 4 cells and line 1 has 3", "line 4"),
    "a cut row": (log_of(*GOOD, "0.2,250"), "has 2 cells and line 1 has 3", "line 4"),
    "an open quote": (log_of(*GOOD, '0.2,"25000,20'), "not CSV text", "in.csv"),
    "one reading": (log_of(GOOD[0]), "1 readings are too few", "in.csv"),
    "not UTF-8": (b"time_s,frequency_hz\n\xff\xfe\n", "not CSV text in UTF-8", "in.csv"),
}


@pytest.mark.parametrize("name", BAD_LOGS)
def test_a_bad_log_is_refused_in_one_line_and_nothing_is_made(run, tmp_path, name):
    content, what, where = BAD_LOGS[name]
    (tmp_path / "in.csv").write_bytes(content if type(content) is bytes else content.encode())
    code, out, err = run("import", "in.csv", "a.ccap")
    assert (code, out) == (2, "")
    assert err.count("\n") == 1
    for words in (what, where, "in.csv"):
        assert words in err
    assert not (tmp_path / "a.ccap").exists()


def test_a_log_is_read_twice_and_a_pipe_cannot_be(run, tmp_path):
    os.mkfifo(tmp_path / "pipe.csv")
    for name in ("pipe.csv", "/dev/zero"):
        code, out, err = run("import", name, "a.ccap")
        assert (code, out, err.count("\n")) == (2, "", 1)
        assert f"read twice ({name}). Save it to a file first" in err
    (tmp_path / "endless.csv").write_bytes(b"time_s,frequency_hz\n0,1\n" + bytes(3_000_000))
    code, _, err = run("import", "endless.csv", "a.ccap")
    assert code == 2
    assert "longer than any row of a log (endless.csv, line 3)" in err
    assert not (tmp_path / "a.ccap").exists()


def test_rows_that_come_or_go_between_the_readings_of_a_log(tmp_path):
    path = tmp_path / "in.csv"
    path.write_text(log_of(*GOOD, "0.2,25000,20"))
    log = read_log(path)
    path.write_text(log_of(*GOOD, "0.2,25000,20", "0.3,250"))  # another program is still writing
    assert [reading.time_s for reading in log.readings()] == [0.0, 0.1, 0.2]
    path.write_text(log_of(*GOOD))
    with pytest.raises(InputError, match="became shorter"):
        list(log.readings())


@pytest.mark.parametrize(("jitter_us", "off_us"), [(0, 0), (300, 0), (200_000, 32)])
def test_the_spacing_is_the_median_in_bounded_memory(jitter_us, off_us):
    """Of 60,000 spacings: exact if few differ from each other, within 32 us if nearly all do."""
    rng = random.Random(6)
    spacings = _Spacings()
    all_us = [500_000 + rng.randint(-jitter_us, jitter_us) for _ in range(60_000)]
    most = 0
    for spacing_us in all_us:
        spacings.add(spacing_us / 1e6)
        most = max(most, len(spacings._counts))
    assert most <= 1 << 14
    assert spacings.median_s() == pytest.approx(statistics.median(all_us) / 1e6, abs=off_us / 1e6 + 5e-7)


@pytest.fixture
def captures(run, tmp_path):
    """whole.ccap, torn.ccap (killed in the middle of a line) and damaged.ccap in the folder of `run`."""
    with CaptureWriter(tmp_path / "whole.ccap", HEADER) as writer:
        for entry in some_entries():
            writer.write(entry)
    content = (tmp_path / "whole.ccap").read_bytes()
    (tmp_path / "torn.ccap").write_bytes(content[:-80])
    (tmp_path / "damaged.ccap").write_bytes(content.replace(b'{"t":0.2,', b'{"t":0.2_'))
    return run


def test_inspect_lists_the_contents_of_a_whole_capture(captures):
    code, out, err = captures("inspect", "whole.ccap")
    assert (code, err) == (0, "")
    rows = dict(line.split(maxsplit=1) for line in out.splitlines())
    assert rows["source"] == "virtual"
    assert rows["start"] == "2026-05-01T09:00:00Z"
    assert rows["duration"] == "1.2 s"
    assert rows["board"] == "test AB12, firmware 0.1.0, protocol 1, interval 20 ms, 1 boot"
    assert rows["records"] == "60, lost 0, dropped by the board 0"
    assert rows["mark"] == "0:00.4 é, 5 cm"
    assert rows["gap"] == "0:00.6 to 0:00.6, unplugged"
    assert rows["whole"] == "yes, closed"
    assert "threshold 6.5" in out
    assert "flagged" not in rows


def test_inspect_counts_the_intervals_that_the_board_flagged(captures, tmp_path):
    double = records.FLAG_DOUBLE_EDGE
    several = double | records.FLAG_STALL | records.FLAG_NO_AMPLITUDE
    with CaptureWriter(tmp_path / "flagged.ccap", HEADER) as writer:
        for number, flags in enumerate((0, double, several, records.FLAG_AFTER_DROP)):
            record = records.Interval(number, 500 * number, 500, 1_250_000 * number, 311_875_000, 2499, 2501, 0, flags)
            writer.write(Line(0.02 * number, records.write(record)[:-1]))
    rows = dict(line.split(maxsplit=1) for line in captures("inspect", "flagged.ccap")[1].splitlines())
    assert rows["flagged"] == "double edge 2, stall 1 (intervals)"
    assert json.loads(captures("inspect", "flagged.ccap", "--json")[1])["faults"] == {"double edge": 2, "stall": 1}


@pytest.mark.parametrize(
    ("name", "complaint"),
    [("torn.ccap", "it stops in the middle of a line, it was not closed"), ("damaged.ccap", "1 damaged line")],
)
def test_inspect_of_a_damaged_capture_exits_with_1_and_salvages(captures, tmp_path, name, complaint):
    before = (tmp_path / name).read_bytes()
    code, out, _ = captures("inspect", name)
    assert code == 1
    assert f"no: {complaint}" in out
    assert "--salvage" in out
    code, out, _ = captures("inspect", name, "--json", "--salvage", "saved.ccap")
    found = json.loads(out)
    assert code == 1
    assert (found["whole"], found["complaint"], found["records"]) == (False, complaint, 59)
    assert captures("inspect", "saved.ccap", "--quiet") == (0, "", "")
    assert (tmp_path / name).read_bytes() == before
    code, out, err = captures("export", name, "out.csv")
    assert code == 0
    assert f"{complaint}; the sound part was used" in err


def test_export_writes_a_row_for_each_reading(captures, tmp_path):
    code, out, _ = captures("export", "whole.ccap", "out.csv")
    log = read_log(tmp_path / "out.csv")
    assert code == 0
    readings = list(log.readings())
    assert f"{len(readings)} readings" in out
    assert 55 <= log.count == len(readings) <= 60
    assert log.interval_s == 0.02
    # The lines are those of exactly 25 kHz.
    assert {round(reading.frequency_hz, 6) for reading in readings} == {25_000.0}
    assert [round(reading.time_s % 0.02, 6) in (0.0, 0.01, 0.02) for reading in readings].count(False) == 0


REFUSED = {
    "inspect of nothing": (["inspect", "no.ccap"], 2, "there is no such file"),
    "inspect of a CSV": (["inspect", "log.csv"], 2, "not a coilcount capture"),
    "inspect of an empty file": (["inspect", "empty.ccap"], 1, "stopped before its first line"),
    "inspect of a newer capture": (["inspect", "newer.ccap"], 2, "Update coilcount"),
    "salvage over a file": (["inspect", "torn.ccap", "--salvage", "whole.ccap"], 2, "the file exists"),
    "export over a file": (["export", "whole.ccap", "log.csv"], 2, "the file exists"),
    "export of nothing": (["export", "no.ccap", "new.csv"], 2, "there is no such file"),
    "export of a newer capture": (["export", "newer.ccap", "new.csv"], 2, "Update coilcount"),
    "export into no folder": (["export", "whole.ccap", "no/new.csv"], 2, "no such folder"),
    "import over a file": (["import", "log.csv", "whole.ccap"], 2, "the file exists"),
    "import of nothing": (["import", "no.csv", "new.ccap"], 2, "there is no such file"),
    "import into no folder": (["import", "log.csv", "no/new.ccap"], 2, "no such folder"),
    "import with a local time": (
        ["import", "log.csv", "n.ccap", "--start-utc", "2026-05-01"],
        2,
        "not a time in UTC",
    ),
}


@pytest.mark.parametrize("name", REFUSED)
def test_commands_refuse_in_one_line_and_touch_nothing(captures, tmp_path, name):
    words, wanted, message = REFUSED[name]
    write_log(tmp_path / "log.csv", readings())
    (tmp_path / "empty.ccap").touch()
    (tmp_path / "newer.ccap").write_bytes(encode(HEADER).replace(b'"schema":1', b'"schema":2'))
    before = {path: path.read_bytes() for path in tmp_path.iterdir()}
    code, out, err = captures(*words)
    assert (code, out) == (wanted, "")
    assert err.count("\n") == 1
    assert message in err
    assert {path: path.read_bytes() for path in tmp_path.iterdir()} == before


def test_another_program_on_the_port_is_counted_and_kept(run, tmp_path):
    with CaptureWriter(tmp_path / "a.ccap", HEADER) as writer:
        for number, data in enumerate([b"$GPGGA,123519*47", b"\xff\x00\xfe", b"", b"@" + b"x" * 200, interval_line(0)]):
            writer.write(type(some_entries()[0])(0.1 * number, data))
    code, out, _ = run("inspect", "a.ccap", "--json")
    found = json.loads(out)
    assert code == 0
    assert (found["text_lines"], found["damaged"], found["records"]) == (2, 1, 1)
    assert frame.why(b"@" + b"x" * 200) == "overlong"
