"""The flags of an interval, from the emulated silicon to the times of the host.

The counter of the firmware runs on the PIO, FIFO and DMA of an emulated RP2040.  Its intervals become lines of the
wire, and the intake and the chain of the host read these lines.  Every time that the host finds must be right to a
tick of the board's clock, or must be marked as bridged.
"""

import pytest
from coilwire import records
from counter_rig import CLOCK_HZ, MS, NEW, NO_AMPLITUDE, OVERRUN, Rig, train
from host_times import Host, only

STALL, DOUBLE, LOST = records.FLAG_STALL, records.FLAG_DOUBLE_EDGE, records.FLAG_LOST_EDGE
TICK_NS = 16
RING_BITS = 10  # 256 words, so that an overrun takes milliseconds
INTERVAL_MS = 1
PERIOD = 1000  # cycles: 125 edges in an interval
LATE_S = 0.35  # as long as the real ring holds edges at 25 kHz


class Board:
    """A counter on emulated silicon, with the attributes that host_times.Host reads."""

    interval_ms = INTERVAL_MS

    def __init__(self, monkeypatch):
        self.rig = Rig(monkeypatch, ring_bits=RING_BITS)
        self.rig.counter.start(INTERVAL_MS)
        self.records = []
        self.true_us = []
        self.ended_s = []
        self._first = 0  # index of the edge that has the number 0

    def count(self, edges, poll=True):
        """Let this many edges come."""
        begin = self.rig.chip.cycle
        self.rig.run(train(begin + 500, edges, PERIOD), begin + edges * PERIOD, poll)
        self.take()

    def stall(self):
        self.take()
        self.rig.stall()
        self._first = len(self.rig.rises)
        # The open interval was discarded, so none of its edges is sent.
        assert not self.rig.intervals

    def take(self):
        """Make records of the intervals that ended."""
        rises = self.rig.rises
        for sums in self.rig.intervals:
            record = records.Interval(len(self.records), *sums)
            first = self._first + record.first_edge
            self.true_us.append((rises[first] - rises[0]) // 2 * TICK_NS // 1000)
            self.ended_s.append(rises[first + record.n - 1] / CLOCK_HZ)
            self.records.append(record)
        del self.rig.intervals[:]

    def flags(self):
        return [record.flags & ~NO_AMPLITUDE for record in self.records]


@pytest.fixture
def board(monkeypatch):
    board = Board(monkeypatch)
    yield board
    board.rig.counter.stop()


def test_after_an_overrun_every_time_is_right_to_a_tick(board):
    board.count(400)
    board.count(400, poll=False)
    board.count(600)
    flags = board.flags()
    k = flags.index(OVERRUN)
    assert set(flags) == {NEW, OVERRUN, 0} and flags[k + 1 :]
    for late_s in (0.0, LATE_S, 3.0):
        host = Host(board, late_s, late_from=k)
        assert set(host.errors_us) == {0} and not any(host.bridged)
        # The interval with the flag is a start for the tracker, and the next one continues it.
        assert host.starts == [index in (0, k) for index in range(len(flags))]
        [silence] = host.silences
        assert (silence.bridged, silence.reason) == (False, "edges overwritten on the board")
        assert silence.end_s == pytest.approx(board.true_us[k] / 1e6, abs=1e-9)
        assert host.link.faults == {"overrun": 1}
        edges = board.records[k].first_edge - board.records[k - 1].first_edge
        assert host.link.lost == edges // 125 - 1 > 0


def test_if_the_line_with_the_overrun_flag_is_lost_the_times_are_right_to_a_tick_all_the_same(board):
    board.count(400)
    board.count(400, poll=False)
    board.count(600)
    k = board.flags().index(OVERRUN)
    host = Host(board, LATE_S, late_from=k, lost=[k])
    assert set(host.errors_us) == {0} and not any(host.bridged)
    assert "overrun" not in host.link.faults
    # If its lines are late by more than HOST_SLACK_S, nothing tells why edges are missing, and host time bridges them.
    host = Host(board, 3.0, late_from=k, lost=[k])
    assert host.bridged == only(k, len(host.bridged))


def test_after_a_stall_the_start_is_marked_as_bridged_and_later_times_follow_it_to_a_tick(board):
    board.count(400)
    board.stall()
    board.count(600)
    flags = board.flags()
    k = flags.index(NEW | STALL)
    assert flags == [NEW, *[0] * (k - 1), NEW | STALL, *[0] * (len(flags) - k - 1)] and flags[k + 1 :]
    for late_s in (0.0, LATE_S):
        host = Host(board, late_s, late_from=k)
        assert host.bridged == only(k, len(flags))
        assert host.starts == [index in (0, k) for index in range(len(flags))]
        assert set(host.errors_us[:k]) == {0}
        # Host time places the new start, so it is as late as its line.
        assert host.errors_us[k] == pytest.approx(late_s * 1e6, abs=20)
        assert max(host.errors_us[k:]) - min(host.errors_us[k:]) <= 1  # microseconds are rounded down
        assert [silence.bridged for silence in host.silences] == [True]
        assert host.link.faults == {"stall": 1}


def test_an_overrun_before_a_stall_leaves_both_flags_and_the_stall_decides(board):
    board.count(400)
    board.rig.counter.set_interval(3)
    board.count(400, poll=False)
    board.rig.counter.poll()  # keeps the newest 128 words, which end no interval of 3 ms
    board.stall()
    board.rig.counter.set_interval(1)
    board.count(600)
    flags = board.flags()
    k = flags.index(NEW | STALL | OVERRUN)
    host = Host(board)
    assert host.bridged == only(k, len(flags))
    assert max(host.errors_us[k:]) - min(host.errors_us[k:]) <= 1


def test_after_a_long_silence_the_new_time_base_is_marked_as_bridged(board):
    board.count(300)
    for _ in range(70):
        board.rig.chip.skip(500 * MS)
        board.rig.poll()
    board.take()
    board.count(300)
    flags = board.flags()
    k = flags.index(NEW, 1)
    host = Host(board, LATE_S, late_from=k)
    assert host.bridged == only(k, len(flags))
    assert host.errors_us[k] == pytest.approx(LATE_S * 1e6, abs=1000)


def test_doubled_and_lost_edges_leave_every_time_right_to_a_tick(board):
    rises = train(1000, 900, PERIOD)
    rises.append(rises[200] + 500)
    del rises[400]
    board.rig.run(rises, 900 * PERIOD)
    board.take()
    assert set(board.flags()) == {NEW, DOUBLE, LOST, 0}
    host = Host(board, LATE_S, late_from=2)
    assert set(host.errors_us) == {0} and not any(host.bridged)


def test_bit_64_is_reserved():
    assert sum(value for name, value in vars(records).items() if name.startswith("FLAG_")) == 255 - 64
