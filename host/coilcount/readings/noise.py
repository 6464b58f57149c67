"""Median and noise of any number of readings.  The memory is bounded."""

from array import array
from collections import deque
from math import sqrt

# All chosen by hand, but for _MEDIAN_IN_SIGMA.
BLOCK = 25  # readings to which one line is fitted: half a second at 50 a second
MOST_KEPT = 65_536  # readings that are kept: 22 minutes at 50 a second before the first thinning
_FEWEST = 5  # readings in all for which a noise is given
_RECENT_BLOCKS = 9  # blocks that count as recent
# Median of |x| of a normal distribution, in sigma.
_MEDIAN_IN_SIGMA = 0.6744897501960817


class Noise:
    """Call push() with readings at one spacing, and cut() if some are missing.

    A straight line is fitted to each block of 25 readings in a row.  The residuals times sqrt(n / (n - 2)) are the
    scatter of one reading.  The noise sigma is their median absolute value over 0.6745.  For white noise of the
    frequency it is the standard deviation of one reading.  A pass or a miscount lasts less than half a second and does
    not reach the median.

    Whole blocks are kept.  When 65,536 readings are kept, every second block is dropped, and from then on only every
    second block is kept, later every fourth, and so on.
    """

    def __init__(self) -> None:
        self._block: list[float] = []
        self._values = array("d")
        self._residuals = array("d")
        self._stride = 1
        self._skipped = 0
        self._recent: deque[float] = deque(maxlen=_RECENT_BLOCKS)
        self._weights = _weights(BLOCK)

    def push(self, frequency_hz: float) -> None:
        """Take one reading in Hz."""
        block = self._block
        block.append(frequency_hz)
        if len(block) == BLOCK:
            self._end_block()

    def cut(self) -> None:
        """Readings are missing here: drop those of the unfinished block."""
        self._block.clear()

    @property
    def recent_ppm(self) -> float | None:
        """The noise sigma over the latest blocks, in ppm; None before the first block."""
        if not self._recent:
            return None
        return sorted(self._recent)[len(self._recent) // 2]

    def result(self) -> tuple[float | None, float | None]:
        """Return (median in Hz, noise sigma in ppm) of all readings so far.  Each is None if there are too few."""
        values, residuals = self._values, self._residuals
        if not values:  # no block is complete
            values = array("d", self._block)
            if len(values) >= _FEWEST:
                residuals = _residuals(self._block, _weights(len(self._block)))
        if not values:
            return None, None
        median_hz = _median(values)
        if not residuals:
            return median_hz, None
        return median_hz, _sigma(residuals) / median_hz * 1e6

    def _end_block(self) -> None:
        block = self._block
        residuals = _residuals(block, self._weights)
        self._recent.append(_sigma(residuals) / block[0] * 1e6)
        self._skipped += 1
        if self._skipped >= self._stride:
            self._skipped = 0
            self._values.extend(block)
            self._residuals.extend(residuals)
            if len(self._values) + BLOCK > MOST_KEPT:
                self._values = _every_second_block(self._values)
                self._residuals = _every_second_block(self._residuals)
                self._stride *= 2
        block.clear()


def _weights(n: int) -> list[float]:
    """Return the weights of a least-squares slope over n evenly spaced values."""
    middle = (n - 1) / 2
    spread = n * (n * n - 1) / 12
    return [(k - middle) / spread for k in range(n)]


def _residuals(values: list[float], weights: list[float]) -> array:
    """Return what is left of the values around their line, times sqrt(n / (n - 2))."""
    n = len(values)
    slope = sum([weight * value for weight, value in zip(weights, values, strict=True)])
    start = sum(values) / n - slope * (n - 1) / 2
    scale = sqrt(n / (n - 2))
    return array("d", [(value - start - slope * k) * scale for k, value in enumerate(values)])


def _sigma(residuals: array) -> float:
    return _median([abs(residual) for residual in residuals]) / _MEDIAN_IN_SIGMA


def _median(values) -> float:
    ordered = sorted(values)
    middle = len(ordered) // 2
    return ordered[middle] if len(ordered) % 2 else (ordered[middle - 1] + ordered[middle]) / 2


def _every_second_block(values: array) -> array:
    kept = array("d")
    for start in range(0, len(values), 2 * BLOCK):
        kept.extend(values[start : start + BLOCK])
    return kept
