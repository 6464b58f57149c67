"""How sure a deviation is: which power law the noise follows, and the degrees of freedom that this leaves."""

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

_BLOCK = 1 << 16  # averages that are looked at together
FEWEST_FOR_NOISE = 30  # averages: below, the autocorrelation tells nothing (SP 1065, section 5.5.6)
# Lag 1 autocorrelation of averages: white FM 0, flicker PM -1/3 (of a fractional difference), white PM -1/2; borders
# between the neighbours.
WHITE_FM_FROM, FLICKER_PM_FROM = -0.17, -0.42
# Of their first differences: random walk FM 1/4, flicker FM -.217, white FM -1/2, from |t|^3, t^2 ln|t| and |t|.
WALK_FROM, FLICKER_FROM = 0.017, -0.358
# kind: (order of the differences, overlapping, modified)
KINDS = {"adev": (2, False, False), "oadev": (2, True, False), "mdev": (2, True, True), "hdev": (3, True, False)}


def noise_exponent(segments: Sequence[NDArray], m: int) -> int | None:
    """alpha of S_y = h f^alpha, 2 to -2, from the lag 1 autocorrelation of the frequency averaged over m readings.

    The idea: W. J. Riley and C. A. Greenhall, "Power law noise identification using the lag 1 autocorrelation", Proc.
    18th EFTF (2004), also SP 1065 section 5.5.6; quoted from memory.  Theirs holds for fractional differences; here
    the borders lie midway between what averages of each noise show, since it puts averaged flicker FM (-1.45) on the
    very border to random walk.  A steady drift is taken out first.  The segments' sums are added.  None where
    fewer than 30 averages are left.
    """
    parts = [_Averages(x[::m]) for x in segments if len(x[::m]) > 4]
    if sum(part.count for part in parts) < FEWEST_FOR_NOISE:
        return None
    r = _lag_1(parts, differences=False)
    if r < WHITE_FM_FROM:
        return 1 if r > FLICKER_PM_FROM else 2
    r = _lag_1(parts, differences=True)
    if r > WALK_FROM:
        return -2
    return -1 if r > FLICKER_FROM else 0


def structure(lags: NDArray, alpha: int) -> NDArray:
    """Mean square of the difference of two averages so many apart, over that of neighbours; alpha 0, -1 or -2."""

    def phase(t: NDArray) -> NDArray:
        size = np.abs(t)
        power = size ** (1 - alpha)
        return power * np.log(np.where(size > 0, size, 1.0)) if alpha == -1 else power

    def variance(t: NDArray) -> NDArray:
        return 2 * phase(t) - phase(t - 1) - phase(t + 1)

    return (variance(np.zeros(1)) - variance(lags)) / (variance(np.zeros(1)) - variance(np.ones(1)))


class _Averages:
    """Averages of the frequency, differences of the phases x, less their line; in pieces, so memory stays flat."""

    def __init__(self, x: NDArray) -> None:
        self._x = x
        self._size = len(x) - 1
        self._slope = self._level = 0.0
        sums = np.zeros(3)  # of 1, t and y
        for t, y in self._pieces(0):
            known = ~np.isnan(y)
            sums += (np.count_nonzero(known), t[known].sum(), y[known].sum())
        self.count = int(sums[0])  # of those that are known
        if self.count < 3:
            return
        _, t_mean, y_mean = sums / self.count
        above = below = 0.0
        for t, y in self._pieces(0):
            known = ~np.isnan(y)
            from_mean = t[known] - t_mean
            above += float(from_mean @ (y[known] - y_mean))
            below += float(from_mean @ from_mean)
        self._slope = above / below
        self._level = y_mean - self._slope * t_mean

    def pieces(self, differences: bool) -> Iterator[NDArray]:
        """What is left beside the line, or its differences, each piece with the last value of the one before."""
        more = 2 if differences else 1
        for t, y in self._pieces(more):
            left = y - (self._level + self._slope * t)
            yield np.diff(left) if differences else left

    def _pieces(self, more: int) -> Iterator[tuple[NDArray, NDArray]]:
        """(t, y), t from -1 to 1, in pieces that begin with the last `more` values of the one before."""
        for start in range(0, self._size, _BLOCK):
            start, end = max(0, start - more), min(start + _BLOCK, self._size)
            yield 2 * np.arange(start, end) / max(1, self._size - 1) - 1, np.diff(self._x[start : end + 1])


def _lag_1(parts: Sequence[_Averages], differences: bool) -> float:
    above = below = 0.0
    for part in parts:
        total, count = 0.0, 0
        for fresh, _ in _with_neighbours(part, differences):
            total += float(np.nansum(fresh))
            count += int(np.count_nonzero(~np.isnan(fresh)))
        mean = total / count if count else 0.0
        for fresh, earlier in _with_neighbours(part, differences):
            below += float(np.nansum((fresh - mean) ** 2))
            above += float(np.nansum((fresh[len(fresh) - len(earlier) :] - mean) * (earlier - mean)))
    return above / below if below else 0.0


def _with_neighbours(part: _Averages, differences: bool) -> Iterator[tuple[NDArray, NDArray]]:
    """Each value once, and beside it the one before it; the very first has none."""
    first = True
    for values in part.pieces(differences):
        yield (values if first else values[1:]), values[:-1]
        first = False


def degrees_of_freedom(kind: str, alpha: int, m: int, n: int) -> float:
    """Equivalent degrees of freedom of a variance of n phases with averaging factor m; at least 1.

    C. A. Greenhall and W. J. Riley, "Uncertainty of stability variances based on finite differences", Proc. 35th PTTI
    (2003): 2 mean^2 / variance of the mean of correlated squares, the correlation from the generalised autocovariance
    of x.  Quoted from memory; its tables are replaced by the sums they shorten.
    """
    order, overlapping, modified = KINDS[kind]
    window = 1 if modified else m  # F of the paper: phases between those that are taken, over tau
    stride = m if overlapping else 1
    terms = 1 + stride * (n - (m / window + m * order)) // m
    if terms < 1:
        return 1.0
    if not modified and alpha <= 0:
        window = np.inf  # the phase is taken, not averaged
    # Beyond the differences' own length (order + 1 of tau) nothing is correlated any more.
    last = int(min(terms, (order + 1) * stride))
    first = float(_autocovariance(np.zeros(1), window, alpha, order)[0]) ** 2
    total = first
    for start in range(1, last + 1, _BLOCK):
        lags = np.arange(start, min(start + _BLOCK, last + 1))
        weights = 2 * (1 - lags / terms)
        if lags[-1] == last:
            weights[-1] /= 2
        total += float(weights @ _autocovariance(lags / stride, window, alpha, order) ** 2)
    return max(1.0, terms * first / total)


def _autocovariance(t: NDArray, window: float, alpha: int, order: int) -> NDArray:
    """Of the order-th difference of the phase's mean over 1/window, t in units of tau."""
    signs = {2: (1, -4, 6, -4, 1), 3: (-1, 6, -15, 20, -15, 6, -1)}[order]
    return sum(sign * _averaged(t + step, window, alpha) for step, sign in enumerate(signs, -order))


def _averaged(t: NDArray, window: float, alpha: int) -> NDArray:
    if np.isinf(window):
        return _generalised(t, alpha + 2)
    return window**2 * (
        2 * _generalised(t, alpha) - _generalised(t - 1 / window, alpha) - _generalised(t + 1 / window, alpha)
    )


def _generalised(t: NDArray, alpha: int) -> NDArray:
    """Twice integrated generalised autocovariance of phase noise, but for a factor (and its sign)."""
    size = np.abs(t)
    power = size ** (3 - alpha)
    return power if alpha % 2 == 0 else power * np.log(np.where(size > 0, size, 1.0))
