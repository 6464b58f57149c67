"""Median and noise of any number of readings, in bounded memory."""

from array import array
from collections import deque
from math import sqrt

BLOCK = 25  # readings: half a second at 50 a second
MOST_KEPT = 65_536  # readings; 22 minutes at 50 a second before the first halving
_FEWEST = 5  # readings that a line leaves something of
# Median of |x| of a normal distribution, in sigma.
_MEDIAN_IN_SIGMA = 0.6744897501960817
_RECENT_BLOCKS = 9


class Noise:
    """Feed frequencies in Hz at one spacing; cut() where readings are missing.

    A straight line is fitted to each block of 25 consecutive readings; the residuals times sqrt(n / (n - 2)) are what
    one reading does by itself.  `sigma_ppm` is their median absolute value over 0.6745, relative to `median_hz`.  For
    white frequency noise it is the standard deviation of one reading; what moves within half a second (a pass, a
    miscount) does not reach the median.  Whole blocks are kept, every one at first; whenever 65,536 readings are kept,
    every second block is let go and only every second, fourth, ... of those to come is kept.
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
        """One reading."""
        block = self._block
        block.append(frequency_hz)
        if len(block) == BLOCK:
            self._end_block()

    def cut(self) -> None:
        """What comes next is not the neighbour of what was: the readings of an unfinished block are let go."""
        self._block.clear()

    @property
    def recent_ppm(self) -> float | None:
        """The same sigma over the last few blocks, for the screen; None before the first block."""
        if not self._recent:
            return None
        return sorted(self._recent)[len(self._recent) // 2]

    def result(self) -> tuple[float | None, float | None]:
        """(median_hz, sigma_ppm) of all so far; None where nothing, or too little, was seen."""
        values, residuals = self._values, self._residuals
        if not values:  # less than a block in all
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
    """Weights of a least-squares slope over n evenly spaced values."""
    middle = (n - 1) / 2
    spread = n * (n * n - 1) / 12
    return [(k - middle) / spread for k in range(n)]


def _residuals(values: list[float], weights: list[float]) -> array:
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
