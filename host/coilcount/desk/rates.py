"""95 % intervals of a share and of a rate, and how long a recording must be to know a rate.

Sources:
- share: E. B. Wilson, Journal of the American Statistical Association 22, 209 (1927).  L. Brown, T. Cai and
  A. DasGupta, Statistical Science 16, 101 (2001), recommend it for small numbers.
- rate: F. Garwood, Biometrika 28, 437 (1936), exact for a Poisson count.
"""

from math import inf, sqrt

from scipy.special import gammaincinv, ndtri

TAIL = 0.025  # probability outside each end of a 95 % interval
FACTOR = 3.0  # a rate counts as known if its 95 % interval lies within this factor of it; chosen by hand


def share_interval(hits: int, count: int) -> tuple[float, float]:
    """Compute Wilson's 95 % interval of the share hits / count; 0 to 1 if count is 0.

    Raises ValueError if hits is negative or larger than count.
    """
    if not 0 <= hits <= count:
        raise ValueError(f"{hits} of {count} is no share")
    if count == 0:
        return 0.0, 1.0
    square = float(ndtri(TAIL)) ** 2
    share = hits / count
    middle = (share + square / (2 * count)) / (1 + square / count)
    half = sqrt(square * (share * (1 - share) / count + square / (4 * count**2))) / (1 + square / count)
    # Rounding must not move the ends off 0 and 1, where they are exact.
    return (0.0 if hits == 0 else middle - half), (1.0 if hits == count else middle + half)


def rate_interval(count: int, minutes: float) -> tuple[float, float]:
    """Compute Garwood's 95 % interval of a rate a minute from a count; 0 to infinity if minutes is 0.

    Raises ValueError if count is negative.
    """
    if count < 0:
        raise ValueError(f"{count} is no count")
    if minutes <= 0:
        return 0.0, inf
    low = float(gammaincinv(count, TAIL)) if count else 0.0
    return low / minutes, float(gammaincinv(count + 1, 1 - TAIL)) / minutes


def counts_to_know(factor: float = FACTOR) -> int:
    """Return the smallest count whose 95 % interval lies within `factor` of it: 6 for a factor of 3.

    Raises ValueError if factor is 1 or less.
    """
    if factor <= 1:
        raise ValueError(f"{factor} is no factor above 1")
    count = 1
    while True:
        low, high = rate_interval(count, 1.0)
        if count <= factor * low and high <= factor * count:
            return count
        count += 1


def minutes_to_know(per_minute: float, factor: float = FACTOR) -> float:
    """Compute the minutes after which a rate a minute is usually known within `factor`; infinite for a rate of 0."""
    return counts_to_know(factor) / per_minute if per_minute > 0 else inf
