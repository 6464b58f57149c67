"""The board's crystal against the host's clock: a regression over the records that came with the least delay."""

from collections.abc import Iterable, Sequence
from math import sqrt
from statistics import median
from typing import NamedTuple

from coilwire import records

# Of the records of so long, the one with the least delay counts: USB and the system only ever add delay.
BIN_S = 1.0
_FEWEST_BINS = 4
# Bins in which every record was late lie far off the line.
_OUTLIER_SIGMA = 4.0
_LEAST_LIMIT_S = 1e-5  # host times are rounded to a microsecond
_MAD_IN_SIGMA = 1.4826  # 1 / 0.6745, normal distribution


class ClockRatio(NamedTuple):
    """ppm: how much faster the board's clock runs than the host's; its standard uncertainty; the time spanned.

    The uncertainty is of the regression alone: what the host's own clock is off comes on top.
    """

    ppm: float
    uncertainty_ppm: float
    span_s: float
    bins: int


def clock_pairs(heard: Iterable[tuple[float, object]], tick_s: float) -> list[tuple[float, float]]:
    """(host_s, board_s) of the longest run of intervals on one time base.

    heard: (host_s, wire record).  An interval is sent when it ends, a constant time after its first edge.
    """
    runs: list[list[tuple[float, float]]] = [[]]
    last = ticks = 0
    for host_s, record in heard:
        if isinstance(record, records.Hello) and record.uptime_ms < 1000:
            runs.append([])
        if not isinstance(record, records.Interval):
            continue
        if record.flags & (records.FLAG_NEW_TIME_BASE | records.FLAG_STALL):
            runs.append([])
        if not runs[-1]:
            ticks = 0
        else:
            ticks += (record.t_first - last) % records.U32
        last = record.t_first
        runs[-1].append((host_s, ticks * tick_s))
    return max(runs, key=lambda run: run[-1][1] if run else 0.0)


def compare(pairs: Sequence[tuple[float, float]]) -> ClockRatio | None:
    """The ratio of the clocks by least squares, or None where the pairs span less than four seconds.

    With delay d = host - board and board time t, the slope of d over t is -ppm / 1e6; its standard uncertainty is
    s / sqrt(sum (t - mean t)^2) with s^2 the residuals' sum of squares over n - 2 (the textbook's formula).
    """
    least: dict[int, tuple[float, float]] = {}
    for host_s, board_s in pairs:
        number = int(board_s / BIN_S)
        delay = host_s - board_s
        if number not in least or delay < least[number][1]:
            least[number] = (board_s, delay)
    points = list(least.values())
    if len(points) < _FEWEST_BINS:
        return None
    points = _without_outliers(points)
    slope, residuals = _line(points)
    mean = sum(t for t, _ in points) / len(points)
    spread = sum((t - mean) ** 2 for t, _ in points)
    variance = sum(residual * residual for residual in residuals) / (len(points) - 2)
    return ClockRatio(-1e6 * slope, 1e6 * sqrt(variance / spread), points[-1][0] - points[0][0], len(points))


def _without_outliers(points: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Those near a line that a quarter of wild points cannot move: the median of the slopes over half the span."""
    half = len(points) // 2
    slope = median(
        (after[1] - before[1]) / (after[0] - before[0])
        for before, after in zip(points[:half], points[-half:], strict=True)
    )
    level = median(d - slope * t for t, d in points)
    residuals = [abs(d - level - slope * t) for t, d in points]
    limit = max(_LEAST_LIMIT_S, _OUTLIER_SIGMA * _MAD_IN_SIGMA * median(residuals))
    kept = [point for point, residual in zip(points, residuals, strict=True) if residual <= limit]
    return kept if len(kept) >= _FEWEST_BINS else points


def _line(points: Sequence[tuple[float, float]]) -> tuple[float, list[float]]:
    """(slope, residuals) of the least-squares line."""
    n = len(points)
    mean_t = sum(t for t, _ in points) / n
    mean_d = sum(d for _, d in points) / n
    slope = sum((t - mean_t) * (d - mean_d) for t, d in points) / sum((t - mean_t) ** 2 for t, _ in points)
    return slope, [d - mean_d - slope * (t - mean_t) for t, d in points]
