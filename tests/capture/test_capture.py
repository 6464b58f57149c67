"""Captures: written entries are read back; a damaged capture is reported, and its undamaged part is used."""

import gzip
import json
import random
from pathlib import Path

import pytest
from capture_samples import HEADER, read, some_entries, write
from coilcount.capture.entries import encode
from coilcount.capture.reader import Report, read_capture
from coilcount.capture.salvage import salvage
from coilcount.chain import Chain
from coilcount.desk.survey import survey
from coilcount.errors import DamageError, InputError
from coilcount.model import End, Header, Imported, Line, MarkMade, Silence
from coilcount.settings import defaults
from coilwire import records
from fuzz_input import write_mutated


def test_an_unknown_kind_of_line_is_skipped(tmp_path):
    path = write(tmp_path / "a.ccap", some_entries())
    lines = path.read_bytes().splitlines(keepends=True)
    path.write_bytes(b"".join([lines[0], b'{"t":0.0,"weather":"rain","new":[1,{}]}\n', *lines[2:]]))
    entries, report = read(path)
    assert entries[1:-1] == some_entries()[1:]
    assert (report.unknown, report.whole) == (1, True)


def test_changes_by_an_editor_do_no_harm(tmp_path):
    path = write(tmp_path / "a.ccap", some_entries())
    content = path.read_bytes()
    path.write_bytes(b"\xef\xbb\xbf" + content.replace(b"\n", b"\r\n"))
    entries, report = read(path)
    assert entries[:-1] == [HEADER, *some_entries()]
    assert report.whole
    lines = content.splitlines(keepends=True)
    path.write_bytes(b"".join(lines[:20] + lines[25:]))
    assert read(path)[1].complaint() == "5 lines missing"
    path.write_bytes(b"".join(lines[:20] + lines[19:]))
    assert read(path)[1].complaint() == "1 line added or repeated"


@pytest.mark.parametrize("packed", [False, True])
def test_written_entries_are_read_back(tmp_path, packed):
    path = write(tmp_path / "a.ccap", some_entries())
    if packed:
        path = tmp_path / "a.ccap.gz"
        content = (tmp_path / "a.ccap").read_bytes()
        path.write_bytes(gzip.compress(content[:500]) + gzip.compress(content[500:]))
    entries, report = read(path)
    assert entries == [HEADER, *some_entries(), End(1.2, "closed", 1 + len(some_entries()))]
    assert report.whole
    assert report.complaint() == ""
    assert report.kinds == {"Header": 1, "Line": 62, "Operator": 3, "Gap": 1, "End": 1}


def test_any_cut_leaves_all_lines_before_it(tmp_path):
    whole = write(tmp_path / "a.ccap", some_entries()).read_bytes()
    entries = [HEADER, *some_entries()]
    path = tmp_path / "cut.ccap"
    for size in range(len(whole) - 400, len(whole)):
        path.write_bytes(whole[:size])
        got, report = read(path)
        complete = whole[:size].count(b"\n")
        assert got[:complete] == entries[:complete]
        assert report.torn_tail == (whole[size - 1 : size] != b"\n")
        assert not report.whole or size == len(whole)
        assert report.damaged == 0


def test_damage_inside_is_counted_and_skipped(tmp_path):
    path = write(tmp_path / "a.ccap", some_entries())
    lines = path.read_bytes().splitlines()
    lines[10] = lines[10][:20]
    lines[11] = b"\x00" * 5000
    lines[12] = b"\xff\xfe" + lines[12]
    path.write_bytes(b"\n".join(lines) + b"\n")
    entries, report = read(path)
    expected = [HEADER, *some_entries()]
    assert entries[:-1] == expected[:10] + expected[13:]
    assert (report.damaged, report.damaged_lines, report.whole) == (3, [11, 12, 13], False)
    assert report.complaint() == "3 damaged lines"


def test_a_file_without_line_feeds_is_read_in_bounded_pieces(tmp_path):
    path = write(tmp_path / "a.ccap", some_entries())
    lines = path.read_bytes().splitlines(keepends=True)
    path.write_bytes(b"".join([*lines[:5], b"x" * 3_000_000, b"\n", *lines[5:]]))
    entries, report = read(path)
    assert entries[:-1] == [HEADER, *some_entries()]
    assert report.damaged == 3


@pytest.mark.parametrize("first", [b"", b'{"format":"coilcount-cap\x00', b'{"format":"coilcount-capture"\n'])
def test_a_capture_whose_first_line_is_lost_is_read_and_salvaged(tmp_path, first):
    path = write(tmp_path / "a.ccap", some_entries())
    body = path.read_bytes().split(b"\n", 1)[1]
    path.write_bytes(first + (b"\n" if first else b"") + body)
    entries, report = read(path)
    assert entries[0] == Header("unknown", "")
    assert entries[1:-1] == some_entries()
    assert report.header_lost
    assert not report.whole
    salvage(path, tmp_path / "b.ccap")
    entries, report = read(tmp_path / "b.ccap")
    assert entries[1:-1] == some_entries()
    assert report.whole


def test_salvage_keeps_every_undamaged_line_byte_for_byte(tmp_path):
    path = write(tmp_path / "a.ccap", some_entries())
    lines = path.read_bytes().splitlines(keepends=True)
    lines[7] = lines[7][:-9] + b"\n"
    lines.insert(9, b'{"t":0.1,"newer":1}\n')
    path.write_bytes(b"".join(lines)[:-150])
    before = path.read_bytes()
    count = salvage(path, tmp_path / "b.ccap")
    saved = (tmp_path / "b.ccap").read_bytes().splitlines(keepends=True)
    complete = before[: before.rindex(b"\n") + 1].splitlines(keepends=True)
    assert saved[:-1] == complete[:7] + complete[8:]
    assert count == len(saved) - 2
    assert json.loads(saved[-1])["end"] == "salvaged"
    assert read(tmp_path / "b.ccap")[1].whole
    assert path.read_bytes() == before
    with pytest.raises(InputError, match="exists"):
        salvage(path, tmp_path / "b.ccap")


def test_the_survey_counts_the_contents_of_a_capture(tmp_path):
    lines = [line for line in some_entries() if type(line) is not Line or b"@I,7," not in line.data]
    status = records.Status(0, 298_000, 5000, 3, 0, 0, 0)
    lines += [
        Line(1.3, records.write(status)[:-1]),
        Line(1.4, records.write(status._replace(dropped=4))[:-1]),
        Line(1.41, b"@I,1,2,3*00000000"),
        Line(1.42, records.write(records.Mark(1400, 2))[:-1]),
    ]
    found = survey(write(tmp_path / "a.ccap", lines))
    assert (found.records, found.lost, found.dropped) == (59, 1, 4)
    assert (found.damaged, found.text_lines) == (1, 1)
    assert found.kinds == {"H": 1, "I": 59, "S": 2, "M": 1}
    assert [mark.text for mark in found.marks] == ["é, 5 cm", "button, mark 2"]
    assert [gap.reason for gap in found.gaps] == ["unplugged"]
    assert found.hello["uid"] == "AB12"


@pytest.mark.parametrize("seed", range(40))
def test_inspect_and_replay_count_the_same_on_the_same_time_axis(tmp_path, seed):
    path = write_mutated(random.Random(100 + seed), tmp_path / "m.ccap")
    chain = Chain(defaults())
    outputs = [output for entry in read_capture(path) for output in chain.feed(entry)] + chain.finish()
    summary, found = outputs[-1], survey(path)
    for name in ("records", "lost", "dropped", "damaged", "duration_s", "mended", "repaired"):
        assert getattr(found, name) == getattr(summary, name), name
    assert list(found.gaps) == [output for output in outputs if type(output) is Silence]
    assert list(found.marks) == [output for output in outputs if type(output) is MarkMade]


@pytest.mark.parametrize("seed", range(40, 60))
def test_skimming_gives_the_same_report_and_the_ends_of_each_run_of_intervals(tmp_path, seed):
    path = tmp_path / "a.ccap"
    write_mutated(random.Random(seed), path)
    report, quick = Report(), Report()
    every = list(read_capture(path, report))
    skimmed = list(read_capture(path, quick, skim=True))
    assert quick == report

    def is_interval(entry):
        return type(entry) is Line and entry.data.startswith(b"@I,")

    imported = any(type(entry) is Imported for entry in every)
    assert len(skimmed) <= len(every) / (1 if imported else 3)
    assert [e for e in skimmed if not is_interval(e)] == [e for e in every if not is_interval(e)]
    for entries in (skimmed, skimmed[::-1]):
        whole = every if entries is skimmed else every[::-1]
        assert next(filter(is_interval, entries), None) == next(filter(is_interval, whole), None)


def make_newer(path: Path) -> None:
    path.write_bytes(encode(HEADER).replace(b'"schema":1', b'"schema":2'))


REFUSED = {
    "no such file": (lambda path: None, InputError, "no such file"),
    "a folder": (lambda path: path.mkdir(), InputError, "cannot be read: Is a directory"),
    "newer schema": (make_newer, InputError, r"schema 2, and this version reads up to 1 .*Update coilcount"),
    "a CSV": (lambda path: path.write_text("time_s,frequency_hz\n0,25000\n"), InputError, "not a coilcount capture"),
    "other JSON lines": (lambda path: path.write_text('{"a":1}\n' * 99), InputError, "not a coilcount capture"),
    "a picture": (
        lambda path: path.write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(500)),
        InputError,
        "not a coilcount capture",
    ),
    "another gz": (lambda path: path.write_bytes(gzip.compress(b"hello\n")), InputError, "not a coilcount capture"),
    "nothing in it": (lambda path: path.touch(), DamageError, "stopped before its first line"),
    "a cut header": (lambda path: path.write_bytes(encode(HEADER)[:60]), DamageError, "stopped before its first line"),
}


@pytest.mark.parametrize("name", REFUSED)
def test_a_file_that_is_no_capture_is_refused_with_one_clear_line(tmp_path, name):
    make, kind, message = REFUSED[name]
    path = tmp_path / "x.ccap"
    make(path)
    with pytest.raises(kind, match=message) as caught:
        read(path)
    assert caught.value.where == str(path)
    assert caught.value.remedy
    assert "\n" not in str(caught.value)


def test_a_header_with_a_number_that_json_cannot_hold_is_damage(tmp_path):
    """Every command could fail at it: it is in the settings, or in what an earlier session learned."""
    for name, value in (("settings", {"a": 1}), ("learned", {"state": [1]})):
        path = tmp_path / "a.ccap"
        text = json.dumps({**json.loads(encode(HEADER)), name: value}).replace(json.dumps(value), "@", 1)
        text = text.replace("@", json.dumps(value).replace("1", "1e999"))
        path.write_text(text + "\n" + encode(Line(0.1, b"x")).decode())
        report = Report()
        list(read_capture(path, report))
        assert report.header_lost and report.damaged == 1


def test_a_header_alone_is_a_capture_with_nothing_in_it(tmp_path):
    path = tmp_path / "a.ccap"
    path.write_bytes(encode(HEADER))
    entries, report = read(path)
    assert entries == [HEADER]
    assert report.complaint() == "it was not closed"
