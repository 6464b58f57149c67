"""How often noise alone exceeds a threshold: peaks of the detection statistic z in a clean recording, and their tail.

The peaks are the scores of the alerts that the tracker raises at a low threshold.  So nearby peaks are merged as alerts
are.  The tail is fitted to the k largest peaks: 40 % of all, at least 12.  Let u be the smallest of them.  Peaks above
u come k / minutes times a minute, and their excess over u is taken as exponential, in z or in z^2 (the tail of a
Gaussian).  The threshold for a wanted rate is then u + mean(z - u) ln((k / minutes) / wanted rate).  Method: peaks over
a threshold, J. Pickands, Annals of Statistics 3, 119 (1975), without its shape parameter.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, log, sqrt

import numpy as np
from scipy.optimize import brentq, minimize_scalar

from coilcount.desk.rates import FACTOR, rate_interval

PEAKS_FROM = 2.5  # sigma: the lowest peak that is used; chosen by hand
SHARE, FEWEST = 0.4, 12  # share and least number of the peaks that make the tail; chosen by hand
# z^2 is used only if its log likelihood is better than that of z by this much; chosen by hand.  From an earlier
# simulation study, not repeated here (5 minutes, ten conditions): with thresholds for 0.1 a minute, z gave 0.04 to 0.24
# false alarms a minute on other recordings, and z^2 gave 0.13 to 0.37.
GAUSSIAN_BY = 2.0
# A recording is not clean if it holds a peak of which the tail of the other peaks expects fewer than STRANGE in the
# whole recording.  Then all peaks of which it expects fewer than ALSO are reported too.  From an earlier simulation
# study, not repeated here: in 50 recordings without objects (5 minutes each, five conditions) the strangest peak had
# 2e-4.  An object with a score of 13 was reported on nine of ten lawns, and one with a score of 30 on all beds.
STRANGE, ALSO = 1e-4, 0.05
# Nor is a recording clean if peaks of GIANT sigma come more often than GIANTS_A_MINUTE, and at least FEWEST_GIANTS
# times.  All chosen by hand.  From the same study: they came up to 1.4 times a minute on roughly swept ground, and 5
# times a minute in recordings full of objects.
GIANT, GIANTS_A_MINUTE, FEWEST_GIANTS = 19.2, 2.0, 3
HALF_LIKELIHOOD = 1.9207  # half of the 95 % point of chi-squared with one degree of freedom
SIGMAS = 1.96  # standard deviations from the middle of a Gaussian to the ends of its 95 % interval


@dataclass(frozen=True, slots=True)
class Peak:
    """One alert at the low threshold: its time, and its z with the sign of the shift."""

    time_s: float
    z: float
    shift_hz: float


@dataclass(frozen=True, slots=True)
class Tail:
    """The fitted tail: peaks above z come rate_at_start exp(-(z ** power - start ** power) / scale) times a minute."""

    start: float  # sigma
    scale: float  # sigma ** power
    power: int  # 1 or 2
    count: int  # peaks above start, which the fit uses
    minutes: float
    peaks: tuple[float, ...]  # all |z|, largest first

    @property
    def rate_at_start(self) -> float:
        """Peaks a minute above `start`."""
        return self.count / self.minutes

    @property
    def highest_rate(self) -> float:
        """Peaks a minute at the lowest level: no threshold gives more."""
        return len(self.peaks) / self.minutes

    def rate(self, z: float) -> float:
        """Compute the peaks a minute above z: counted if z is below `start`, by the fitted tail if it is above."""
        if z <= self.start:
            return sum(peak >= z for peak in self.peaks) / self.minutes
        return self.rate_at_start * exp(-self._excess(z) / self.scale)

    def threshold(self, per_minute: float) -> float:
        """Compute the threshold that gives a wanted rate a minute.  Raises ValueError above `highest_rate`."""
        if per_minute > self.highest_rate:
            raise ValueError("the wanted rate is higher than the rate of all peaks")
        if per_minute >= self.rate_at_start:
            return self.peaks[max(0, int(per_minute * self.minutes + 1e-9) - 1)]
        excess = self.scale * log(self.rate_at_start / per_minute)
        return (self.start**self.power + excess) ** (1 / self.power)

    def interval(self, z: float) -> tuple[float, float]:
        """Compute the 95 % interval of the rate above z: Poisson's below `start`, by profile likelihood above it."""
        if z <= self.start:
            return rate_interval(sum(peak >= z for peak in self.peaks), self.minutes)
        best = self.rate(z)
        excess = self._excess(z)
        top = self._profile(log(best), excess)

        def outside(log_rate: float) -> float:
            return top - self._profile(log_rate, excess) - HALF_LIKELIHOOD

        middle = log(best)
        return exp(brentq(outside, middle - 60, middle)), exp(brentq(outside, middle, log(self.rate_at_start) + 10))

    @property
    def promised(self) -> float | None:
        """The lowest rate a minute that is known within a factor of 3; None if there are too few peaks for any.

        Formula: the variance of ln(rate) is (1 + L^2) / k with L = ln(rate_at_start / rate).
        """
        room = self.count * (log(FACTOR) / SIGMAS) ** 2 - 1
        return None if room < 0 else self.rate_at_start * exp(-sqrt(room))

    def minutes_for(self, per_minute: float) -> float:
        """Compute how long a recording of this ground must be, in minutes, to know this rate within a factor of 3."""
        steps = max(0.0, log(self.rate_at_start / per_minute))
        return (1 + steps**2) * (SIGMAS / log(FACTOR)) ** 2 / self.rate_at_start

    def _excess(self, z: float) -> float:
        return z**self.power - self.start**self.power

    def _profile(self, log_rate: float, excess: float) -> float:
        """Compute the log likelihood of a rate above `excess`, with the most likely rate at the start."""
        k = self.count

        def loss(log_start: float) -> float:
            scale = excess / (log_start - log_rate)
            return -(k * log_start - exp(log_start) * self.minutes - k * log(scale) - k * self.scale / scale)

        low = max(log_rate, log(self.rate_at_start) - 10) + 1e-9
        return -minimize_scalar(loss, bounds=(low, max(low, log(self.rate_at_start)) + 10), method="bounded").fun


def fit(peaks: Sequence[float], minutes: float) -> Tail | None:
    """Fit the tail of |z|; return None for fewer than 12 peaks."""
    z = np.sort(np.abs(np.asarray(peaks, float)))[::-1]
    if len(z) < FEWEST or minutes <= 0:
        return None
    k = max(FEWEST, int(np.ceil(SHARE * len(z))))
    start, top = float(z[k - 1]), z[:k]
    linear, square = float(np.mean(top - start)), float(np.mean(top**2 - start**2))
    if linear <= 0:
        return None
    # Compare the densities exp(-(z - u) / b) / b and 2 z exp(-(z^2 - u^2) / b) / b.  The exponents sum to -k in both.
    better = float(np.sum(np.log(2 * top / square))) + k * log(linear)
    power, scale = (2, square) if better > GAUSSIAN_BY else (1, linear)
    return Tail(start, scale, power, k, minutes, tuple(float(height) for height in z))


def strange(peaks: Sequence[Peak], minutes: float) -> list[Peak]:
    """Find the peaks that noise alone does not make, in the order of time; empty if the recording is clean.

    The tail of the other peaks is taken as an exponential in |z|.  Its scale comes from the median or from the 80 %
    point, whichever gives the longer tail, because a few objects change neither of them.
    """
    sizes = np.array([abs(peak.z) for peak in peaks])
    giants = np.count_nonzero(sizes >= GIANT)
    if len(peaks) < FEWEST:
        return [peak for peak in peaks if abs(peak.z) >= GIANT]
    excess = sizes - PEAKS_FROM
    scale = max(1e-6, *(float(np.quantile(excess, share)) / -log(1 - share) for share in (0.5, 0.8)))
    expected = len(peaks) * np.exp(-excess / scale)
    full = giants >= FEWEST_GIANTS and giants > GIANTS_A_MINUTE * minutes
    if expected.min() >= STRANGE and not full:
        return []
    is_strange = (expected < ALSO) | (full & (sizes >= GIANT / 2))
    return sorted((peak for peak, yes in zip(peaks, is_strange, strict=True) if yes), key=lambda peak: peak.time_s)
