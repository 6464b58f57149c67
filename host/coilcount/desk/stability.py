"""Allan, overlapping Allan, modified Allan and Hadamard deviation of phase in segments, never across a gap.

Definitions: W. J. Riley, "Handbook of Frequency Stability Analysis", NIST Special Publication 1065 (2008), section 5.2;
tau = m tau0.  Phase is time error x in s: x(t + tau) - x(t) = tau times the mean fractional frequency.  A segment is an
array of evenly spaced x in which lost readings are nan; the segments' sums of squares and their numbers of terms are
added, so a segment weighs as much as it has terms.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaincinv

from coilcount.desk.confidence import degrees_of_freedom, noise_exponent

Segments = Sequence[NDArray]
CONFIDENCE = 0.95
FEWEST_TERMS = 3  # a deviation of fewer differences says next to nothing

# Exponent alpha of S_y(f) = h f^alpha.
NOISE_NAMES = {
    2: "white PM",
    1: "flicker PM",
    0: "white FM",
    -1: "flicker FM",
    -2: "random walk FM",
}


class Terms(NamedTuple):
    """Mean square of the differences in the deviation's own unit squared, and how many there are in each segment."""

    variance: float
    counts: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Deviation:
    """One value with the ends of its 95 % interval, fractional; nan where too few terms are left."""

    value: float
    low: float
    high: float
    terms: int
    degrees_of_freedom: float


@dataclass(frozen=True, slots=True)
class Row:
    """All deviations at one averaging time.

    alpha: exponent of the noise that dominates, None where no tau tells it yet; alpha_measured: found at this tau, and
    not carried over from the next shorter one because fewer than 30 averages are left.
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
        """The noise's name."""
        return "unknown" if self.alpha is None else NOISE_NAMES[self.alpha]


def phase(y: NDArray, tau0_s: float) -> NDArray:
    """Time error x in s, (n + 1,), of n neighbouring mean fractional frequencies."""
    return np.concatenate([[0.0], np.cumsum(np.asarray(y, float) * tau0_s)])


def adev(segments: Segments, tau0_s: float, m: int) -> Terms:
    """Allan variance, no overlap: SP 1065 eq. 8."""
    return _second(segments, tau0_s, m, m)


def oadev(segments: Segments, tau0_s: float, m: int) -> Terms:
    """Overlapping Allan variance: SP 1065 eq. 11."""
    return _second(segments, tau0_s, m, 1)


def hdev(segments: Segments, tau0_s: float, m: int) -> Terms:
    """Overlapping Hadamard variance, blind to a steady drift: SP 1065 eq. 18."""
    parts = [
        x[3 * m :] - 3 * x[2 * m : -m] + 3 * x[m : -2 * m] - x[: -3 * m] if len(x) > 3 * m else x[:0] for x in segments
    ]
    return _mean_square(parts, 6 * (m * tau0_s) ** 2)


def mdev(segments: Segments, tau0_s: float, m: int) -> Terms:
    """Modified Allan variance: SP 1065 eq. 15."""
    parts = []
    for x in segments:
        if len(x) < 3 * m:
            parts.append(x[:0])
            continue
        mean = _moving_mean(x, m)
        parts.append(mean[2 * m :] - 2 * mean[m:-m] + mean[: -2 * m])
    return _mean_square(parts, 2 * (m * tau0_s) ** 2)


def octaves(segments: Segments) -> list[int]:
    """Averaging factors 1, 2, 4, ... as long as three overlapping terms are left."""
    longest = max((len(x) for x in segments), default=0)
    found, m = [], 1
    while longest - 2 * m >= FEWEST_TERMS:
        found.append(m)
        m *= 2
    return found


def table(segments: Segments, tau0_s: float, factors: Sequence[int] | None = None) -> list[Row]:
    """A row for each averaging factor (octaves where none are given) that leaves three terms."""
    rows: list[Row] = []
    alpha = None
    for m in octaves(segments) if factors is None else factors:
        overlapping = oadev(segments, tau0_s, m)
        if sum(overlapping.counts) < FEWEST_TERMS:
            continue
        found = noise_exponent(segments, m)
        alpha = alpha if found is None else found
        sizes = [len(x) for x in segments]

        def made(terms: Terms, kind: str, m: int = m, alpha: int | None = alpha, sizes: list[int] = sizes) -> Deviation:
            # Where nothing is known of the noise: white FM, which lies between the others.
            return _with_interval(terms, lambda n: degrees_of_freedom(kind, alpha or 0, m, n), sizes)

        rows.append(
            Row(
                m * tau0_s,
                m,
                made(adev(segments, tau0_s, m), "adev"),
                made(overlapping, "oadev"),
                made(mdev(segments, tau0_s, m), "mdev"),
                made(hdev(segments, tau0_s, m), "hdev"),
                alpha,
                found is not None,
            )
        )
    return rows


def _second(segments: Segments, tau0_s: float, m: int, stride: int) -> Terms:
    parts = [(x[2 * m :] - 2 * x[m:-m] + x[: -2 * m])[::stride] if len(x) > 2 * m else x[:0] for x in segments]
    return _mean_square(parts, 2 * (m * tau0_s) ** 2)


def _moving_mean(x: NDArray, m: int) -> NDArray:
    """Means over m neighbours; nan where one of them is."""
    lost = np.isnan(x)
    # From the middle of the segment, so that the cumulative sum loses no digits.
    level = np.nanmean(x) if not lost.all() else 0.0
    sums = np.concatenate([[0.0], np.cumsum(np.where(lost, 0.0, x - level))])
    missing = np.concatenate([[0], np.cumsum(lost)])
    mean = level + (sums[m:] - sums[:-m]) / m
    return np.where(missing[m:] == missing[:-m], mean, np.nan)


def _mean_square(parts: Sequence[NDArray], divisor: float) -> Terms:
    counts = tuple(int(np.count_nonzero(~np.isnan(part))) for part in parts)
    total = sum(float(np.nansum(part**2)) for part in parts)
    return Terms(total / sum(counts) / divisor if sum(counts) else np.nan, counts)


def _with_interval(terms: Terms, freedom_of: Callable[[int], float], sizes: Sequence[int]) -> Deviation:
    """edf of a weighted mean of independent segments: the variances of their means add."""
    total = sum(terms.counts)
    if not total:
        return Deviation(np.nan, np.nan, np.nan, 0, np.nan)
    inverse = sum(n * n / freedom_of(size) for n, size in zip(terms.counts, sizes, strict=True) if n) / total**2
    freedom = 1 / inverse
    value = np.sqrt(terms.variance)
    outside = (1 - CONFIDENCE) / 2
    # Quantiles of chi-squared.
    most, least = 2 * gammaincinv(freedom / 2, 1 - outside), 2 * gammaincinv(freedom / 2, outside)
    low, high = value * np.sqrt(freedom / most), value * np.sqrt(freedom / least)
    return Deviation(float(value), float(low), float(high), total, float(freedom))
