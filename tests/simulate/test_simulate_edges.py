"""Edge timestamps and their sums against exact integer arithmetic."""

from fractions import Fraction

import numpy as np
import pytest
from coilcount.simulate.edges import DOUBLE_TICKS, FIELDS, TICK_S, EdgeSource, joined, merge, sums_of
from hypothesis import given
from hypothesis import strategies as st

STEADY_HZ = 24876.543


def steady(seconds: int, jitter_s: float = 0.0, frequency_hz: float = STEADY_HZ):
    source = EdgeSource(jitter_s, np.random.default_rng(7))
    return joined([source.block(np.full(1000, frequency_hz)) for _ in range(seconds)])


@given(
    groups=st.lists(st.integers(0, 6), min_size=12, max_size=12),
    size=st.sampled_from([1, 2, 3, 4, 6, 12]),
    data=st.data(),
)
def test_merged_sums_equal_direct_ones(groups, size, data):
    # the chip's identity, S = S1 + S2 + N2 (t2 - t1), for any edges and any grouping
    gaps = data.draw(st.lists(st.integers(1, 70_000), min_size=sum(groups), max_size=sum(groups)))
    ticks = 1000 + np.cumsum(np.array(gaps, dtype=np.int64))
    fine = sums_of(ticks, np.array(groups), first_edge=40, tick_before=990)
    merged = merge(fine, size)
    direct = sums_of(ticks, np.array(groups).reshape(-1, size).sum(axis=1), first_edge=40, tick_before=990)
    for name in FIELDS:
        np.testing.assert_array_equal(getattr(merged, name), getattr(direct, name), name)


def test_timestamps_are_those_of_exact_arithmetic():
    sums = steady(3)
    frequency = Fraction(STEADY_HZ)
    edge = 0
    for i in range(len(sums)):
        # edge k (from 1) falls at k/f; the tick is 16 ns
        ticks = [int((k + 1) / frequency * 62_500_000) for k in range(edge, edge + int(sums.n[i]))]
        assert sums.first_edge[i] == edge
        assert sums.t_first[i] == ticks[0]
        assert sums.s[i] == sum(tick - ticks[0] for tick in ticks)
        assert all(tick < (i + 1) * 62_500 for tick in ticks)
        edge += len(ticks)
    assert edge == int(3 * STEADY_HZ)


def test_a_moving_frequency_keeps_its_mean():
    rng = np.random.default_rng(3)
    frequency = 25_000 * (1 + 1e-4 * rng.standard_normal(5000))
    source = EdgeSource(0.0, rng)
    sums = joined([source.block(part) for part in frequency.reshape(5, 1000)])
    # From the first to the last edge the count is the integral of f, to a tick over 5 s.
    last = sums[-1:]
    span_ticks = int(last.t_first[0]) - int(sums.t_first[0])
    edges = int(last.first_edge[0]) - int(sums.first_edge[0])
    phase = np.concatenate([[0], np.cumsum(frequency) * 1e-3])
    ms = span_ticks / 62_500 + sums.t_first[0] / 62_500
    expected = np.interp(ms, np.arange(5001), phase) - np.interp(sums.t_first[0] / 62_500, np.arange(5001), phase)
    assert edges == pytest.approx(expected, abs=25_000 * 2 * TICK_S)


def test_the_timestamp_noise_is_jitter_and_tick():
    sums = steady(20, jitter_s=20e-9)
    k = sums.first_edge + 1.0
    residual_s = sums.t_first * TICK_S + TICK_S / 2 - k / STEADY_HZ
    expected = np.hypot(20e-9, TICK_S / np.sqrt(12))
    assert residual_s.std() == pytest.approx(expected, rel=0.03)
    assert residual_s.mean() == pytest.approx(0, abs=1e-9)


@pytest.mark.parametrize(("kind", "more"), [("doubled", 1), ("lost", -1)])
def test_a_glitch_changes_one_edge(kind, more):
    clean = steady(1)
    source = EdgeSource(0.0, np.random.default_rng(7))
    hit = source.block(np.full(1000, STEADY_HZ), ((500, kind),))
    assert hit.n[500] - clean.n[500] == more
    np.testing.assert_array_equal(hit.first_edge[501:] - clean.first_edge[501:], more)
    np.testing.assert_array_equal(hit.t_first[501:], clean.t_first[501:])
    # a doubled edge makes periods of 200 ticks and the rest, a lost one a period of two
    period = 62_500_000 / STEADY_HZ
    if kind == "doubled":
        assert hit.shortest[500] == DOUBLE_TICKS
    else:
        assert hit.longest[500] == pytest.approx(2 * period, abs=1.5)


def test_a_stopped_oscillator_gives_no_edges_and_then_continues():
    frequency = np.full(1000, STEADY_HZ)
    frequency[300:420] = 0
    sums = EdgeSource(0.0, np.random.default_rng(7)).block(frequency)
    assert not sums.n[300:420].any()
    assert sums.longest[420] == 65535  # the silence, saturated
    assert sums.first_edge[420] == sums.n[:300].sum()


def test_timestamps_are_still_exact_after_hours():
    source = EdgeSource(0.0, np.random.default_rng(7))
    source._ms = 36_000_000  # ten hours in
    sums = source.block(np.full(1000, STEADY_HZ))
    fresh = steady(1)
    np.testing.assert_array_equal(sums.t_first - 36_000_000 * 62_500, fresh.t_first)
    np.testing.assert_array_equal(sums.s, fresh.s)
