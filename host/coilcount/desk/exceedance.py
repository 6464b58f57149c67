"""How often the statistic goes beyond a level by itself: peaks of a recording with nothing in it, and their tail.

The peaks are the scores of the alerts that the tracker tells at a low threshold, so they are merged as alerts are.
Above u, the k-th largest, k = the upper 40 % and at least 12, they come at k / minutes, and the excess of z over u (or
of z^2 over u^2, which is a Gaussian's tail) is exponential: peaks over a threshold, J. Pickands, Annals of Statistics
3, 119 (1975), without its shape parameter.  So the threshold is u + mean(z - u) ln((k / minutes) / wanted rate).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, inf, log, sqrt

import numpy as np
from scipy.optimize import brentq, minimize_scalar
from scipy.special import gammaincinv

from coilcount.tracker.defaults import DEFAULTS

PEAKS_FROM = 2.5  # z
SHARE, FEWEST = 0.4, 12
# z^2 only where it is this much (in log likelihood) the better of the two: on simulated ground (5 minutes, ten kinds,
# thresholds for 0.1 a minute tried on the other recordings) z gave .04 to .24 a minute, z^2 .13 to .37.
GAUSSIAN_BY = 2.0
# A peak of which the tail of the bulk expects fewer than STRANGE in the whole recording is something; beside one, so
# are those of which it expects fewer than ALSO.  Of 50 simulated recordings (5 minutes of five kinds of ground that is
# not quiet) with nothing in them the strangest had 2e-4; an object with a score of 13 was told on nine of ten lawns,
# with one of 30 on all beds.
STRANGE, ALSO = 1e-4, 0.05
# Nor does noise that is scaled by itself come to four times the default threshold so often: roughly swept ground did up
# to 1.4 times a minute, recordings that are full of objects 5 times.
GIANT, GIANTS_A_MINUTE, FEWEST_GIANTS = 4 * DEFAULTS["threshold"], 2.0, 3
HALF_LIKELIHOOD = 1.9207  # half of chi-squared's 95 % point with one degree of freedom
SIGMAS, FACTOR = 1.96, 3.0  # a promise: the 95 % interval of the rate lies within this factor


@dataclass(frozen=True, slots=True)
class Peak:
    """One alert at the low threshold: when, and z with the sign of the shift."""

    time_s: float
    z: float
    shift_hz: float


@dataclass(frozen=True, slots=True)
class Tail:
    """Peaks beyond z: `rate_at_start` exp(-(g(z) - g(start)) / scale) a minute, g(z) = z ** power."""

    start: float
    scale: float
    power: int
    count: int  # peaks beyond start, on which it rests
    minutes: float
    peaks: tuple[float, ...]  # all |z|, largest first

    @property
    def rate_at_start(self) -> float:
        """Peaks a minute beyond `start`."""
        return self.count / self.minutes

    @property
    def highest_rate(self) -> float:
        """Peaks a minute at the lowest level: no threshold gives more."""
        return len(self.peaks) / self.minutes

    def rate(self, z: float) -> float:
        """Peaks a minute beyond z: counted up to `start`, by the tail beyond."""
        if z <= self.start:
            return sum(one >= z for one in self.peaks) / self.minutes
        return self.rate_at_start * exp(-self._excess(z) / self.scale)

    def threshold(self, per_minute: float) -> float:
        """The level that is exceeded so often.  Raises ValueError where there are fewer peaks than that in all."""
        if per_minute > self.highest_rate:
            raise ValueError("more often than there are peaks")
        if per_minute >= self.rate_at_start:
            return self.peaks[max(0, int(per_minute * self.minutes + 1e-9) - 1)]
        beyond = self.scale * log(self.rate_at_start / per_minute)
        return (self.start**self.power + beyond) ** (1 / self.power)

    def interval(self, z: float) -> tuple[float, float]:
        """95 % interval of the rate beyond z: Poisson's where peaks are counted, of the profile likelihood beyond."""
        if z <= self.start:
            return poisson_interval(sum(one >= z for one in self.peaks), self.minutes)
        best = self.rate(z)
        excess = self._excess(z)
        top = self._profile(log(best), excess)

        def outside(log_rate: float) -> float:
            return top - self._profile(log_rate, excess) - HALF_LIKELIHOOD

        middle = log(best)
        return exp(brentq(outside, middle - 60, middle)), exp(brentq(outside, middle, log(self.rate_at_start) + 10))

    @property
    def promised(self) -> float | None:
        """The lowest rate a minute whose interval lies within a factor of 3; None where too few peaks are there.

        variance of ln(rate) = (1 + L^2) / k, L = ln(rate_at_start / rate).
        """
        room = self.count * (log(FACTOR) / SIGMAS) ** 2 - 1
        return None if room < 0 else self.rate_at_start * exp(-sqrt(room))

    def minutes_for(self, per_minute: float) -> float:
        """How long a recording of this ground must be for a promise of so many a minute."""
        steps = max(0.0, log(self.rate_at_start / per_minute))
        return (1 + steps**2) * (SIGMAS / log(FACTOR)) ** 2 / self.rate_at_start

    def _excess(self, z: float) -> float:
        return z**self.power - self.start**self.power

    def _profile(self, log_rate: float, excess: float) -> float:
        """Log likelihood of a rate beyond `excess`, with the rate at the start that suits it best."""
        k = self.count

        def loss(log_start: float) -> float:
            scale = excess / (log_start - log_rate)
            return -(k * log_start - exp(log_start) * self.minutes - k * log(scale) - k * self.scale / scale)

        low = max(log_rate, log(self.rate_at_start) - 10) + 1e-9
        return -minimize_scalar(loss, bounds=(low, max(low, log(self.rate_at_start)) + 10), method="bounded").fun


def fit(peaks: Sequence[float], minutes: float) -> Tail | None:
    """The tail of |z|; None where there are fewer than 12 peaks."""
    z = np.sort(np.abs(np.asarray(peaks, float)))[::-1]
    if len(z) < FEWEST or minutes <= 0:
        return None
    k = max(FEWEST, int(np.ceil(SHARE * len(z))))
    start, top = float(z[k - 1]), z[:k]
    linear, square = float(np.mean(top - start)), float(np.mean(top**2 - start**2))
    if linear <= 0:
        return None
    # Densities exp(-(z - u) / b) / b and 2 z exp(-(z^2 - u^2) / b) / b; the exponents come to -k in both.
    better = float(np.sum(np.log(2 * top / square))) + k * log(linear)
    power, scale = (2, square) if better > GAUSSIAN_BY else (1, linear)
    return Tail(start, scale, power, k, minutes, tuple(float(one) for one in z))


def strange(peaks: Sequence[Peak], minutes: float) -> list[Peak]:
    """What a recording with nothing in it would not hold, in the order of time; empty where it is clean.

    The bulk's tail is an exponential in |z|, through the median or the upper fifth, whichever is the longer: neither
    is moved by some objects.
    """
    sizes = np.array([abs(one.z) for one in peaks])
    giants = np.count_nonzero(sizes >= GIANT)
    if len(peaks) < FEWEST:
        return [one for one in peaks if abs(one.z) >= GIANT]
    beyond = sizes - PEAKS_FROM
    scale = max(1e-6, *(float(np.quantile(beyond, share)) / -log(1 - share) for share in (0.5, 0.8)))
    expected = len(peaks) * np.exp(-beyond / scale)
    full = giants >= FEWEST_GIANTS and giants > GIANTS_A_MINUTE * minutes
    if expected.min() >= STRANGE and not full:
        return []
    found = (expected < ALSO) | (full & (sizes >= GIANT / 2))
    return sorted((one for one, is_one in zip(peaks, found, strict=True) if is_one), key=lambda one: one.time_s)


def poisson_interval(count: int, minutes: float) -> tuple[float, float]:
    """95 % interval of a rate from a count (F. Garwood, Biometrika 28, 437, 1936)."""
    if minutes <= 0:
        return 0.0, inf
    low = float(gammaincinv(count, 0.025)) if count else 0.0
    return low / minutes, float(gammaincinv(count + 1, 0.975)) / minutes
