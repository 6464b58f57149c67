"""The flags of intervals that the firmware's ring drops, through the loop and the fake USB stream to the host's chain.

A host stops to read until the ring drops records.  The times that it finds afterwards must be right to a tick of the
board's clock, or must be marked as bridged.
"""

from array import array

import chip_tools
import pytest
from coilwire import records
from hypothesis import given
from hypothesis import strategies as st
from micropython_tool import PROTOCOL, run_micropython

chip_tools.provide_micropython()

from fake_usb import Rig, intervals, lost_flags_story  # noqa: E402
from host_times import Host, only  # noqa: E402
from ring import CARRIED, Ring  # noqa: E402

NEW, STALL, OVERRUN = records.FLAG_NEW_TIME_BASE, records.FLAG_STALL, records.FLAG_OVERRUN
DROPPED, DOUBLE, NO_AMPLITUDE = records.FLAG_AFTER_DROP, records.FLAG_DOUBLE_EDGE, records.FLAG_NO_AMPLITUDE
TICKS_PER_S = 62_500_000
INTERVAL, MARK = 1, 2


class Board:
    """The loop over a fake USB stream, with the attributes that host_times.Host reads."""

    interval_ms = 20

    def __init__(self):
        self.rig = Rig()
        self.records = []
        self.true_us = []
        self.ended_s = []
        self._bases = [0]  # ticks at which each time base began

    def run(self, ms):
        """Run the loop, and note when each line reaches the host."""
        end = self.rig.edges.now_ms + ms
        while self.rig.edges.now_ms < end:
            self.rig.run(1)
            if self.rig.edges.base_ticks != self._bases[-1]:
                self._bases.append(self.rig.edges.base_ticks)
            if self.rig.usb.received:
                self._note()

    def stop_reading_with(self, fault):
        """Let the host stop to read, call fault(), wait until the ring has dropped the records, and read again."""
        self.rig.usb.reads = False
        self.run(200)
        fault()
        self.run(4000)
        self.rig.usb.reads = True
        self.run(1000)

    def overrun(self):
        """Nobody polls the counter while more edges come than its ring holds."""
        for _ in range(400):
            self.rig.pass_ms()

    def stall(self):
        self.rig.edges.stall = True

    def flags(self):
        return [record.flags & ~NO_AMPLITUDE for record in self.records]

    def _note(self):
        found = intervals(self.rig.lines()[0])
        for record in found[len(self.records) :]:
            if self.records and record.flags & NEW:
                del self._bases[0]
            ticks = record.t_first + self._bases[0]
            # It is the time of a real edge.
            edge = (ticks * self.rig.hertz + TICKS_PER_S - 1) // TICKS_PER_S
            assert ticks == edge * TICKS_PER_S // self.rig.hertz
            self.true_us.append(ticks * 16 // 1000)
            self.ended_s.append(self.rig.edges.now_ms / 1000)
            self.records.append(record)


def test_an_overrun_in_a_record_that_was_dropped_is_reported_and_every_time_is_right_to_a_tick():
    board = Board()
    board.run(500)
    board.stop_reading_with(board.overrun)
    flags = board.flags()
    k = flags.index(DROPPED | OVERRUN)
    assert set(flags) == {NEW, DROPPED | OVERRUN, 0}
    host = Host(board)
    assert set(host.errors_us) == {0} and not any(host.bridged)
    assert host.starts == [index in (0, k) for index in range(len(flags))]
    assert host.link.faults == {"overrun": 1}
    missing = board.records[k].first_edge - board.records[k - 1].first_edge - board.records[k - 1].n
    assert host.link.lost == missing // 500


def test_a_stall_in_a_record_that_was_dropped_is_reported_and_the_new_start_is_marked_as_bridged():
    board = Board()
    board.run(500)
    board.stop_reading_with(board.stall)
    flags = board.flags()
    k = flags.index(DROPPED | STALL | NEW)
    assert set(flags) == {NEW, DROPPED | STALL | NEW, 0}
    host = Host(board)
    assert host.bridged == only(k, len(flags))
    assert set(host.errors_us[:k]) == {0}
    # Later times follow the bridged start to a tick; microseconds are rounded down.
    assert max(host.errors_us[k:]) - min(host.errors_us[k:]) <= 1
    assert host.link.faults == {"stall": 1}


def test_the_first_interval_that_is_sent_has_the_new_time_base_even_if_the_first_one_was_dropped():
    board = Board()
    board.rig.usb.buffer = b" " * 256
    board.stop_reading_with(lambda: None)
    assert board.flags()[0] == DROPPED | NEW and not any(board.flags()[1:])


class FailingPort:
    """Fake of port.Port that fails at the writes whose numbers are in `fails`."""

    def __init__(self, usb, fails):
        self._usb = usb
        self._left = fails
        self.writable, self.read = usb.writable, usb.read

    def write(self, buffer, start, count):
        if buffer[1] == ord("I") and start == 0 and self._left:
            self._left -= 1
            raise OSError(5)
        return self._usb.write(buffer, start, count)


def test_a_line_that_the_stream_loses_passes_its_flags_on():
    rig = Rig()
    rig.app.link._port = FailingPort(rig.usb, 2)
    rig.run(200)
    found, _ = rig.lines()
    first = intervals(found)[0]
    assert (first.sequence, first.flags & ~NO_AMPLITUDE) == (2, DROPPED | NEW)
    assert rig.app.ring.dropped == 2


@given(
    st.lists(st.sampled_from([0, NEW, NEW | STALL, OVERRUN, DOUBLE]) | st.just("mark") | st.just("send"), max_size=60),
    st.integers(1, 5),
)
def test_no_sequence_of_pushes_and_sends_loses_a_carried_flag(steps, slots):
    """A flag in CARRIED must be in the first interval that is sent after the interval that had it."""
    ring = Ring(slots, 2, INTERVAL, 1)
    waiting = []  # (kind, flags) of all records in the ring
    owed = 0  # CARRIED flags of intervals that were dropped since the last interval that was sent
    dropped = False
    for step in steps:
        if step == "send":
            if waiting:
                kind, flags = waiting.pop(0)
                if kind == INTERVAL:
                    expected = flags | owed | DROPPED * dropped
                    assert ring.flag_first() == expected & CARRIED
                    assert ring.words[ring.start + 1] == expected
                    owed, dropped = 0, False
                else:
                    assert ring.flag_first() == 0
                ring.drop_first()
            continue
        if len(waiting) == slots:
            kind, flags = waiting.pop(0)
            owed |= flags & CARRIED if kind == INTERVAL else 0
            dropped = True
        # The numbers of a mark have no flags, even if they look like some.
        waiting.append((MARK, 255) if step == "mark" else (INTERVAL, step))
        ring.push(waiting[-1][0], array("I", [7, waiting[-1][1]]))


@pytest.mark.parametrize("fault", ["overrun", "stall", "start"])
def test_both_interpreters_send_the_same_flags(fault):
    printed = run_micropython(
        f"from fake_usb import lost_flags_story\nprint(lost_flags_story('{fault}'))",
        paths=[chip_tools.FIRMWARE, PROTOCOL, chip_tools.FIRMWARE.parent / "tests" / "support"],
    )
    assert printed.strip() == str(lost_flags_story(fault))
    assert {"overrun": OVERRUN, "stall": NEW | STALL, "start": NEW}[fault] | DROPPED in lost_flags_story(fault)
