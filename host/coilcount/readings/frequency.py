"""Frequency and its standard uncertainty from interval sums.

An interval is (first_edge, n, t_first, s): the edges first_edge .. first_edge + n - 1, the timestamp of the first in
ticks, and s = sum of (t - t_first) over all n.  Edge numbers and times are unwrapped.  Every timestamp carries the
error sx^2 = q^2 / 12 + jitter^2 (q the tick), independent from edge to edge; with N edges over the time T:

- two points: u(f) / f = sqrt(2) sx / T;
- two averages over halves: u(f) / f = 4 sx / (T sqrt(N));
- regression over every edge: u(f) / f = sqrt(12) sx / (T sqrt(N)); over the means of B equal blocks 1 / sqrt(1 - 1/B^2)
  times that: 2.1 % more for five blocks, two averages for two.

E. Rubiola, "On the measurement of frequency and of its sample variance with high-resolution counters", Review of
Scientific Instruments 76, 054703 (2005), the counters called pi and lambda there; E. Rubiola, M. Lenczner,
P.-Y. Bourgeois and F. Vernotte, "The Omega counter, a frequency counter based on the linear regression", IEEE
Transactions on Ultrasonics, Ferroelectrics, and Frequency Control 63 (2016); both quoted from memory.  Without jitter
and within 1e-6 of a commensurate ratio of period and tick, the error does not average down.

Whole numbers up to the means' distances from their common mean; those are small enough for floats.
"""

from collections.abc import Sequence
from itertools import pairwise
from math import fsum, sqrt
from typing import NamedTuple

REGRESSION_AT_LEAST = 5  # intervals
_SHORT_RANGE_AT_LEAST = 10  # intervals, for timing and wander to be told apart
_GROUPS = 5  # parts of the time
# Where the frequency flickers (an Allan deviation that stays flat, as those of free-running oscillators do): variance
# of the slope from one window to the next, over what independent residuals of five parts with the same mean square
# would let expect.  Computed (Monte Carlo); with white noise of the frequency it is 73/9 (means of a Brownian motion).
_FLICKER = 20.0


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


class _Block(NamedTuple):
    """Edges to take one mean of: how many, twice the sum of their numbers, the sum of their ticks."""

    n: int
    edges2: int
    ticks: int


class _Line(NamedTuple):
    """Least squares: ticks a period; sum of n (mean edge - its mean)^2; (n, mean time less the line) of each block."""

    period: float
    spread: float
    residuals: list[tuple[int, float]]


def timestamp_error_s(tick_s: float, jitter_s: float = 0.0) -> float:
    """Standard uncertainty of one timestamp in s: a tick's rectangular distribution and the edge's own jitter."""
    return sqrt(tick_s * tick_s / 12.0 + jitter_s * jitter_s)


def two_point(first: Sums, last: Sums, tick_s: float, jitter_s: float = 0.0) -> Estimate:
    """From the first edge of `first` to the first edge of `last`.  Raises ValueError where no time lies between."""
    edges = last.first_edge - first.first_edge
    ticks = last.t_first - first.t_first
    if ticks <= 0 or edges <= 0:
        raise ValueError("no time passes between the two ends")
    span_s = ticks * tick_s
    frequency_hz = edges / span_s
    return Estimate(frequency_hz, frequency_hz * sqrt(2.0) * timestamp_error_s(tick_s, jitter_s) / span_s, span_s)


def two_averages(intervals: Sequence[Sums], tick_s: float, jitter_s: float = 0.0) -> Estimate:
    """From the mean of the first half of an even number of intervals to the mean of the second half.

    Two intervals are the difference of neighbouring means, which the tracker uses.  Two means leave no residuals: the
    uncertainty is that of the timestamps alone.  Raises ValueError for an odd number, for fewer than two, or where an
    interval holds no edge.
    """
    if len(intervals) < 2 or len(intervals) % 2:
        raise ValueError("two averages need an even number of intervals")
    blocks = _blocks(intervals)
    line = _fit(_grouped(blocks, 2))
    return _estimate(line, blocks, (timestamp_error_s(tick_s, jitter_s) / tick_s) ** 2, tick_s)


def regression(intervals: Sequence[Sums], tick_s: float, jitter_s: float = 0.0) -> Estimate:
    """Least squares over (mean edge, mean time) of five or more intervals, each weighted by its edges.

    The uncertainty has two parts, timing and the coil's own wander:

    - timing, what one timestamp does by itself: the larger of q^2/12 + jitter^2 and, from ten intervals on, what second
      differences of neighbouring means show (jitter is seldom known);
    - wander: the mean square of the residuals of five equal parts of the time, about their own line, as far as it is
      above that of the timing.  Such residuals hang together, so that they move the slope more than independent ones
      would: for flicker of the frequency 20 times as much, in variance.

    So the figure is what a repeat just after would scatter by, from three degrees of freedom at most: for flicker it
    holds .57 of the repeats and twice it .81, for white noise of the frequency .76 and .94, with jitter alone .79 and
    .97 (tests/bench/resolution.py).  Drift and a passing object widen it.  With fewer than ten intervals and no jitter
    given, timing noise beyond the tick counts as wander, and the figure is up to 4.5 times too large.  Raises
    ValueError for fewer than five, or where an interval holds no edge.
    """
    if len(intervals) < REGRESSION_AT_LEAST:
        raise ValueError("a regression needs five intervals or more")
    blocks = _blocks(intervals)
    line = _fit(blocks)
    timing = (timestamp_error_s(tick_s, jitter_s) / tick_s) ** 2
    if len(blocks) >= _SHORT_RANGE_AT_LEAST:
        timing = max(timing, _short_range(line.residuals))
    parts = _fit(_grouped(blocks, _GROUPS)).residuals
    mean_square = fsum(n * off * off for n, off in parts) / (_GROUPS - 2)
    wander = _FLICKER * max(0.0, mean_square - timing)
    return _estimate(line, blocks, timing + wander, tick_s)


def neighbours_ppm(frequency_hz: float, interval_s: float, tick_s: float, jitter_s: float = 0.0) -> float:
    """u(f) / f in ppm of two_averages over two neighbouring intervals of interval_s each."""
    edges = max(1.0, frequency_hz * interval_s)
    return 1e6 * sqrt(2.0 / edges) * timestamp_error_s(tick_s, jitter_s) / interval_s


def _blocks(intervals: Sequence[Sums]) -> list[_Block]:
    """Edge numbers and ticks from those of the first edge on."""
    if any(one.n < 1 for one in intervals):
        raise ValueError("an interval without edges has no mean")
    edge, tick = intervals[0].first_edge, intervals[0].t_first
    return [_Block(n, n * (2 * (first - edge) + n - 1), n * (t - tick) + s) for first, n, t, s in intervals]


def _grouped(blocks: list[_Block], count: int) -> list[_Block]:
    """`count` groups of neighbouring blocks, as equal as they can be; sums add up exactly."""
    bounds = [index * len(blocks) // count for index in range(count + 1)]
    groups = [blocks[begin:end] for begin, end in pairwise(bounds)]
    return [_Block(*(sum(column) for column in zip(*group, strict=True))) for group in groups]


def _fit(blocks: list[_Block]) -> _Line:
    n_all, edges2_all, ticks_all = (sum(column) for column in zip(*blocks, strict=True))
    # Exact up to these divisions: each numerator is a whole number.
    at = [(edges2 * n_all - n * edges2_all) / (2 * n * n_all) for n, edges2, _ in blocks]
    when = [(ticks * n_all - n * ticks_all) / (n * n_all) for n, _, ticks in blocks]
    weights = [block.n for block in blocks]
    spread = fsum(n * x * x for n, x in zip(weights, at, strict=True))
    common = fsum(n * x * y for n, x, y in zip(weights, at, when, strict=True))
    if spread <= 0 or common <= 0:
        raise ValueError("no time passes from one interval to the next")
    period = common / spread
    residuals = [(n, y - period * x) for n, x, y in zip(weights, at, when, strict=True)]
    return _Line(period, spread, residuals)


def _short_range(residuals: list[tuple[int, float]]) -> float:
    """Variance of one timestamp, ticks^2, from second differences of neighbouring means: slow changes drop out.

    J. von Neumann, "Distribution of the ratio of the mean square successive difference to the variance", Annals of
    Mathematical Statistics 12 (1941), there with first differences; quoted from memory.
    """
    triples = list(zip(residuals, residuals[1:], residuals[2:], strict=False))
    squares = fsum((before[1] - 2 * at[1] + after[1]) ** 2 for before, at, after in triples)
    return squares / fsum(1 / before[0] + 4 / at[0] + 1 / after[0] for before, at, after in triples)


def _estimate(line: _Line, blocks: list[_Block], variance: float, tick_s: float) -> Estimate:
    """variance: of one timestamp, ticks^2."""
    frequency_hz = 1.0 / (line.period * tick_s)
    relative = sqrt(variance / line.spread) / line.period
    return Estimate(frequency_hz, relative * frequency_hz, sum(block.n for block in blocks) / frequency_hz)
