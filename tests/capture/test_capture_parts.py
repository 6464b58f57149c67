"""The parts of a rotated recording, read as one: the replay is that of the same lines in one file."""

import gzip
import tempfile
from pathlib import Path

import pytest
from board_lines import HEADER, Source, entries, line, passes
from coilcount.capture.parts import MISSING, follows_on, read_parts
from coilcount.capture.reader import Report, read_capture
from coilcount.capture.writer import CaptureWriter
from coilcount.chain import Chain
from coilcount.model import End, Gap, Header, Operator, Silence, Summary
from coilcount.settings import defaults
from coilwire import records
from hypothesis import given, settings
from hypothesis import strategies as st

BOARD = Source(passes([6.0, 9.0], 30.0), 0.3)
FIRST = list(entries(BOARD, 10.0))
# After an unplug the board starts again.
SECOND = list(entries(Source(passes([4.0], -30.0), 0.3, seed=2, first_tick=9), 6.0, start_host_s=12.0, boot=2))


def write(path, written, **options):
    with CaptureWriter(path, HEADER, **options) as writer:
        for entry in written:
            writer.write(entry)
    return [part.path for part in writer.parts]


def replayed(found):
    chain = Chain(defaults(), points=True)
    outputs = [output for entry in found for output in chain.feed(entry)]
    return outputs + chain.finish()


def without_ends(found):
    return [entry for entry in found if type(entry) is not End]


@st.composite
def recording(draw):
    """Lines of two boots with an unplug between, and keys that the operator pressed anywhere."""
    written = [*FIRST, Gap(11.9, 10.1, "unplugged"), *SECOND]
    levels = [("threshold", 7.5), ("false_alarms", 3.0)]
    keys = st.sampled_from([("freeze", None), ("thaw", None), *levels, ("mark", None)])
    pressed = draw(st.lists(st.tuples(st.integers(1, len(written) - 1), keys), max_size=8))
    for place, (action, value) in sorted(pressed, reverse=True):
        written.insert(place, Operator(written[place - 1].host_s, action, value))
    return written


@settings(max_examples=15)
@given(recording(), st.integers(2_000, 60_000), st.booleans())
def test_parts_replay_as_one_capture_of_the_same_lines(written, rotate_bytes, compressed):
    with tempfile.TemporaryDirectory() as folder:
        [whole] = write(Path(folder) / "whole.ccap", written)
        parts = write(Path(folder) / "a.ccap", written, rotate_bytes=rotate_bytes)
        if compressed:
            parts[0] = parts[0].rename(parts[0].with_name("a.ccap.gz"))
            parts[0].write_bytes(gzip.compress(parts[0].read_bytes()))
        report = Report()
        joined = list(read_parts(parts, report))
        alone = list(read_capture(whole))
        assert without_ends(joined) == without_ends(alone)
        assert [type(entry) for entry in joined].count(Header) == 1
        assert replayed(joined) == replayed(alone)
        assert report.whole and report.closed and report.complaint() == ""
        assert report.share() == 1.0
        assert report.kinds["End"] == len(parts)


def test_the_report_says_about_all_parts_together(tmp_path):
    parts = write(tmp_path / "a.ccap", FIRST, rotate_bytes=10_000)
    assert len(parts) > 3
    reports = [Report() for _ in parts]
    for path, report in zip(parts, reports, strict=True):
        assert len(list(read_capture(path, report))) > 2
    lines = parts[1].read_bytes().split(b"\n")
    lines[20] = b"rubbish"
    parts[1].write_bytes(b"\n".join(lines))
    parts[-1].write_bytes(parts[-1].read_bytes()[:-30])
    report = Report()
    joined = list(read_parts(parts, report))
    assert not report.whole and report.damaged == 1 and report.torn_tail and not report.closed
    assert report.damaged_lines == [reports[0].lines + 21]
    assert report.complaint() == (
        f"a.002.ccap: 1 damaged line; {parts[-1].name}: it stops in the middle of a line, it was not closed"
    )
    assert replayed(joined)[-1].lost == 1


def test_a_part_that_is_not_there_is_a_gap_and_time_goes_on(tmp_path):
    parts = write(tmp_path / "a.ccap", FIRST, rotate_bytes=10_000)
    whole = replayed(read_parts(parts, Report()))
    report = Report()
    outputs = replayed(read_parts([parts[0], *parts[2:]], report, missing=[2]))
    assert report.complaint() == "part 2 missing" and not report.whole
    [gap] = [output for output in outputs if type(output) is Silence]
    assert gap.reason == MISSING
    assert outputs[-1].duration_s == pytest.approx(whole[-1].duration_s, abs=1e-4)
    # The first part is missing: its time axis begins with the part that is there.
    late = replayed(read_parts(parts[1:], Report(), missing=[1]))
    assert type(late[-1]) is Summary and late[-1].duration_s < whole[-1].duration_s - 1.0


def test_a_hello_that_damage_took_away_is_no_restart(tmp_path):
    """The next part repeats it with its old time, which would look like an uptime that went back."""
    hello = line(5.0, next(records.read(f) for f in [_frame(FIRST[0])])._replace(uptime_ms=5000))
    written = [*FIRST[:255], hello, *FIRST[255:]]
    parts = write(tmp_path / "a.ccap", written, rotate_bytes=40_000)
    lines = parts[0].read_bytes().split(b"\n")
    [place] = [k for k, text in enumerate(lines) if b'"t":5.0,' in text]
    lines[place] = b"rubbish"
    parts[0].write_bytes(b"\n".join(lines))
    outputs = replayed(read_parts(parts, Report()))
    assert not [output for output in outputs if type(output) is Silence]


def _frame(entry):
    from coilwire import frame

    return frame.parse(entry.data)


def test_a_part_follows_on_if_its_first_interval_comes_next(tmp_path):
    parts = write(tmp_path / "a.ccap", FIRST, rotate_bytes=10_000)
    assert follows_on(parts[0], parts[1]) and not follows_on(parts[0], parts[2])
    assert not follows_on(parts[1], parts[0])
