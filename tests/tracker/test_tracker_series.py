"""From raw interval sums to the relative shift: exact, with wraps, lost records and miscounted edges."""

from fractions import Fraction

import numpy as np
import pytest
from coilcount.tracker.series import BROKEN, FIRST, Decoder, Repair
from coilcount.tracker.tracker import Tracker
from hypothesis import given, settings
from hypothesis import strategies as st
from tracker_series import F0_HZ, INTERVAL_S, TICK_HZ, intervals


def decode(records, repair=True):
    """(readings in 1e-9 with lost ones filled, decoder, repair)"""
    decoder = Decoder(20000)
    mender = Repair()
    out = []
    for record in records:
        steps = decoder.interval(*record[1:])
        for _ in range(max(steps, 0)):
            mender.push(decoder.y, decoder.edge if repair else 0, out)
    mender.flush(out)
    return np.array(out), decoder, mender


def wobble(n, seed=1):
    rng = np.random.default_rng(seed)
    t = np.arange(n) * INTERVAL_S
    return 3e-6 * np.sin(2 * np.pi * 0.5 * t) + rng.normal(size=n) * 1e-7


def test_y_and_reference_give_the_frequency():
    y = np.zeros(40)
    y[20:] = 30e-6
    out, decoder, _ = decode(intervals(y))
    ticks, edges = decoder.reference
    hz = edges / ticks * TICK_HZ * (1 + out * 1e-9)
    # Two-average estimate: 4 sx / (T sqrt N) with sx = 16 ns / sqrt 12 is 4e-8 of 25 kHz; six of these sigmas.
    assert hz[:15] == pytest.approx(F0_HZ, rel=2.5e-7)
    assert hz[25:] == pytest.approx(F0_HZ * (1 + 30e-6), rel=2.5e-7)


def test_readings_telescope():
    """The sum of y dT over a span is the phase between its averaged ends.  Checked with exact fractions."""
    records = intervals(wobble(120))
    out, decoder, _ = decode(records)
    ticks, edges = decoder.reference
    index = [Fraction(2 * r[2] + r[3] - 1, 2) for r in records]
    mean = [r[4] + Fraction(r[5], r[3]) for r in records]
    phase = (index[-1] - index[0]) - (mean[-1] - mean[0]) * Fraction(edges, ticks)
    total = sum(
        Fraction(int(y), 10**9) * (mean[k + 1] - mean[k]) * Fraction(edges, ticks) for k, y in enumerate(out)
    )
    # Each reading is rounded to 1e-9: half of that, over 500 edges.
    assert abs(phase - total) < Fraction(len(out) * 501, 2 * 10**9)


@given(st.integers(0, 2**32 - 1), st.integers(0, 2**32 - 1), st.integers(0, 2**16 - 1))
@settings(max_examples=20, deadline=None)
def test_counters_may_wrap_anywhere(edge_0, tick_0, sequence_0):
    y = wobble(30)
    assert (decode(intervals(y, None, edge_0, tick_0, sequence_0))[0] == decode(intervals(y))[0]).all()


def test_wraps_within_the_record_change_nothing():
    y = wobble(60)
    near = intervals(y, None, 2**32 - 12_000, 2**32 - 30_000_000, 2**16 - 20)
    assert near[0][2] > near[-1][2] and near[0][4] > near[-1][4] and near[0][1] > near[-1][1]
    assert (decode(near)[0] == decode(intervals(y))[0]).all()


def test_lost_records_are_filled_with_their_mean():
    records = intervals(wobble(80))
    whole = decode(records)[0]
    holed = decode(records[:30] + records[33:])[0]
    assert len(holed) == len(whole)
    assert len(set(holed[29:33].tolist())) == 1
    assert holed[29] == pytest.approx(whole[29:33].mean(), abs=2)
    assert (np.delete(holed, np.s_[29:33]) == np.delete(whole, np.s_[29:33])).all()


@pytest.mark.parametrize(
    "change",
    [
        {"sequence": 0},
        {"sequence": 101, "ticks": 101 * 1_250_000},
        {"sequence": 1, "ticks": 1_250_000 * 9 // 8 + 10_000},
        {"sequence": 2, "ticks": 1_250_000},
        {"n": 0},
    ],
)
def test_an_impossible_step_is_a_new_start(change):
    decoder = Decoder(20000)
    records = intervals(np.zeros(5))
    assert [decoder.interval(*r[1:]) for r in records] == [FIRST, 1, 1, 1, 1]
    _, sequence, first_edge, n, t_first, s = records[-1]
    sequence += change.get("sequence", 1)
    t_first += change.get("ticks", 1_250_000)
    assert decoder.interval(sequence, first_edge + 500, change.get("n", n), t_first, s) == BROKEN


@given(
    st.floats(0.3, 1.5),
    st.sampled_from([1, -1]),
    st.integers(0, 5),
)
@settings(max_examples=60, deadline=None)
def test_a_miscounted_edge_is_taken_out_exactly(at, what, seed):
    """It may fall anywhere in its interval.  The sum over the readings that share it is that of the sound series."""
    y = wobble(100, seed)
    sound = decode(intervals(y))[0]
    out, _, mender = decode(intervals(y, {at: what}))
    assert mender.repaired == 1
    changed = np.flatnonzero(out != sound)
    assert not len(changed) or np.ptp(changed) <= 2
    # Each gets half the sum, so it is off by at most the difference of the two: below 1 ppm in this series.
    assert np.abs(out - sound).max() < 1000
    # The time of the wrong edge is rounded to a tick, 6.4 ppm of an edge.
    assert abs(int(out.sum() - sound.sum())) <= 15


def test_a_wrong_count_alone_is_taken_out():
    """n is one too many, and the index is right again in the next interval: one edge too many, then one too few."""
    records = intervals(wobble(60))
    time_us, sequence, first_edge, n, t_first, s = records[30]
    broken = list(records)
    broken[30] = (time_us, sequence, first_edge + 1, n, t_first, s)
    sound = decode(records)[0]
    out, _, mender = decode(broken)
    assert mender.repaired == 1
    assert abs(int(out.sum() - sound.sum())) <= 2
    assert np.abs(out - sound).max() < 1000


def test_a_strong_pass_is_not_repaired_away():
    t = np.arange(150) * INTERVAL_S
    y = 1500e-6 * (1 + ((t - 1.5) / 0.13) ** 2) ** -3
    records = intervals(y)
    out, _, mender = decode(records)
    assert mender.repaired == 0
    assert (out == decode(records, repair=False)[0]).all()


def test_a_miscounted_edge_raises_no_alert():
    rng = np.random.default_rng(3)
    y = rng.normal(size=600) * 2e-7
    extra = {5.003: 1, 6.51: -1, 7.7191: 1, 9.0: -1}
    tracker = Tracker(INTERVAL_S, threshold=6.0)
    events = []
    for record in intervals(y, extra):
        events += tracker.interval(*record)
    assert tracker.repaired == 4
    assert events + list(tracker.finish()) == []
