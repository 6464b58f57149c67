"""The counter on an emulated RP2040 (rp2040py: PIO, FIFO, DMA, memory).

The firmware's own files run, under CPython.  Each kind of fault must set its flag, and every sum must be exact.
"""

import pytest
from coilwire import records
from counter_rig import MS, NEW, OVERRUN, PERIOD, Rig, counting, train

STALL, DOUBLE, LOST = records.FLAG_STALL, records.FLAG_DOUBLE_EDGE, records.FLAG_LOST_EDGE


@pytest.fixture
def rig(monkeypatch):
    rig = Rig(monkeypatch)
    rig.counter.start(5)
    yield rig
    rig.counter.stop()


def test_every_edge_is_in_one_interval_and_every_sum_is_exact(rig):
    rig.run(train(1000, 900, 2510), 900 * 2510)
    assert rig.flags() == [NEW, 0, 0]
    assert [sums[counting.N] for sums in rig.intervals] == [250, 250, 250]  # 625,000 cycles, cut after 249.004 periods
    assert rig.intervals[0][counting.FIRST_EDGE] == 0 and rig.follow_on()
    rig.check()


def test_intervals_do_not_depend_on_when_the_ring_is_read(rig, monkeypatch):
    rig.run(train(1000, 900), 900 * PERIOD)
    late = Rig(monkeypatch)
    late.counter.start(5)
    late.run(train(1000, 900), 900 * PERIOD, poll=False)
    late.poll()
    assert late.intervals == rig.intervals and len(rig.intervals) == 3


def test_a_shorter_interval_takes_effect_at_once_and_loses_no_edge(rig):
    rig.run(train(1000, 200), 200 * PERIOD)  # 4 ms of 5 are open
    rig.counter.set_interval(3)
    rig.run(train(1000 + 200 * PERIOD, 400), 600 * PERIOD)
    assert [sums[counting.N] for sums in rig.intervals][1:] == [150, 150] and rig.follow_on()
    rig.check()


def test_a_silence_of_90_ms(rig):
    rig.run(train(1000, 100), 100 * PERIOD)
    assert not rig.intervals
    for _ in range(90):
        rig.chip.skip(MS)
        rig.poll()
    # The edges before the silence were reported once no further edge could belong to their interval.
    assert [sums[counting.N] for sums in rig.intervals] == [100]
    assert 85 <= rig.counter.silent_ms() <= 92
    rig.run(train(rig.chip.cycle + 1000, 300), rig.chip.cycle + 300 * PERIOD)
    assert rig.counter.silent_ms() < 3
    assert rig.flags() == [NEW, LOST]
    assert rig.intervals[1][counting.LONGEST] == 65535
    rig.check()  # the time base continues


def test_a_double_and_a_lost_edge_and_a_burst_of_noise(rig):
    rises = train(1000, 1300)
    rises.append(rises[300] + 1200)  # one edge too many, in the second interval
    del rises[650]  # one too few, in the third
    rises += [rises[900] + 500 * k + 2 * (k % 3) for k in (1, 2, 3, 4, 6, 7, 8, 9)]  # noise, in the fourth
    rig.run(rises, 1300 * PERIOD)
    assert rig.flags() == [NEW, DOUBLE, LOST, DOUBLE, 0]
    rig.check()


def test_an_edge_ring_that_is_not_read_in_time(monkeypatch):
    rig = Rig(monkeypatch, ring_bits=10)
    rig.counter.start(1)
    rig.run(train(500, 300, 1000), 300_000)
    rig.run(train(300_500, 400, 1000), 700_000, poll=False)
    rig.run(train(700_500, 400, 1000), 1_100_000)
    assert [sums[counting.N] for sums in rig.intervals] == [125] * 4
    assert rig.flags() == [NEW, OVERRUN, 0, 0]
    # Edges are missing, but their number is known and the time base continues.
    assert 500 < rig.intervals[1][counting.FIRST_EDGE] < 700
    rig.check()
    rig.counter.stop()


@pytest.mark.parametrize("interval_ms", [1, 3])  # an interval ends in the overtaken poll, or does not
def test_a_ring_that_is_overwritten_while_it_is_read(monkeypatch, interval_ms):
    """DMA goes once round the ring while the loop sums, as in a poll that takes long on a chip."""
    rig = Rig(monkeypatch, ring_bits=10)
    rig.counter.start(interval_ms)
    rig.run(train(500, 250, 1000), 250_000, poll=False)
    moved = rig.edges.moved
    calls = []

    def moved_later():
        calls.append(moved())
        if len(calls) == 2:  # after the words were read
            rig.run(train(250_500, 100, 1000), 350_000, poll=False)
            return moved()
        return calls[-1]

    rig.edges.moved = moved_later
    rig.poll()
    rig.edges.moved = moved
    rig.run(train(350_500, 700, 1000), 1_050_000)
    assert rig.flags()[0] == NEW | OVERRUN and set(rig.flags()[1:]) <= {0}
    assert rig.intervals[0][counting.FIRST_EDGE] > 200
    rig.check()
    rig.counter.stop()


def test_a_fifo_that_is_not_read_breaks_the_time_base_and_sets_the_stall_flag(rig):
    rig.run(train(1000, 400), 400 * PERIOD)
    rig.stall()
    rig.run([], rig.chip.cycle + MS)
    assert rig.flags() == [NEW]
    rig.check()
    # Counting starts again, and the damaged interval is discarded.
    del rig.intervals[:]
    restarted = train(rig.chip.cycle + 1000, 700)
    rig.run(restarted, rig.chip.cycle + 700 * PERIOD)
    assert rig.flags() == [NEW | STALL, 0]
    assert rig.intervals[0][counting.FIRST_EDGE] == 0
    rig.check(restarted)


def test_two_channels_take_turns_and_no_edge_is_lost(monkeypatch):
    rig = Rig(monkeypatch, ring_bits=10, channel_words=512)
    rig.counter.start(2)
    rig.run(train(500, 2000, 1000), 2_000_000)
    # 2,000 words: the channels have changed three times.
    assert rig.flags() == [NEW, 0, 0, 0, 0, 0, 0] and rig.follow_on()
    rig.check()
    # Stopped while the second channel works, that channel keeps its count.  The next start must not use this count.
    rig.counter.stop()
    del rig.intervals[:]
    rig.counter.start(2)
    again = train(rig.chip.cycle + 500, 800, 1000)
    rig.run(again, rig.chip.cycle + 800_000)
    assert rig.flags() == [NEW, 0]
    rig.check(again)
    rig.counter.stop()


def test_stop_ends_everything_and_a_start_that_fails_leaves_nothing(rig):
    rig.run(train(1000, 20), 20 * PERIOD)
    rig.counter.stop()
    assert not rig.chip.claimed and not any(rig.chip.programs.values())
    ring = bytes(rig.edges.ring)
    rig.run(train(rig.chip.cycle + 1000, 20), rig.chip.cycle + 20 * PERIOD, poll=False)
    assert bytes(rig.edges.ring) == ring
    rig.counter.stop()  # harmless
    rig.chip.claimed = set(range(1, 12))  # one channel is free, two are needed
    with pytest.raises(OSError, match="DMA"):
        rig.counter.start(5)
    assert rig.chip.claimed == set(range(1, 12)) and not any(rig.chip.programs.values())
