"""Allan, overlapping Allan, modified Allan and Hadamard deviation, from phase in segments and never across a gap.

Definitions: W. J. Riley, "Handbook of Frequency Stability Analysis", NIST Special Publication 1065 (2008), section 5.2,
with tau = m tau0.  Phase is the time error x in s: x(t + tau) - x(t) is tau times the mean fractional frequency.  A
segment is an array of evenly spaced x, nan for a lost reading.  The sums of squares and the numbers of terms of all
segments are added, so the weight of a segment is its number of terms.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaincinv

from coilcount.desk.confidence import degrees_of_freedom, noise_exponent

Segments = Sequence[NDArray]
CONFIDENCE = 0.95
BLOCK = 1 << 16  # terms that are processed together; keeps memory flat, chosen by hand
SECOND, THIRD = (1, -2, 1), (1, -3, 3, -1)  # weights of second and third differences, the newest phase first
FEWEST_TERMS = 3  # a deviation from fewer differences is too uncertain to show; chosen by hand

# Exponent alpha of S_y(f) = h f^alpha.
NOISE_NAMES = {
    2: "white PM",
    1: "flicker PM",
    0: "white FM",
    -1: "flicker FM",
    -2: "random walk FM",
}


class Terms(NamedTuple):
    """A variance (the deviation squared), and the number of terms in each segment."""

    variance: float
    counts: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Deviation:
    """A fractional deviation with the ends of its 95 % interval; nan if no terms are left."""

    value: float
    low: float
    high: float
    terms: int
    degrees_of_freedom: float


@dataclass(frozen=True, slots=True)
class Row:
    """All deviations at one averaging time.

    alpha: exponent of the dominating noise, None if no averaging time shows it.  alpha_measured: True if it was found
    at this tau.  It is False if fewer than 30 averages are left, so that alpha comes from the next shorter tau.
    """

    tau_s: float
    m: int
    adev: Deviation
    oadev: Deviation
    mdev: Deviation
    hdev: Deviation
    alpha: int | None
    alpha_measured: bool

    @property
    def noise(self) -> str:
        """Name of the dominating noise."""
        return "unknown" if self.alpha is None else NOISE_NAMES[self.alpha]


def phase(y: NDArray, tau0_s: float) -> NDArray:
    """Compute the time error x in s, (n + 1,), of n successive mean fractional frequencies."""
    return np.concatenate([[0.0], np.cumsum(np.asarray(y, float) * tau0_s)])


def adev(segments: Segments, tau0_s: float, m: int) -> Terms:
    """Compute the Allan variance without overlap: SP 1065 eq. 8."""
    return _mean_square([_differences(x, m, m, SECOND) for x in segments], 2 * (m * tau0_s) ** 2)


def oadev(segments: Segments, tau0_s: float, m: int) -> Terms:
    """Compute the overlapping Allan variance: SP 1065 eq. 11."""
    return _mean_square([_differences(x, m, 1, SECOND) for x in segments], 2 * (m * tau0_s) ** 2)


def hdev(segments: Segments, tau0_s: float, m: int) -> Terms:
    """Compute the overlapping Hadamard variance, which a steady drift does not change: SP 1065 eq. 18."""
    return _mean_square([_differences(x, m, 1, THIRD) for x in segments], 6 * (m * tau0_s) ** 2)


def mdev(segments: Segments, tau0_s: float, m: int, means: Sequence["MovingMean"] | None = None) -> Terms:
    """Compute the modified Allan variance: SP 1065 eq. 15.

    means: the moving means of the same segments, which save time if several m are wanted.
    """
    means = [MovingMean(x) for x in segments] if means is None else means
    return _mean_square([mean.differences(m) for mean in means], 2 * (m * tau0_s) ** 2)


def octaves(segments: Segments) -> list[int]:
    """List the averaging factors 1, 2, 4, ... that leave at least three overlapping terms."""
    longest = max((len(x) for x in segments), default=0)
    found, m = [], 1
    while longest - 2 * m >= FEWEST_TERMS:
        found.append(m)
        m *= 2
    return found


def table(segments: Segments, tau0_s: float, factors: Sequence[int] | None = None) -> list[Row]:
    """Make a row for each averaging factor that leaves at least three terms.

    tau0_s: spacing of the phases; factors: None for octaves.
    """
    rows: list[Row] = []
    alpha = None
    means = [MovingMean(x) for x in segments]
    for m in octaves(segments) if factors is None else factors:
        overlapping = oadev(segments, tau0_s, m)
        if sum(overlapping.counts) < FEWEST_TERMS:
            continue
        found = noise_exponent(segments, m)
        alpha = alpha if found is None else found
        sizes = [len(x) for x in segments]

        def made(terms: Terms, kind: str, m: int = m, alpha: int | None = alpha, sizes: list[int] = sizes) -> Deviation:
            # If the noise type is unknown, white FM is assumed, because it lies between the others.
            return _with_interval(terms, lambda n: degrees_of_freedom(kind, alpha or 0, m, n), sizes)

        rows.append(
            Row(
                m * tau0_s,
                m,
                made(adev(segments, tau0_s, m), "adev"),
                made(overlapping, "oadev"),
                made(mdev(segments, tau0_s, m, means), "mdev"),
                made(hdev(segments, tau0_s, m), "hdev"),
                alpha,
                found is not None,
            )
        )
    return rows


def blocks(count: int, stride: int = 1) -> Iterator[tuple[int, int]]:
    """Starts and ends of pieces of 0 .. count.  All but the last have about BLOCK terms, a multiple of `stride`."""
    step = max(stride, BLOCK // stride * stride)
    return ((start, min(start + step, count)) for start in range(0, count, step))


def _differences(x: NDArray, m: int, stride: int, weights: tuple[int, ...]) -> Iterator[NDArray]:
    """Every `stride`-th weighted sum of phases m apart, in pieces to keep memory flat."""
    lags = range((len(weights) - 1) * m, -1, -m)
    for start, end in blocks(len(x) - lags[0], stride):
        yield sum(weight * x[start + lag : end + lag : stride] for weight, lag in zip(weights, lags, strict=True))


class MovingMean:
    """Moving means of the phases in one segment, from one cumulative sum.  A mean over a nan is nan."""

    def __init__(self, x: NDArray) -> None:
        count = sum(int(np.count_nonzero(~np.isnan(x[start:end]))) for start, end in blocks(len(x)))
        self._size = len(x)
        # Sums are taken of deviations from the mean of the segment, so that the cumulative sum loses no digits.
        total = sum(float(np.nansum(x[start:end])) for start, end in blocks(len(x)))
        self._level = total / count if count else 0.0
        self._sums = np.zeros(len(x) + 1)
        self._missing = None if count == len(x) else np.zeros(len(x) + 1, np.int32)
        for start, end in blocks(len(x)):
            part = x[start:end] - self._level
            lost = np.isnan(part)
            part[lost] = 0.0
            part[0] += self._sums[start]
            np.cumsum(part, out=self._sums[start + 1 : end + 1])
            if self._missing is not None:
                self._missing[start + 1 : end + 1] = self._missing[start] + np.cumsum(lost)

    def differences(self, m: int) -> Iterator[NDArray]:
        """Second differences of means over m phases that lie m apart, in pieces."""
        for start, end in blocks(self._size - 3 * m + 1):
            weighted = zip(SECOND, (2 * m, m, 0), strict=True)
            yield sum(weight * self._mean(start + lag, end + lag, m) for weight, lag in weighted)

    def _mean(self, start: int, end: int, m: int) -> NDArray:
        mean = self._level + (self._sums[start + m : end + m] - self._sums[start:end]) / m
        if self._missing is not None:
            mean[self._missing[start + m : end + m] != self._missing[start:end]] = np.nan
        return mean


def _mean_square(segments: Sequence[Iterable[NDArray]], divisor: float) -> Terms:
    """The mean square of all differences over `divisor`; the differences of each segment come in pieces."""
    counts = []
    total = 0.0
    for parts in segments:
        count = 0
        for part in parts:
            known = part[~np.isnan(part)]
            count += len(known)
            total += float(known @ known)
        counts.append(count)
    return Terms(total / sum(counts) / divisor if sum(counts) else np.nan, tuple(counts))


def _with_interval(terms: Terms, freedom_of: Callable[[int], float], sizes: Sequence[int]) -> Deviation:
    """A deviation with its interval.  The segments are independent, so the variances of their means add."""
    total = sum(terms.counts)
    if not total:
        return Deviation(np.nan, np.nan, np.nan, 0, np.nan)
    inverse = sum(n * n / freedom_of(size) for n, size in zip(terms.counts, sizes, strict=True) if n) / total**2
    freedom = 1 / inverse
    value = np.sqrt(terms.variance)
    outside = (1 - CONFIDENCE) / 2
    # Two quantiles of chi-squared.
    most, least = 2 * gammaincinv(freedom / 2, 1 - outside), 2 * gammaincinv(freedom / 2, outside)
    low, high = value * np.sqrt(freedom / most), value * np.sqrt(freedom / least)
    return Deviation(float(value), float(low), float(high), total, float(freedom))
