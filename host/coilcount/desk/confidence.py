"""The uncertainty of a stability figure: which power law the noise follows, and the degrees of freedom it leaves."""

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

_BLOCK = 1 << 16  # averages that are processed together; keeps memory flat, chosen by hand
FEWEST_FOR_NOISE = 30  # averages; with fewer the autocorrelation is too uncertain (SP 1065, section 5.5.6)
# Borders between the lag 1 autocorrelations of averages, midway between neighbours: white FM 0, flicker PM -1/3 (of a
# fractional difference), white PM -1/2.
WHITE_FM_FROM, FLICKER_PM_FROM = -0.17, -0.42
# The same for first differences of averages: random walk FM 1/4, flicker FM -0.217, white FM -1/2.  These values follow
# from the autocovariances |t|^3, t^2 ln|t| and |t|.
WALK_FROM, FLICKER_FROM = 0.017, -0.358
# kind: (order of the differences, overlapping, modified)
KINDS = {"adev": (2, False, False), "oadev": (2, True, False), "mdev": (2, True, True), "hdev": (3, True, False)}


def noise_exponent(segments: Sequence[NDArray], m: int) -> int | None:
    """Find the noise type from the lag 1 autocorrelation of the frequency, averaged over m readings.

    segments: phases in s, as in `stability`; m: readings in one average.
    Returns alpha of S_y = h f^alpha, from 2 to -2, or None if fewer than 30 averages are left.

    A steady drift is removed first.  The sums of the segments are added.  Source of the idea: W. J. Riley and
    C. A. Greenhall, "Power law noise identification using the lag 1 autocorrelation", Proc. 18th EFTF (2004), also
    SP 1065 section 5.5.6; quoted from memory.  Their borders hold for fractional differences and put averaged flicker
    FM (-1.45) exactly on the border to random walk.  So here the borders lie midway between the values of averages.
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
    """Compute the mean square difference of two averages, relative to that of neighbouring averages.

    lags: how far the two averages lie apart, in averages; alpha: 0, -1 or -2.
    """

    def phase(t: NDArray) -> NDArray:
        size = np.abs(t)
        power = size ** (1 - alpha)
        return power * np.log(np.where(size > 0, size, 1.0)) if alpha == -1 else power

    def variance(t: NDArray) -> NDArray:
        return 2 * phase(t) - phase(t - 1) - phase(t + 1)

    return (variance(np.zeros(1)) - variance(lags)) / (variance(np.zeros(1)) - variance(np.ones(1)))


class _Averages:
    """Averages of the frequency over tau, less a straight line through them, computed in pieces of bounded size."""

    def __init__(self, x: NDArray) -> None:
        self._x = x
        self._size = len(x) - 1
        self._slope = self._level = 0.0
        sums = np.zeros(3)  # of 1, t and y
        for t, y in self._pieces(0):
            known = ~np.isnan(y)
            sums += (np.count_nonzero(known), t[known].sum(), y[known].sum())
        self.count = int(sums[0])  # averages that are not nan
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
        """Deviations from the line, or their differences; each piece begins with the last value of the one before."""
        overlap = 2 if differences else 1
        for t, y in self._pieces(overlap):
            residual = y - (self._level + self._slope * t)
            yield np.diff(residual) if differences else residual

    def _pieces(self, overlap: int) -> Iterator[tuple[NDArray, NDArray]]:
        """(t, y) with t from -1 to 1, in pieces that begin with the last `overlap` values of the one before."""
        for start in range(0, self._size, _BLOCK):
            start, end = max(0, start - overlap), min(start + _BLOCK, self._size)
            yield 2 * np.arange(start, end) / max(1, self._size - 1) - 1, np.diff(self._x[start : end + 1])


def _lag_1(parts: Sequence[_Averages], differences: bool) -> float:
    above = below = 0.0
    for part in parts:
        total, count = 0.0, 0
        for values, _ in _with_neighbours(part, differences):
            total += float(np.nansum(values))
            count += int(np.count_nonzero(~np.isnan(values)))
        mean = total / count if count else 0.0
        for values, earlier in _with_neighbours(part, differences):
            below += float(np.nansum((values - mean) ** 2))
            above += float(np.nansum((values[len(values) - len(earlier) :] - mean) * (earlier - mean)))
    return above / below if below else 0.0


def _with_neighbours(part: _Averages, differences: bool) -> Iterator[tuple[NDArray, NDArray]]:
    """Pairs of (values, the value before each); the very first value has none, so the second array may be shorter."""
    first = True
    for values in part.pieces(differences):
        yield (values if first else values[1:]), values[:-1]
        first = False


def degrees_of_freedom(kind: str, alpha: int, m: int, n: int) -> float:
    """Compute the equivalent degrees of freedom of a stability variance; at least 1.

    kind: "adev", "oadev", "mdev" or "hdev"; alpha: of the noise; m: averaging factor; n: number of phases.

    Source: C. A. Greenhall and W. J. Riley, "Uncertainty of stability variances based on finite differences", Proc.
    35th PTTI (2003), quoted from memory.  It is 2 mean^2 / variance of a mean of correlated squares.  The correlation
    comes from the generalised autocovariance of x.  The paper has tables to shorten the sums; here the sums are taken.
    """
    order, overlapping, modified = KINDS[kind]
    window = 1 if modified else m  # F of the paper
    stride = m if overlapping else 1
    terms = 1 + stride * (n - (m / window + m * order)) // m
    if terms < 1:
        return 1.0
    if not modified and alpha <= 0:
        window = np.inf  # single phases, no averages of phases
    # Differences that lie more than their own length apart (order + 1 times tau) are not correlated.
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
    """Autocovariance of the order-th difference of phases averaged over 1/window; t and 1/window in units of tau."""
    signs = {2: (1, -4, 6, -4, 1), 3: (-1, 6, -15, 20, -15, 6, -1)}[order]
    return sum(sign * _averaged(t + step, window, alpha) for step, sign in enumerate(signs, -order))


def _averaged(t: NDArray, window: float, alpha: int) -> NDArray:
    if np.isinf(window):
        return _generalised(t, alpha + 2)
    return window**2 * (
        2 * _generalised(t, alpha) - _generalised(t - 1 / window, alpha) - _generalised(t + 1 / window, alpha)
    )


def _generalised(t: NDArray, alpha: int) -> NDArray:
    """Generalised autocovariance of phase noise, integrated twice, without its constant factor and sign."""
    size = np.abs(t)
    power = size ** (3 - alpha)
    return power if alpha % 2 == 0 else power * np.log(np.where(size > 0, size, 1.0))
