"""Compares the board's crystal with the host's clock: a line through the records that came with the least delay."""

from collections.abc import Iterable, Sequence
from math import sqrt
from statistics import median
from typing import NamedTuple

from coilwire import records

# s.  In each bin of this length only the record with the least delay is used: USB and the operating system only ever
# add delay.  Chosen by hand.
BIN_S = 1.0
# A line through fewer bins says nothing about its own uncertainty.  Chosen by hand.
_MIN_BINS = 4
# Sigma.  A bin further from the line than this is left out: every record in it was late.  Chosen by hand.
_OUTLIER_SIGMA = 4.0
# s.  No bin that is nearer to the line is left out.  Host times are rounded to 1 us; ten times that, chosen by hand.
_MIN_OUTLIER_S = 1e-5
# ms.  A hello with a shorter uptime comes from a board that has just started.  Chosen by hand: a board sends a hello
# when it starts, and the next one ten times as long after that.
_JUST_STARTED_MS = records.HELLO_EVERY_MS // 10
# The standard deviation of a normal distribution in units of its median absolute deviation: 1 / 0.6745.
_SIGMA_PER_MAD = 1.4826


class ClockRatio(NamedTuple):
    """How much faster the board's clock runs than the host's.

    uncertainty_ppm: standard uncertainty of the regression alone; the error of the host's own clock is not in it.
    span_s: time from the first to the last bin; bins: how many bins the line goes through.
    """

    ppm: float
    uncertainty_ppm: float
    span_s: float
    bins: int


def clock_pairs(heard: Iterable[tuple[float, object]], tick_s: float) -> list[tuple[float, float]]:
    """The times of the intervals in the longest run on one time base.

    heard: (host time in s, wire record) in order; tick_s: length of one tick of the board's timestamps.
    Returns (host time in s, board time in s) of each.  An interval is sent when it ends, which is a constant time after
    its first edge: so the time of the first edge serves.
    """
    runs: list[list[tuple[float, float]]] = [[]]
    last_tick = ticks = 0
    for host_s, record in heard:
        # The hello of a board that has just started: its timestamps begin again.
        if isinstance(record, records.Hello) and record.uptime_ms < _JUST_STARTED_MS:
            runs.append([])
        if not isinstance(record, records.Interval):
            continue
        if record.flags & (records.FLAG_NEW_TIME_BASE | records.FLAG_STALL):
            runs.append([])
        if not runs[-1]:
            ticks = 0
        else:
            ticks += (record.t_first - last_tick) % records.U32
        last_tick = record.t_first
        runs[-1].append((host_s, ticks * tick_s))
    return max(runs, key=lambda run: run[-1][1] if run else 0.0)


def compare(pairs: Sequence[tuple[float, float]]) -> ClockRatio | None:
    """The ratio of the clocks by least squares; None if the pairs span less than four seconds.

    pairs: (host time in s, board time in s) in order.
    With delay d = host - board and board time t, the slope of d over t is -ppm / 1e6.  Its standard uncertainty is
    s / sqrt(sum (t - mean t)^2), with s^2 the residuals' sum of squares over n - 2 (ordinary least squares, as in any
    textbook of statistics).
    """
    least_delayed: dict[int, tuple[float, float]] = {}  # by bin: (board time, delay)
    for host_s, board_s in pairs:
        number = int(board_s / BIN_S)
        delay = host_s - board_s
        if number not in least_delayed or delay < least_delayed[number][1]:
            least_delayed[number] = (board_s, delay)
    points = list(least_delayed.values())
    if len(points) < _MIN_BINS:
        return None
    points = _without_outliers(points)
    slope, residuals = _line(points)
    mean = sum(t for t, _ in points) / len(points)
    spread = sum((t - mean) ** 2 for t, _ in points)
    variance = sum(residual * residual for residual in residuals) / (len(points) - 2)
    return ClockRatio(-1e6 * slope, 1e6 * sqrt(variance / spread), points[-1][0] - points[0][0], len(points))


def _without_outliers(points: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """The points near a line that up to a quarter of outliers cannot move.

    points: (time in s, delay in s).  The slope of that line is the median of slopes taken over half the span.  If too
    few points would remain, all are returned.
    """
    half = len(points) // 2
    slope = median(
        (after[1] - before[1]) / (after[0] - before[0])
        for before, after in zip(points[:half], points[-half:], strict=True)
    )
    level = median(d - slope * t for t, d in points)
    residuals = [abs(d - level - slope * t) for t, d in points]
    limit = max(_MIN_OUTLIER_S, _OUTLIER_SIGMA * _SIGMA_PER_MAD * median(residuals))
    kept = [point for point, residual in zip(points, residuals, strict=True) if residual <= limit]
    return kept if len(kept) >= _MIN_BINS else points


def _line(points: Sequence[tuple[float, float]]) -> tuple[float, list[float]]:
    """The slope and the residuals of the least-squares line through (time, delay)."""
    n = len(points)
    mean_t = sum(t for t, _ in points) / n
    mean_d = sum(d for _, d in points) / n
    slope = sum((t - mean_t) * (d - mean_d) for t, d in points) / sum((t - mean_t) ** 2 for t, _ in points)
    return slope, [d - mean_d - slope * (t - mean_t) for t, d in points]
