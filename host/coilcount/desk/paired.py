"""Exact tests and intervals for two builds: passes found, rates, and values of the same objects.  Pure computation.

A p value is the probability of a difference at least as large if the two are in truth the same.  All tests are
two-sided.  All intervals are of 95 %.  Ratios are B over A, differences B less A.

Sources:
- passes found by one and not by the other: Q. McNemar, Psychometrika 12, 153 (1947), in its exact form
- interval of the difference of two shares of pairs: A. Agresti and Y. Min, Statistics in Medicine 24, 729 (2005)
- two rates: J. Przyborowski and H. Wilenski, Biometrika 31, 313 (1940)
- several passes over one object: R. A. Fisher, The Design of Experiments (1935), section 21; difference of their
  shares: N. Obuchowski, Statistics in Medicine 17, 1495 (1998)
- values of recordings: Student, Biometrika 6, 1 (1908)
- interval of a median, from the sign test: W. J. Conover, Practical Nonparametric Statistics, 3rd ed. (1999), 3.2
- several tests at once: S. Holm, Scandinavian Journal of Statistics 6, 65 (1979)
"""

from collections.abc import Callable, Sequence
from math import ceil, sqrt
from statistics import mean, median, stdev

import numpy as np
from numpy.typing import NDArray
from scipy.special import betaincinv, stdtr, stdtrit
from scipy.stats import binom, binomtest, poisson

ALPHA = 0.05  # probability of a wrong "difference", for all questions of a verdict together
POWER = 0.8  # a difference counts as visible if it is shown in this share of all comparisons; common practice
_Z = 1.959964  # 97.5 % point of the normal distribution
_MOST_RATIO = 1000.0  # the search for a visible ratio ends here; chosen by hand
_STEPS = 40  # halvings in the searches: more than the digits of a float that are shown


def mcnemar(only_a: int, only_b: int) -> float:
    """Compute the p value of the exact McNemar test: 1 if no pass was found by one alone."""
    count = only_a + only_b
    return float(binomtest(only_a, count, 0.5).pvalue) if count else 1.0


def difference_of_shares(only_a: int, only_b: int, pairs: int) -> tuple[float, float, float]:
    """Compute the difference of the shares found, B less A, with its interval.  pairs: at least 1.

    The ends are those of Agresti and Min: half a pass is added to each of the four counts.
    """
    value = (only_b - only_a) / pairs
    a, b, n = only_a + 0.5, only_b + 0.5, pairs + 2
    middle, half = (b - a) / n, _Z * sqrt(a + b - (b - a) ** 2 / n) / n
    return value, max(-1.0, middle - half), min(1.0, middle + half)


def difference_of_visits(visits: Sequence[tuple[int, int]]) -> tuple[float, float, float]:
    """Compute the difference of the shares found, B less A, with its interval, if the passes of a visit are alike.

    visits: (passes found by B less passes found by A, passes) of each; at least 2.
    """
    passes, count = sum(size for _, size in visits), len(visits)
    value = sum(difference for difference, _ in visits) / passes
    squares = sum((difference - size * value) ** 2 for difference, size in visits)
    half = _Z * sqrt(count / (count - 1) * squares) / passes
    return value, max(-1.0, value - half), min(1.0, value + half)


def sign_flip(differences: Sequence[int]) -> float:
    """Compute the p value of Fisher's randomisation test, exactly.

    differences: one whole number for each unit, for example an object: passes found by B less passes found by A.  If
    A and B are the same, each number could as well have the other sign.  The p value is the share of all choices of
    signs that give a sum at least as far from 0.  If each unit has one pass, this is the exact McNemar test.
    """
    sizes = [abs(value) for value in differences if value]
    total = sum(sizes)
    # probabilities of the sums -total .. total
    chances = np.zeros(2 * total + 1)
    chances[total] = 1.0
    for size in sizes:
        moved = np.zeros_like(chances)
        moved[size:] += chances[: len(chances) - size] / 2
        moved[: len(chances) - size] += chances[size:] / 2
        chances = moved
    observed = abs(sum(differences))
    sums = np.abs(np.arange(-total, total + 1))
    return min(1.0, float(chances[sums >= observed].sum()))


def rate_test(count_a: int, minutes_a: float, count_b: int, minutes_b: float) -> float:
    """Compute the p value of equal rates: twice the smaller tail of the binomial distribution of count_b, given both.

    minutes_a, minutes_b: above 0.
    """
    return _central_p(count_b, count_a + count_b, minutes_b / (minutes_a + minutes_b))


def rate_ratio(
    count_a: int, minutes_a: float, count_b: int, minutes_b: float
) -> tuple[float | None, float, float | None]:
    """Compute the rate of B over the rate of A with its interval.  None: infinite, or not known without any alarm.

    The interval comes from that of the binomial share count_b / (count_a + count_b) (C. Clopper and E. Pearson,
    Biometrika 26, 404, 1934).  It contains 1 if and only if the p value of rate_test() is above 0.05.
    """
    low, high = _share_ends(count_b, count_a + count_b)
    scale = minutes_a / minutes_b
    value = scale * count_b / count_a if count_a else None
    return value, scale * low / (1 - low), scale * high / (1 - high) if high < 1 else None


def ratio_of_common(common: int, only_a: int, only_b: int) -> tuple[float | None, float | None, float | None]:
    """Compute the ratio of two rates, B over A, from the same minutes of the same recordings.

    common: false alarms that both raise; they are taken as given.  only_a, only_b: those that one raises alone.  The
    interval contains 1 if and only if that of the share of only_b contains one half.  None: infinite or unknown.
    """
    alone = only_a + only_b
    low, high = _share_ends(only_b, alone)
    value = (common + only_b) / (common + only_a) if common + only_a else None

    def ratio(share: float) -> float | None:
        below = common + alone * (1 - share)
        return (common + alone * share) / below if below else None

    return value, ratio(low), ratio(high)


def mean_test(values: Sequence[float]) -> float:
    """Compute the p value of Student's t test: is the mean 0?  At least 2 values; 1 if they are all 0."""
    middle, error = _mean_and_error(values)
    if not error:
        return 1.0 if middle == 0 else 0.0
    return 2 * float(stdtr(len(values) - 1, -abs(middle / error)))


def mean_interval(values: Sequence[float]) -> tuple[float, float, float]:
    """Compute the mean and the interval that belongs to mean_test().  At least 2 values."""
    middle, error = _mean_and_error(values)
    half = float(stdtrit(len(values) - 1, 0.975)) * error
    return middle, middle - half, middle + half


def median_interval(values: Sequence[float]) -> tuple[float, float, float] | None:
    """Compute the median and the interval that belongs to the sign test; None for fewer than 6 values."""
    ordered = sorted(values)
    count = len(ordered)
    # ranks k and count + 1 - k: the largest k for which at most 2.5 % lies below
    below = int(binom.ppf(0.025, count, 0.5)) if count else 0
    while below > 0 and binom.cdf(below - 1, count, 0.5) > 0.025:
        below -= 1
    if below == 0:
        return None
    return median(ordered), ordered[below - 1], ordered[count - below]


def _mean_and_error(values: Sequence[float]) -> tuple[float, float]:
    return mean(values), stdev(values) / sqrt(len(values))


def holm(p_values: Sequence[float]) -> list[float]:
    """Compute p values adjusted by Holm, in the same order: at most ALPHA means different, for all tests together."""
    adjusted = [1.0] * len(p_values)
    largest = 0.0
    for rank, index in enumerate(sorted(range(len(p_values)), key=lambda i: p_values[i])):
        largest = max(largest, min(1.0, (len(p_values) - rank) * p_values[index]))
        adjusted[index] = largest
    return adjusted


def visible_difference(only_a: int, only_b: int, pairs: int, alpha: float = ALPHA) -> float | None:
    """Compute the smallest difference of the shares found that the McNemar test shows in 8 of 10 comparisons.

    Chance is taken to move as many passes either way as the smaller of the two counts.  alpha: the level of the test.
    None if even the largest possible difference would not be shown.
    """
    chance = min(only_a, only_b) / pairs if pairs else 0.0

    def power(difference: float) -> float:
        alone = min(1.0, 2 * chance + difference)
        counts = np.arange(pairs + 1)
        return _power(binom.pmf(counts, pairs, alone), counts, 0.5, min(1.0, (chance + difference) / alone), alpha)

    return _smallest(power, 0.0, 1.0 - 2 * chance) if pairs else None


def visible_ratio(count: int, minutes_a: float, minutes_b: float, alpha: float = ALPHA) -> float | None:
    """Compute the smallest ratio above 1 of two rates that rate_test() shows in 8 of 10 comparisons.

    count: false alarms of both together, which give the lower rate.  None if there are too few to say.
    """
    if not count:
        return None
    rate = count / (minutes_a + minutes_b)
    null = minutes_b / (minutes_a + minutes_b)

    def power(ratio: float) -> float:
        mean_a, mean_b = rate * minutes_a, ratio * rate * minutes_b
        mean = mean_a + mean_b
        counts = np.arange(int(poisson.ppf(1e-9, mean)), ceil(mean + 10 * sqrt(mean) + 10))
        return _power(poisson.pmf(counts, mean), counts, null, mean_b / mean, alpha)

    return _smallest(power, 1.0, _MOST_RATIO)


def _power(weights: NDArray, counts: NDArray, null: float, share: float, alpha: float) -> float:
    """Probability that a count of B among `counts`, with probability `share`, is too far from its `null` share.

    weights: probabilities of the counts.
    """
    kept = weights > 1e-12
    weights, counts = weights[kept], counts[kept]
    # Largest count that is too small, and smallest that is too large; -1 and counts + 1 if there is none.
    low = binom.ppf(alpha / 2, counts, null)
    low = np.where(binom.cdf(low, counts, null) > alpha / 2, low - 1, low)
    high = binom.isf(alpha / 2, counts, null) + 1
    high = np.where(binom.sf(high - 1, counts, null) > alpha / 2, high + 1, high)
    return float(weights @ (binom.cdf(low, counts, share) + binom.sf(high - 1, counts, share)))


def _smallest(power: Callable[[float], float], low: float, high: float) -> float | None:
    if high <= low or power(high) < POWER:
        return None
    for _ in range(_STEPS):
        middle = (low + high) / 2
        low, high = (low, middle) if power(middle) >= POWER else (middle, high)
    return high


def _central_p(hits: int, count: int, share: float) -> float:
    tails = binom.cdf(hits, count, share), binom.sf(hits - 1, count, share)
    return min(1.0, 2 * float(min(tails)))


def _share_ends(hits: int, count: int) -> tuple[float, float]:
    """The exact interval of a binomial share by Clopper and Pearson; 0 to 1 if count is 0."""
    low = float(betaincinv(hits, count - hits + 1, 0.025)) if hits else 0.0
    high = float(betaincinv(hits + 1, count - hits, 0.975)) if hits < count else 1.0
    return low, high
