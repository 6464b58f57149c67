"""From board ticks to time: wraps, restarts, bridged silences.  Time never goes backwards."""

import random

import pytest
from coilcount.readings.frequency import Sums, two_averages
from coilcount.readings.timebase import TimeBase
from coilwire import records
from hypothesis import given, settings
from hypothesis import strategies as st

CLOCK_HZ, TICK_CYCLES = 125_000_000, 2
TICKS = 62_500_000  # a second
WRAP_S = records.U32 / TICKS
NEW = records.FLAG_NEW_TIME_BASE
N, PERIOD = 500, 2500  # edges and ticks: 20 ms


class Board:
    """Exact intervals at exact times.  `tick` and `edge` are the values of the counter."""

    def __init__(self, tick=0):
        self.base = TimeBase(CLOCK_HZ, TICK_CYCLES)
        self.tick, self.edge, self.sequence = tick, 0, 0
        self.true_ticks = 0  # since the first edge, through restarts
        self.boot_ticks = 0
        self.times_us: list[int] = []

    def interval(self, flags=0, delay_s=0.0) -> int:
        record = records.Interval(
            self.sequence % records.U16, self.edge % records.U32, N, self.tick % records.U32,
            PERIOD * N * (N - 1) // 2, PERIOD, PERIOD, 0, flags,
        )  # fmt: skip
        self.skip(1)
        self.base.advance(record, self.true_ticks / TICKS + delay_s)
        self.times_us.append(self.base.time_us)
        return self.base.time_us

    def skip(self, intervals):
        """These intervals are lost on the way, and the board goes on."""
        self.sequence += intervals
        self.edge += N * intervals
        self.pass_ticks(N * PERIOD * intervals)

    def pass_ticks(self, ticks):
        """The oscillator stands still, but the board's clock goes on."""
        self.tick += ticks
        self.true_ticks += ticks
        self.boot_ticks += ticks

    def restart(self, off_ticks, tick):
        self.pass_ticks(off_ticks)
        self.tick, self.edge, self.sequence, self.boot_ticks = tick, 0, 0, 0

    def uptime(self, delay_s=0.0):
        return self.base.seen_uptime(self.boot_ticks * 1000 // TICKS % records.U32, self.true_ticks / TICKS + delay_s)


def shows_in_the_ticks(stop):
    """False for a stop of whole wraps, within an eighth of an interval: its ticks look as if nothing had happened."""
    wraps = round(stop / records.U32)
    return wraps == 0 or abs(stop - wraps * records.U32) > N * PERIOD // 8


delays = st.floats(0, 0.1)
steps = st.one_of(
    st.tuples(st.just("run"), st.integers(1, 30), delays),
    st.tuples(st.just("lose"), st.integers(1, 20_000), delays),
    st.tuples(st.just("stop"), st.integers(1, 400 * TICKS).filter(shows_in_the_ticks), delays),
    st.tuples(st.just("flagged stop"), st.integers(1, 400 * TICKS), delays),
    st.tuples(st.just("uptime"), st.just(0), delays),
    st.tuples(st.just("restart"), st.integers(0, 400 * TICKS), delays),
    st.tuples(st.just("silent restart"), st.integers(0, 400 * TICKS), delays),
)


@given(st.integers(0, records.U32 - 1), st.lists(steps, max_size=25))
@settings(max_examples=300, deadline=None)
def test_never_backwards_and_never_far_from_the_truth(tick, script):
    board = Board(tick)
    board.interval()
    board.interval()
    for what, size, delay_s in script:
        if what == "run":
            for _ in range(size):
                board.interval(delay_s=delay_s)
            continue
        if what == "lose":
            board.skip(size)
        elif what == "stop" or what == "flagged stop":
            board.pass_ticks(size)
        elif what == "uptime":
            board.uptime(delay_s)
        else:
            board.restart(size, tick * 7 % records.U32)
            if what == "restart":
                board.base.restart()
        board.interval(NEW if what == "flagged stop" else 0, delay_s)
        board.interval(0, delay_s)
    assert board.times_us == sorted(board.times_us)
    first_edge_us = (board.true_ticks - N * PERIOD) * 1e6 / TICKS
    # Each bridged silence may be off by the slack of the host's clock, and these add up.
    bridges = sum(what not in ("run", "uptime") for what, _, _ in script)
    assert board.times_us[-1] == pytest.approx(first_edge_us, abs=1 + 1.05e6 * bridges)


@given(st.integers(0, records.U32 - 1), st.integers(1, 100))
@settings(max_examples=30, deadline=None)
def test_the_wrap_is_exact(tick, lost):
    board = Board(tick)
    for _ in range(40):  # at 100 records each the ticks wrap
        board.interval(delay_s=0.05)
        board.skip(lost - 1)
    assert board.base.step == lost
    assert not board.base.bridged
    assert board.times_us[-1] == board.true_ticks // N // PERIOD * 20_000 - 20_000 * lost


def test_a_stopped_oscillator_is_timed_by_the_boards_own_clock():
    board = Board(123)
    board.interval()
    board.interval()
    board.pass_ticks(5 * TICKS)
    assert board.interval(delay_s=0.08) == 5_040_000
    assert board.base.start
    assert not board.base.bridged
    assert board.base.silent_from_us == 40_000


@pytest.mark.parametrize("lost", [5000, 30_000, 70_000])  # 100 s, 600 s and 23 min: wraps of ticks and sequence
def test_wraps_while_records_are_lost_are_found_by_the_edges_alone(lost):
    board = Board(5)
    board.interval()
    board.interval()
    board.skip(lost)
    # The computer slept: by its clock almost no time has passed.
    assert board.interval(delay_s=-0.02 * lost + 0.05) == 40_000 + 20_000 * lost
    assert (board.base.step, board.base.bridged, board.base.reason) == (lost + 1, False, "records lost")


def test_an_unseen_wrap_while_the_coil_stood_still_is_found_with_host_time_and_marked():
    board = Board(5)
    board.interval()
    board.interval()
    board.pass_ticks(100 * TICKS)
    assert board.interval(delay_s=0.05) == 100_040_000
    assert board.base.bridged


@pytest.mark.parametrize("wraps", [1, 3])
def test_a_stop_of_whole_wraps_is_found_by_the_next_uptime(wraps):
    board = Board(5)
    board.interval()
    board.uptime()
    board.pass_ticks(wraps * records.U32)
    assert board.interval() == 20_000  # too early by the wraps
    board.uptime()
    assert board.interval() == pytest.approx((board.true_ticks - N * PERIOD) * 1e6 / TICKS, abs=2_000)
    assert (board.base.start, board.base.bridged) == (True, True)


def test_uptime_corrects_the_time_after_the_computer_slept():
    board = Board(5)
    board.interval()
    board.uptime()
    board.pass_ticks(600 * TICKS)  # the coil stood still
    slept_s = -597.0
    board.interval(delay_s=slept_s)
    assert board.base.time_us == pytest.approx(3_020_000, abs=1_000_000)
    board.uptime(slept_s)
    board.interval(delay_s=slept_s)
    assert board.base.time_us == pytest.approx(600_040_000, abs=2_000)
    assert (board.base.bridged, board.base.reason) == (True, "the computer slept")
    board.uptime(slept_s)
    board.interval(delay_s=slept_s)
    assert not board.base.start


def test_a_restart_is_bridged_by_host_time():
    board = Board(99)
    board.interval()
    board.interval()
    board.uptime()
    board.restart(3 * TICKS, 7)
    assert board.uptime() is True
    assert board.interval() == pytest.approx(3_040_000, abs=2)
    assert board.base.bridged
    assert board.base.start


def test_uptime_bridges_a_silence_in_which_the_host_slept():
    board = Board()
    board.interval()
    board.uptime()
    board.pass_ticks(50 * TICKS)
    asleep_s = 1000.0
    board.uptime(asleep_s)
    board.interval(NEW, asleep_s)
    assert board.base.time_us == pytest.approx(50_020_000, abs=2_000)  # uptime has whole milliseconds
    assert board.base.bridged


STALL, OVERRUN = records.FLAG_STALL, records.FLAG_OVERRUN


@pytest.mark.parametrize("flags", [NEW, NEW | STALL, STALL])
def test_after_a_stall_nothing_continues_and_the_next_interval_continues_again(flags):
    board = Board()
    starts = []
    for now in (0, 0, flags, 0, 0):
        board.interval(now)
        starts.append((board.base.start, board.base.bridged))
    assert starts == [(True, False), (False, False), (True, True), (False, False), (False, False)]
    assert board.base.reason == "new time base"


@pytest.mark.parametrize("delay_s", [0.0, 0.35, 5.0])
@pytest.mark.parametrize("lost", [8, 17, 150, 9000])  # up to 180 s, in which the ticks wrap
def test_after_an_overrun_the_time_is_exact_however_late_the_line_comes(lost, delay_s):
    board = Board(5)
    board.interval()
    board.interval()
    board.skip(lost)
    board.sequence -= lost  # intervals that were overwritten have no sequence numbers
    assert board.interval(OVERRUN, delay_s) == 20_000 * (lost + 2)
    base = board.base
    assert (base.start, base.bridged, base.step) == (True, False, lost + 1)
    assert base.reason == "edges overwritten on the board"
    assert board.interval(0, delay_s) == 20_000 * (lost + 3) and not board.base.start


def test_a_counter_that_went_back_is_bridged_even_if_its_ticks_look_right():
    """The record with the flag of a new time base was lost on the way."""
    board = Board(TICKS)
    board.interval()
    board.interval()
    board.edge = 0
    board.interval()
    assert (board.base.start, board.base.bridged) == (True, True)


@pytest.mark.parametrize("step", [0, 101, 40_000])
def test_a_step_of_the_sequence_that_is_no_loss_is_a_new_start(step):
    board = Board()
    board.interval()
    board.interval()
    board.sequence += step - 1
    board.interval()
    assert board.base.start


def test_the_rate_is_that_of_neighbouring_means():
    base = TimeBase(CLOCK_HZ, TICK_CYCLES)
    first, second = Sums(10, 499, 2**32 - 1000, 310_000_123), Sums(509, 501, 2**32 - 1000 + 1_247_777, 313_000_321)
    for sequence, sums in enumerate((first, second)):
        record = records.Interval(sequence, sums.first_edge, sums.n, sums.t_first % records.U32, sums.s, 1, 1, 0, 0)
        base.advance(record, 0.0)
    assert base.rate / base.tick_s == pytest.approx(two_averages((first, second), base.tick_s).frequency_hz, rel=1e-13)


def test_another_clock_is_a_restart():
    board = Board()
    board.interval()
    before = board.interval()
    assert board.base.set_clock(CLOCK_HZ * 2, TICK_CYCLES)
    assert not board.base.set_clock(CLOCK_HZ * 2, TICK_CYCLES)
    # By host time it came 20 ms after the last one, and by its own clock it is 10 ms long.
    assert board.interval() == before + 30_000
    assert board.base.bridged
    with pytest.raises(ValueError, match="clock"):
        board.base.set_clock(0, 2)


def test_the_delays_of_many_restarts_do_not_add_up():
    """Lines arrive 0.5 to 6 ms late, one in fifty 20 to 80 ms, as over USB; fifty restarts in ten minutes."""
    rng = random.Random(4)

    def delay_s():
        return rng.uniform(0.02, 0.08) if rng.random() < 0.02 else rng.uniform(0.0005, 0.006)

    board = Board()
    for _ in range(50):
        for _ in range(10):
            for _ in range(50):
                board.interval(delay_s=delay_s())
            board.uptime(delay_s())
        board.restart(rng.randrange(TICKS), rng.randrange(records.U32))
        board.base.restart()
    first_edge_us = board.true_ticks * 1e6 / TICKS
    board.interval(delay_s=0.003)
    # The delay of one first line, 3 ms on average, and not that of fifty.
    assert board.base.time_us == pytest.approx(first_edge_us, abs=10_000)


def test_a_coil_that_starts_long_after_its_board_is_no_sleep_of_the_computer():
    board = Board()
    board.uptime()
    board.pass_ticks(7 * TICKS)  # the board runs, the coil does not yet
    board.uptime()
    for _ in range(60):
        board.interval()
    board.uptime()
    board.interval()
    assert board.times_us == [20_000 * k for k in range(61)]
    assert not board.base.start
