"""Frequency and its standard uncertainty from interval sums.

An interval is (first_edge, n, t_first, s): the edges first_edge .. first_edge + n - 1, the timestamp of the first in
ticks, and s = sum of (t - t_first) over all n.  Times are unwrapped ticks.  Every timestamp carries the error
sx^2 = q^2 / 12 + jitter^2 (q the tick), independent from edge to edge, so with T the time spanned:

- two points: u(f) / f = sqrt(2) sx / T;
- two averages over halves of N edges in all: u(f) / f = 4 sx / (T sqrt(N)).

E. Rubiola, "On the measurement of frequency and of its sample variance with high-resolution counters", Review of
Scientific Instruments 76, 054703 (2005), the counters called pi and lambda there; quoted from memory.  Without jitter
and within 1e-6 of a commensurate ratio of period and tick, the error does not average down.
"""

from collections.abc import Sequence
from math import sqrt
from typing import NamedTuple


class Sums(NamedTuple):
    """One interval: edge numbers and ticks, both unwrapped; s in ticks."""

    first_edge: int
    n: int
    t_first: int
    s: int


class Estimate(NamedTuple):
    """frequency_hz, its standard uncertainty in Hz, and the time it spans in s."""

    frequency_hz: float
    uncertainty_hz: float
    span_s: float


def timestamp_error_s(tick_s: float, jitter_s: float = 0.0) -> float:
    """Standard uncertainty of one timestamp in s: a tick's rectangular distribution and the edge's own jitter."""
    return sqrt(tick_s * tick_s / 12.0 + jitter_s * jitter_s)


def two_point(first: Sums, last: Sums, tick_s: float, jitter_s: float = 0.0) -> Estimate:
    """From the first edge of `first` to the first edge of `last`.  Raises ValueError where no time lies between."""
    return _estimate(
        last.first_edge - first.first_edge,
        last.t_first - first.t_first,
        2.0,
        tick_s,
        jitter_s,
    )


def two_averages(intervals: Sequence[Sums], tick_s: float, jitter_s: float = 0.0) -> Estimate:
    """From the mean of the first half of an even number of intervals to the mean of the second half.

    Two intervals are the difference of neighbouring means, which the tracker uses.  Raises ValueError for an odd
    number, for fewer than two, or where an interval holds no edge.
    """
    if len(intervals) < 2 or len(intervals) % 2:
        raise ValueError("two averages need an even number of intervals")
    half = len(intervals) // 2
    start = intervals[0]
    edge_a, time_a, n_a = _mean(intervals[:half], start)
    edge_b, time_b, n_b = _mean(intervals[half:], start)
    return _estimate(edge_b - edge_a, time_b - time_a, 1.0 / n_a + 1.0 / n_b, tick_s, jitter_s)


def neighbours_ppm(frequency_hz: float, interval_s: float, tick_s: float, jitter_s: float = 0.0) -> float:
    """u(f) / f in ppm of two_averages over two neighbouring intervals of interval_s each."""
    edges = max(1.0, frequency_hz * interval_s)
    return 1e6 * sqrt(2.0 / edges) * timestamp_error_s(tick_s, jitter_s) / interval_s


def _mean(intervals: Sequence[Sums], start: Sums) -> tuple[float, float, int]:
    """Mean edge number and mean time (ticks) of all edges, both from `start`, and how many edges."""
    count = sum(one.n for one in intervals)
    if any(one.n < 1 for one in intervals):
        raise ValueError("an interval without edges has no mean")
    # Integers to the last step: a float would lose ticks after some hours.
    edges = sum(2 * one.n * (one.first_edge - start.first_edge) + one.n * (one.n - 1) for one in intervals)
    ticks = sum(one.n * (one.t_first - start.t_first) + one.s for one in intervals)
    return edges / (2 * count), ticks / count, count


def _estimate(edges: float, ticks: float, variances: float, tick_s: float, jitter_s: float) -> Estimate:
    if ticks <= 0 or edges <= 0:
        raise ValueError("no time passes between the two ends")
    span_s = ticks * tick_s
    frequency_hz = edges / span_s
    relative = sqrt(variances) * timestamp_error_s(tick_s, jitter_s) / span_s
    return Estimate(frequency_hz, relative * frequency_hz, span_s)
