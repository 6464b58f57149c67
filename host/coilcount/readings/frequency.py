"""Frequency and its standard uncertainty from interval sums.

An interval is (first_edge, n, t_first, s).  Its edges are first_edge .. first_edge + n - 1.  t_first is the timestamp
of the first in ticks, and s is the sum of (t - t_first) over all n.  Edge numbers and times are unwrapped.

Every timestamp has the error sx, with sx^2 = q^2 / 12 + jitter^2, where q is the tick.  It is independent from edge to
edge.  With N edges over the time T:

- two averages over halves: u(f) / f = 4 sx / (T sqrt(N));
- regression over every edge: u(f) / f = sqrt(12) sx / (T sqrt(N));
- regression over the means of B equal blocks: 1 / sqrt(1 - 1/B^2) times that.  For five blocks it is 2.1 % more, and
  for two blocks it is the same as two averages.

Sources, both quoted from memory: E. Rubiola, "On the measurement of frequency and of its sample variance with
high-resolution counters", Review of Scientific Instruments 76, 054703 (2005), the lambda counter there; E. Rubiola,
M. Lenczner, P.-Y. Bourgeois and F. Vernotte, "The Omega counter, a frequency counter based on the linear regression",
IEEE Transactions on Ultrasonics, Ferroelectrics, and Frequency Control 63 (2016).  If there is no jitter, and the ratio
of period and tick is within 1e-6 of a ratio of small whole numbers, the error does not average down.

The computation uses whole numbers up to the distances of the means from their common mean.  Those are small enough for
floats.
"""

from collections.abc import Sequence
from itertools import pairwise
from math import fsum, sqrt
from typing import NamedTuple

# Intervals that a regression needs.  Chosen by hand: five means reach 1.021 of the bound (see above).
REGRESSION_AT_LEAST = 5
# Intervals from which on timing noise and wander can be told apart.  Chosen by hand.
_SHORT_RANGE_AT_LEAST = 10
# Equal parts of the time, whose residuals show the wander.  Chosen by hand.
_GROUPS = 5
# Factor on the variance of the wander.  It is for flicker of the frequency: an Allan deviation that stays flat, as that
# of a free-running oscillator does.  There the slope changes from one window to the next by 20 times the variance that
# independent residuals of five parts would give.  Computed (Monte Carlo, not repeated here; tests/bench/resolution.py
# prints how often the uncertainty holds).  For white noise of the frequency the factor would be 73/9 (means of a
# Brownian motion).
_FLICKER = 20.0


class Sums(NamedTuple):
    """One interval.  first_edge and t_first (ticks) are unwrapped.  n: edges.  s: in ticks."""

    first_edge: int
    n: int
    t_first: int
    s: int


class Estimate(NamedTuple):
    """A frequency, its standard uncertainty, and the time over which it was measured."""

    frequency_hz: float
    uncertainty_hz: float
    span_s: float


class _Block(NamedTuple):
    """Edges that give one mean: their number, twice the sum of their edge numbers, and the sum of their ticks."""

    n: int
    edges2: int
    ticks: int


class _Line(NamedTuple):
    """A least-squares line through the means of blocks."""

    period: float  # ticks
    spread: float  # sum of n (mean edge - common mean edge)^2
    residuals: list[tuple[int, float]]  # of each block: n, and its mean time minus that of the line, in ticks


def timestamp_error_s(tick_s: float, jitter_s: float = 0.0) -> float:
    """Return the standard uncertainty of one timestamp in s.

    It has two parts: the rectangular distribution within a tick of tick_s, and the edge's own jitter_s (rms).
    """
    return sqrt(tick_s * tick_s / 12.0 + jitter_s * jitter_s)


def two_averages(intervals: Sequence[Sums], tick_s: float, jitter_s: float = 0.0) -> Estimate:
    """Return the frequency from the mean of the first half of the intervals to the mean of the second half.

    intervals: an even number of neighbours.  tick_s, jitter_s: as in timestamp_error_s().
    For two intervals it is the difference of neighbouring means, which the tracker uses.  Two means leave no residuals,
    so the uncertainty is that of the timestamps alone.
    Raises ValueError for an odd number, for fewer than two, or for an interval without edges.
    """
    if len(intervals) < 2 or len(intervals) % 2:
        raise ValueError("two averages need an even number of intervals")
    blocks = _blocks(intervals)
    line = _fit(_grouped(blocks, 2))
    return _estimate(line, blocks, (timestamp_error_s(tick_s, jitter_s) / tick_s) ** 2, tick_s)


def regression(intervals: Sequence[Sums], tick_s: float, jitter_s: float = 0.0) -> Estimate:
    """Return the frequency by least squares over the (mean edge, mean time) of at least five intervals.

    intervals: neighbours, each weighted by its number of edges.  tick_s, jitter_s: as in timestamp_error_s().
    The variance of a timestamp, from which the uncertainty follows, has two parts:

    - timing: q^2/12 + jitter^2.  The jitter is seldom known, so from ten intervals on the second differences of
      neighbouring means are used if they show more.
    - wander of the coil: the mean square of the residuals of five equal parts of the time around their own line, minus
      the timing.  These residuals are not independent, and move the slope more than independent ones would.  For
      flicker of the frequency that is 20 times as much in variance.

    The uncertainty is the scatter of a repeat just after.  It comes from at most three degrees of freedom.  Shares of
    the repeats within it, by tests/bench/resolution.py (computation):

        noise                       within 1 u    within 2 u
        flicker of the frequency    57 %          81 %
        white noise of frequency    76 %          94 %
        jitter alone                79 %          97 %

    Drift and a passing object make it larger.  With fewer than ten intervals and no jitter given, timing noise beyond
    the tick counts as wander, and the uncertainty is up to 4.5 times too large.
    Raises ValueError for fewer than five intervals, or for one without edges.
    """
    if len(intervals) < REGRESSION_AT_LEAST:
        raise ValueError("a regression needs at least five intervals")
    blocks = _blocks(intervals)
    line = _fit(blocks)
    timing = (timestamp_error_s(tick_s, jitter_s) / tick_s) ** 2
    if len(blocks) >= _SHORT_RANGE_AT_LEAST:
        timing = max(timing, _short_range(line.residuals))
    parts = _fit(_grouped(blocks, _GROUPS)).residuals
    mean_square = fsum(n * residual * residual for n, residual in parts) / (_GROUPS - 2)
    wander = _FLICKER * max(0.0, mean_square - timing)
    return _estimate(line, blocks, timing + wander, tick_s)


def neighbours_ppm(frequency_hz: float, interval_s: float, tick_s: float, jitter_s: float = 0.0) -> float:
    """Return u(f) / f in ppm for two_averages() over two neighbouring intervals of interval_s each."""
    edges = max(1.0, frequency_hz * interval_s)
    return 1e6 * sqrt(2.0 / edges) * timestamp_error_s(tick_s, jitter_s) / interval_s


def _blocks(intervals: Sequence[Sums]) -> list[_Block]:
    """Return a block for each interval, with edge numbers and ticks counted from the first edge."""
    if any(interval.n < 1 for interval in intervals):
        raise ValueError("an interval without edges has no mean")
    edge, tick = intervals[0].first_edge, intervals[0].t_first
    return [_Block(n, n * (2 * (first - edge) + n - 1), n * (t - tick) + s) for first, n, t, s in intervals]


def _grouped(blocks: list[_Block], count: int) -> list[_Block]:
    """Return `count` groups of neighbouring blocks, as equal as possible.  Sums add up exactly."""
    bounds = [index * len(blocks) // count for index in range(count + 1)]
    groups = [blocks[begin:end] for begin, end in pairwise(bounds)]
    return [_Block(*(sum(column) for column in zip(*group, strict=True))) for group in groups]


def _fit(blocks: list[_Block]) -> _Line:
    n_all, edges2_all, ticks_all = (sum(column) for column in zip(*blocks, strict=True))
    # Exact up to these divisions, because each numerator is a whole number.
    edges = [(edges2 * n_all - n * edges2_all) / (2 * n * n_all) for n, edges2, _ in blocks]
    times = [(ticks * n_all - n * ticks_all) / (n * n_all) for n, _, ticks in blocks]
    weights = [block.n for block in blocks]
    spread = fsum(n * x * x for n, x in zip(weights, edges, strict=True))
    common = fsum(n * x * y for n, x, y in zip(weights, edges, times, strict=True))
    if spread <= 0 or common <= 0:
        raise ValueError("no time passes from one interval to the next")
    period = common / spread
    residuals = [(n, y - period * x) for n, x, y in zip(weights, edges, times, strict=True)]
    return _Line(period, spread, residuals)


def _short_range(residuals: list[tuple[int, float]]) -> float:
    """Return the variance of one timestamp in ticks^2, from second differences of neighbouring means.

    Slow changes drop out of these.  Source: J. von Neumann, "Distribution of the ratio of the mean square successive
    difference to the variance", Annals of Mathematical Statistics 12 (1941), there with first differences; quoted from
    memory.
    """
    triples = list(zip(residuals, residuals[1:], residuals[2:], strict=False))
    squares = fsum((before[1] - 2 * middle[1] + after[1]) ** 2 for before, middle, after in triples)
    return squares / fsum(1 / before[0] + 4 / middle[0] + 1 / after[0] for before, middle, after in triples)


def _estimate(line: _Line, blocks: list[_Block], variance: float, tick_s: float) -> Estimate:
    """Return the estimate of a line.  variance: of one timestamp, ticks^2."""
    frequency_hz = 1.0 / (line.period * tick_s)
    relative = sqrt(variance / line.spread) / line.period
    return Estimate(frequency_hz, relative * frequency_hz, sum(block.n for block in blocks) / frequency_hz)
