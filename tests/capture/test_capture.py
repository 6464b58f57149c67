"""Captures: written entries are read back; a damaged capture is reported, and its undamaged part is used."""

import gzip
import io
import itertools
import json
import random
import zlib
from pathlib import Path

import pytest
from capture_samples import HEADER, read, some_entries, write
from coilcount.capture import entries as entry_lines
from coilcount.capture import reader as reading
from coilcount.capture.entries import decode, encode
from coilcount.capture.reader import Report, read_capture
from coilcount.capture.salvage import salvage
from coilcount.chain import Chain
from coilcount.desk.survey import survey
from coilcount.errors import DamageError, InputError
from coilcount.model import End, Gap, Header, Imported, Line, MarkMade, Operator, Silence
from coilcount.settings import defaults
from coilwire import records
from fuzz_input import write_mutated
from hypothesis import given
from hypothesis import strategies as st

times = st.floats(-1e9, 1e9).map(lambda value: round(value, 6))
numbers = st.floats(-1e17, 1e17)
maybe = st.none() | numbers
OPERATIONS = ["freeze", "thaw", "false_alarms", "threshold", "mark"]
an_entry = st.one_of(
    st.builds(Line, times, st.binary().filter(lambda data: b"\n" not in data)),
    st.builds(Operator, times, st.sampled_from(OPERATIONS), maybe, st.text()),
    st.builds(Gap, times, times, st.text()),
    st.builds(Imported, times, numbers, maybe, maybe, maybe),
    st.builds(End, times, st.sampled_from(["closed", "rotated", "disk full"]), st.integers(0, 1 << 40)),
    st.builds(Header, st.text(), st.text(), notes=st.dictionaries(st.text(), st.text()), interval_s=maybe),
)


@given(an_entry)
def test_every_entry_comes_back(entry):
    line = encode(entry)
    assert decode(line[:-1]) == entry
    assert decode(line[:-1] + b"\r") == entry
    assert line.isascii()
    assert line.count(b"\n") == 1


@given(st.binary(), an_entry, st.integers(0, 200), st.binary(max_size=3))
def test_a_damaged_line_raises_value_error_alone(junk, entry, at, burst):
    line = encode(entry)[:-1]
    for hurt in (junk, line[:at] + burst + line[at + len(burst) :], line[:at] + line[at + 1 :]):
        try:
            decode(hurt)
        except ValueError as error:
            assert str(error)


@pytest.mark.parametrize(
    "line",
    [
        b"",
        b"[]",
        b"{}x",
        b'{"t":NaN,"l":"a"}',
        b'{"t":1e999,"l":"a"}',
        b'{"t":true,"l":"a"}',
        b'{"t":"1","l":"a"}',
        b'{"l":"a"}',
        b'{"t":1,"l":5}',
        b'{"t":1,"l":"\\u00e9"}',
        b'{"t":1,"x":"0g"}',
        b'{"hz":25000}',
        b'{"t":1,"op":1}',
        b'{"t":1,"gap":"why"}',
        b'{"format":"another","schema":1}',
        b'{"format":"coilcount-capture","schema":1}',
        b"[" * 100_000,
    ],
)
def test_a_line_that_is_not_an_entry_is_refused(line):
    with pytest.raises(ValueError, match=r"."):
        decode(line)


NUMBERS = st.from_regex(r"[-+]?[0-9]{1,20}(\.[0-9]{0,12})?([eE][-+]?[0-9]{1,3})?", fullmatch=True)


@given(
    time=st.one_of(NUMBERS, st.just("1_0.0")),
    text=st.one_of(st.text(st.characters(codec="latin-1"), max_size=6), st.just("\\u0041"), st.just("@I,1*00")),
    blank=st.sampled_from(["", " "]),
)
def test_the_quick_way_for_a_received_line_equals_json(time, text, blank):
    line = f'{{"t":{blank}{time},"l":"{text}"}}'.encode("latin-1")

    def result():
        try:
            return decode(line)
        except ValueError:
            return None

    quick = result()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(entry_lines, "_PLAIN_LINE", lambda line: None)
        assert result() == quick


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


def test_a_gz_of_two_members_that_grows_a_hundredfold_is_read_whole(tmp_path):
    path = write(tmp_path / "a.ccap", [Line(1.0, b"x" * 900)] * 3000)
    content = path.read_bytes()
    packed = tmp_path / "a.ccap.gz"
    packed.write_bytes(gzip.compress(content[:1_000_000]) + gzip.compress(content[1_000_000:]))
    assert packed.stat().st_size * 100 < len(content)
    entries, report = read(packed)
    assert len(entries) == 3002
    assert report.whole


def gz_text(data: bytes, chunk: int) -> tuple[bytes, bool]:
    """The bytes that the reader gets from gzip data in chunks of this size, and whether it reports damage."""
    report = Report()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(reading, "_CHUNK_BYTES", chunk)
        file = io.BytesIO(data)
        return b"".join(reading._inflated(lambda: file.read(chunk), file.read(chunk), report)), report.torn_tail


a_content = st.binary(max_size=300) | st.builds(bytes.__mul__, st.binary(max_size=20), st.integers(0, 500))


@given(st.lists(a_content, min_size=1, max_size=5), st.integers(1, 400), st.lists(st.integers(0, 70), min_size=5))
def test_gz_members_of_any_size_in_chunks_of_any_size_are_read_whole(contents, chunk, padding):
    packed = b"".join(
        gzip.compress(content, mtime=0) + bytes(zeros) for content, zeros in zip(contents, padding, strict=False)
    )
    assert gz_text(packed, chunk) == (b"".join(contents), False)


@given(st.lists(a_content, min_size=1, max_size=4), st.integers(1, 400), st.data())
def test_any_cut_of_gz_members_gives_everything_before_it_and_reports_damage(contents, chunk, data):
    members = [gzip.compress(content, mtime=0) for content in contents]
    packed = b"".join(members)
    cut = data.draw(st.integers(1, len(packed)))
    text, damaged = gz_text(packed[:cut], chunk)
    ends = list(itertools.accumulate(map(len, members)))
    assert b"".join(contents).startswith(text)
    assert text.startswith(b"".join(contents[: sum(end <= cut for end in ends)]))
    # Between two members nothing tells a cut; the capture inside lacks its end then.
    assert damaged == (cut not in ends)


@given(st.lists(a_content, min_size=2, max_size=4), st.integers(1, 400), st.data())
def test_a_damaged_later_gz_member_leaves_those_before_it(contents, chunk, data):
    members = [bytearray(gzip.compress(content, mtime=0)) for content in contents]
    at = data.draw(st.integers(1, len(members) - 1))
    # In the check sum, in the length or in the first two bytes: what zlib is sure to notice.
    place = data.draw(st.sampled_from([0, 1, *range(len(members[at]) - 8, len(members[at]))]))
    members[at][place] ^= data.draw(st.integers(1, 255))
    text, damaged = gz_text(b"".join(members), chunk)
    assert text.startswith(b"".join(contents[:at]))
    assert damaged


def test_a_member_that_ends_on_a_chunk_of_the_file_is_followed_by_the_next(tmp_path):
    """A member of exactly 64 KiB, which the reader takes at once: random bytes, stored and not deflated."""
    entries = [Line(0.0, random.Random(5).randbytes(33_000).replace(b"\n", b"")), *some_entries()]
    content = write(tmp_path / "a.ccap", entries).read_bytes()
    sizes = range(60_000, len(content))
    first = next(size for size in sizes if len(gzip.compress(content[:size], 0, mtime=0)) == reading._CHUNK_BYTES)
    path = tmp_path / "a.ccap.gz"
    path.write_bytes(gzip.compress(content[:first], 0, mtime=0) + gzip.compress(content[first:]))
    got, report = read(path)
    assert got[1:-1] == entries
    assert report.whole


def test_every_line_in_a_cut_gz_is_read(tmp_path, monkeypatch):
    # Small pieces, so that a piece often ends where the inflater still holds text back.
    monkeypatch.setattr(reading, "_CHUNK_BYTES", 64)
    packed = gzip.compress(write(tmp_path / "a.ccap", some_entries()).read_bytes())
    path = tmp_path / "cut.ccap.gz"
    for size in range(600, len(packed), 3):
        path.write_bytes(packed[:size])
        possible = zlib.decompressobj(wbits=31).decompress(packed[:size])
        _, report = read(path)
        assert report.lines == len(possible.splitlines())
        assert report.torn_tail


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


def test_a_cut_gz_gives_nearly_all_lines_and_reports_damage(tmp_path):
    rng = random.Random(1)
    noise = [Line(round(n / 50, 6), rng.randbytes(30).replace(b"\n", b"")) for n in range(3000)]
    packed = gzip.compress(write(tmp_path / "a.ccap", noise).read_bytes())
    path = tmp_path / "cut.ccap.gz"
    path.write_bytes(packed[: len(packed) // 2])
    got, report = read(path)
    assert got[1:] == noise[: len(got) - 1]
    assert len(got) > 1400
    assert report.torn_tail
    # All lines are there, but not the check sum behind them.
    path.write_bytes(packed[:-4])
    got, report = read(path)
    assert got[1:-1] == noise
    assert report.torn_tail
    hurt = bytearray(packed)
    hurt[len(packed) // 2] ^= 0x55
    path.write_bytes(hurt)
    got, report = read(path)
    assert not report.whole
    # What stands before the damaged byte is given; what comes out behind it, before zlib notices, is mostly no entry.
    assert got[1:1400] == noise[:1399]


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


# ---------------------------------------------------------------- what is refused


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
