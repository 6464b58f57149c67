"""The noise of a clean recording as the tracker learns it: the density of y in bands of a third of an octave.

Welch's method (P. D. Welch, IEEE Trans. Audio Electroacoust. 15, 70, 1967): the mean over tapered segments of a few
passes' length, the line through each taken out, since the tracker takes it out as well.
"""

from collections.abc import Iterable, Iterator
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from coilcount.tracker.filters import BANDS_A_DECADE, LOWEST_HZ

# Chosen on the tuning scenes of tests/bench/detection: 12 s find a little less, and so does the median.
SEGMENT_S = 6.0
FEWEST_SEGMENTS = 18  # one minute; a density is known to a quarter then
MOST_BANDS = 32
_TOGETHER = 256  # segments that are transformed at once


def band_edges_hz(interval_s: float) -> NDArray:
    """(n + 1,) edges of the bands up to half the rate of the readings; the first is centred on 0.1 Hz."""
    bands = int(np.ceil(BANDS_A_DECADE * np.log10(0.5 / interval_s / LOWEST_HZ) + 0.5))
    return LOWEST_HZ * 10.0 ** ((np.arange(min(bands, MOST_BANDS) + 1) - 0.5) / BANDS_A_DECADE)


def centre_hz(band: int) -> float:
    """In the middle of a band on a logarithmic scale, to three digits: 0.1, 0.126, 0.158 ..."""
    return float(f"{LOWEST_HZ * 10.0 ** (band / BANDS_A_DECADE):.3g}")


def noise_ppm_rthz(x: Iterable[NDArray], interval_s: float) -> tuple[float, ...] | None:
    """Density in ppm per root hertz (one-sided) in each band; None where there are too few whole segments.

    x: phases in s of readings interval_s apart, (n,) each, nan where readings were lost.
    """
    size = round(SEGMENT_S / interval_s)
    total, count = 0.0, 0
    for run in x:
        for segments in _segments(run, interval_s, size):
            total, count = total + _periodograms(segments, interval_s).sum(axis=0), count + len(segments)
    if count < FEWEST_SEGMENTS:
        return None
    power = total / count
    hz = np.fft.rfftfreq(2 * size, interval_s)
    edges = band_edges_hz(interval_s)
    out = []
    for low, high in pairwise(edges):
        inside = np.flatnonzero((hz >= low) & (hz < high))
        if len(inside) < 2:
            inside = np.argsort(np.abs(hz - np.sqrt(low * high)))[:2]
        out.append(float(f"{np.sqrt(np.mean(power[inside])):.3g}"))
    return tuple(out)


def _segments(x: NDArray, interval_s: float, size: int) -> Iterator[NDArray]:
    """(k, size) y in ppm: the segments without a nan, half over one another; some at a time, so memory stays flat."""
    step = size - size // 2
    for start, end in _whole(x):
        count = (end - start - 1 - size) // step + 1 if end - start - 1 >= size else 0
        for first in range(0, count, _TOGETHER):
            at = start + first * step
            some = min(_TOGETHER, count - first)
            y_ppm = 1e6 * np.diff(x[at : at + (some - 1) * step + size + 1]) / interval_s
            yield np.lib.stride_tricks.sliding_window_view(y_ppm, size)[::step]


def _periodograms(segments: NDArray, interval_s: float) -> NDArray:
    """(k, size + 1) one-sided densities in ppm^2/Hz: each less its line, under a Hann taper, with zeros behind it.

    As scipy.signal.welch does with detrend="linear" (a test compares); that module costs 27 MB and half a second.
    """
    size = segments.shape[1]
    t = np.arange(size) - (size - 1) / 2
    left = segments - segments.mean(axis=1, keepdims=True)
    left -= np.outer(left @ t / (t @ t), t)
    taper = 0.5 - 0.5 * np.cos(2 * np.pi * np.arange(size) / size)
    power = np.abs(np.fft.rfft(left * taper, 2 * size, axis=1)) ** 2 * interval_s / (taper @ taper)
    power[:, 1:-1] *= 2
    return power


def _whole(x: NDArray) -> Iterator[tuple[int, int]]:
    """Starts and ends of the stretches of x without a nan."""
    lost = np.flatnonzero(np.isnan(x)).tolist()
    for before, after in pairwise([-1, *lost, len(x)]):
        if after - before > 1:
            yield before + 1, after
