"""Captures packed by gzip: every undamaged line is read, and a cut or damage is reported."""

import gzip
import io
import itertools
import random
import zlib

import pytest
from capture_samples import read, some_entries, write
from coilcount.capture import reader as reading
from coilcount.capture.reader import Report
from coilcount.model import Line
from hypothesis import given
from hypothesis import strategies as st


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
