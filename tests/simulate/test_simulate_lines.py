"""The simulated board's lines, and the feed of the virtual board: structure, wraps, determinism."""

import os
import signal
import struct
import subprocess
import sys
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from coilcount.model import Gap, Line
from coilcount.schema.tables import read_table
from coilcount.simulate import feed
from coilcount.simulate.edges import TICK_S, Sums
from coilcount.simulate.lines import entries
from coilcount.simulate.scene import Scene
from coilcount.simulate.source import Source
from coilwire import frame, records
from coilwire.virtual_board import FORMAT, MARKED, PLUGGED, SIZE, UNPLUGGED

FEED = struct.Struct(FORMAT)
assert FEED.size == SIZE


def scene(**tables) -> Scene:
    return read_table(Scene, {"schema": 1, "duration_s": 12, **tables}, "test")


def received(a_scene: Scene, **options) -> list[tuple[float, object]]:
    """(host_s, wire record or Gap or the bytes of a cut line)"""
    out = []
    for entry in entries(a_scene, **options):
        if isinstance(entry, Gap):
            out.append((entry.host_s, entry))
        else:
            found = frame.parse(entry.data)
            out.append((entry.host_s, entry.data if found is None else records.read(found)))
    return out


def of_kind(items: list[tuple[float, object]], kind: type) -> list:
    return [item for _, item in items if isinstance(item, kind)]


def test_a_plain_run_has_the_lines_of_a_board():
    items = received(scene())
    intervals = of_kind(items, records.Interval)
    assert [interval.sequence for interval in intervals] == list(range(600))
    assert intervals[0].t_first == 0 and intervals[0].first_edge == 0
    assert [interval.flags for interval in intervals] == [records.FLAG_NEW_TIME_BASE] + [0] * 599
    assert all(b.first_edge == a.first_edge + a.n for a, b in pairwise(intervals))
    assert [record.uptime_ms for record in of_kind(items, records.Hello)] == [0, 10_000]
    assert [record.uptime_ms for record in of_kind(items, records.Status)] == [1000 * i for i in range(1, 12)]
    hosts = [host_s for host_s, _ in items]
    assert hosts == sorted(hosts)
    # USB and the host's loop delay a line by at most 90 ms, and more than 90 % of lines by less than 6.1 ms.
    arrived_s = np.array([host_s for host_s, record in items if isinstance(record, records.Interval)])
    late = arrived_s - 0.02 * np.arange(1, 601)
    assert late.min() > 0 and late.max() < 0.09
    assert np.mean(late < 0.0061) > 0.9


def test_the_lines_are_the_feed_merged():
    # a board merges the same milliseconds by the chip's rule S = S1 + S2 + N2 (t2 - t1)
    a_scene = scene(duration_s=2)
    source = Source(a_scene)
    data = b"".join(feed.pack(source.second()) for _ in range(2))
    rows = [FEED.unpack_from(data, 32 * i) for i in range(2000)]
    first_tick = rows[0][2]
    for number, interval in enumerate(of_kind(received(a_scene), records.Interval)):
        part = rows[20 * number : 20 * number + 20]
        assert interval.n == sum(row[1] for row in part)
        assert interval.t_first == part[0][2] - first_tick
        assert interval.s == sum(row[3] + row[1] * (row[2] - part[0][2]) for row in part)
        assert interval.shortest == min(row[4] for row in part)
        assert interval.longest == max(row[5] for row in part)
        assert interval.amplitude == pytest.approx(np.mean([row[6] for row in part]), abs=0.51)


def test_an_unplug_cuts_a_line_leaves_a_gap_and_boots_again():
    items = received(scene(unplug=[{"start_s": 4.313, "end_s": 6.207}]))
    index = next(i for i, (_, item) in enumerate(items) if isinstance(item, Gap))
    gap = items[index][1]
    assert gap.reason == "unplugged"
    assert gap.start_host_s == pytest.approx(4.313, abs=0.09) and gap.host_s == pytest.approx(6.207, abs=0.09)
    assert items[index - 1][1].startswith(b"@I,") and frame.why(items[index - 1][1]) == "damaged"
    hello = items[index + 1][1]
    assert (hello.boot, hello.uptime_ms) == (2, 0)
    after = of_kind(items[index:], records.Interval)
    assert (after[0].sequence, after[0].first_edge, after[0].t_first) == (0, 0, 0)
    assert after[0].flags & records.FLAG_NEW_TIME_BASE
    assert len(of_kind(items[:index], records.Interval)) == 4313 // 20
    assert len(after) == (12_000 - 6207) // 20


def test_lost_records_leave_a_step_and_the_edges_go_on():
    clean = of_kind(received(scene()), records.Interval)
    holed = of_kind(received(scene(lost=[{"at_s": [3.0, 5.0], "records": 3}])), records.Interval)
    lost = set(clean) - set(holed)
    assert sorted(interval.sequence for interval in lost) == [149, 150, 151, 249, 250, 251]
    assert len(holed) == len(clean) - 6


def test_a_stopped_oscillator_is_reported():
    items = received(scene(stopped=[{"start_s": 3.0, "end_s": 5.5}]))
    reports = of_kind(items, records.Stopped)
    assert [stopped.silent_ms for stopped in reports] == [60, 1060, 2060]
    assert of_kind(items, records.Interval)[150].longest == 65_535


def test_marks_and_glitches():
    items = received(scene(mark=[{"at_s": [2.5, 7.0]}], glitch=[{"at_s": 3.0}, {"at_s": 4.0, "kind": "lost"}]))
    assert of_kind(items, records.Mark) == [records.Mark(2500, 1), records.Mark(7000, 2)]
    flags = {interval.sequence: interval.flags for interval in of_kind(items, records.Interval) if interval.flags}
    assert flags == {0: records.FLAG_NEW_TIME_BASE, 150: records.FLAG_DOUBLE_EDGE, 200: records.FLAG_LOST_EDGE}


def test_same_seed_same_lines_other_seed_others():
    a_scene = scene(duration_s=3, ground={"chi": 1e-3, "wobble_cm": 0.5}, vibration={"rms_ppm": 1.0})
    runs = [[entry for entry in entries(a_scene, seed) if isinstance(entry, Line)] for seed in (5, 5, 6)]
    assert runs[0] == runs[1] != runs[2]


def test_the_feed_wraps_its_counters():
    ones = np.ones(1000, dtype=np.int64)
    edges = (1 << 32) - 500 + np.arange(1000)
    second = Source(scene()).second()
    sums = Sums(edges, ones, 62_500 * (68_719 + np.arange(1000)), 0 * ones, 70_000 * ones, ones)
    data = feed.pack(replace(second, sums=sums))
    rows = [FEED.unpack_from(data, 32 * i) for i in range(1000)]
    assert len(data) == 32_000
    assert rows[499][0] == (1 << 32) - 1 and rows[500][0] == 0
    assert rows[0][2] == 62_500 * 68_719 and rows[1][2] == (62_500 * 68_720) % (1 << 32) < rows[0][2]
    assert rows[0][4] == 65_535


def test_the_feed_reports_plug_and_button():
    source = Source(scene(unplug=[{"start_s": 0.2, "end_s": 0.6}], mark=[{"at_s": 0.9}]))
    second = source.second()
    assert {int(ms): int(second.control[ms]) for ms in np.flatnonzero(second.control)} == {
        200: UNPLUGGED, 600: PLUGGED, 900: MARKED
    }  # fmt: skip
    assert not second.sums.n[200:600].any()
    assert (second.sums.first_edge[600], second.sums.t_first[600] * TICK_S < 1e-3) == (0, True)


@pytest.mark.parametrize("ending", ["scene", "for", "SIGTERM", "reader"])
def test_the_feed_ends_quietly(tmp_path, ending):
    fifo = tmp_path / "coil"
    os.mkfifo(fifo)
    for_s = {"for": ["--for", "0.25"], "scene": [], "SIGTERM": ["--for", "inf"], "reader": ["--for", "inf"]}[ending]
    words = ["--scene", "demo", "--seed", "9", "--pace", "0", "--out", str(fifo), *for_s]
    process = subprocess.Popen([sys.executable, "-m", "coilcount.simulate.feed", *words], stderr=subprocess.PIPE)
    with process, open(fifo, "rb") as pipe:
        first = pipe.read(32)
        assert FEED.unpack(first)[0] == 0
        if ending == "SIGTERM":
            process.send_signal(signal.SIGTERM)
        if ending == "reader":
            pipe.close()
        else:
            size = 32 + sum(len(part) for part in iter(lambda: pipe.read(1 << 16), b""))
            if ending in ("scene", "for"):
                assert size == 32 * {"scene": 60_000, "for": 250}[ending]
        assert process.wait(20) == 0
        assert process.stderr.read() == b""


@pytest.mark.parametrize(
    ("words", "line"),
    [
        (["--scene", "dmo", "--out", "x"], 'there is no scene "dmo"'),
        (["--scene", "demo", "--out", "/no/such/pipe"], "cannot write to /no/such/pipe"),
        (["--scene", "demo", "--out", "x", "--pace", "-1"], "--pace is -1"),
    ],
)
def test_the_feed_reports_wrong_input_in_one_line(capsys, words, line):
    before = signal.getsignal(signal.SIGTERM)
    try:
        assert feed.main(words) == 2
    finally:
        signal.signal(signal.SIGTERM, before)
    error = capsys.readouterr().err
    assert line in error and error.count("\n") == 1
