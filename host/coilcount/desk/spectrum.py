"""The noise profile of a clean recording: the noise density of the readings in bands of a third of an octave.

Method: P. D. Welch, IEEE Trans. Audio Electroacoust. 15, 70 (1967), the mean over tapered segments.  A segment is as
long as several passes.  The line through each segment is removed, because the tracker removes it too.
"""

from collections.abc import Iterable, Iterator
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from coilcount.tracker.priors import BANDS_A_DECADE, LOWEST_HZ

# Length of a segment.  Chosen on the tuning scenes of tests/bench/detection: the tracker then finds 93.0 % of what the
# bound finds, but 92.5 % with 4 s, 92.4 % with 8 s, and 92.3 % with the median instead of the mean over the segments.
SEGMENT_S = 6.0
FEWEST_SEGMENTS = 18  # one minute; computed: each density then has an error of about a quarter
MOST_BANDS = 32
_TOGETHER = 256  # segments that are transformed together; keeps memory flat, chosen by hand


def band_edges_hz(interval_s: float) -> NDArray:
    """Compute the (n + 1,) edges of the bands in Hz, up to half the rate of the readings.

    The first band is centred on 0.1 Hz.
    """
    bands = int(np.ceil(BANDS_A_DECADE * np.log10(0.5 / interval_s / LOWEST_HZ) + 0.5))
    return LOWEST_HZ * 10.0 ** ((np.arange(min(bands, MOST_BANDS) + 1) - 0.5) / BANDS_A_DECADE)


def centre_hz(band: int) -> float:
    """Compute the centre of a band on a logarithmic scale, to three digits: 0.1, 0.126, 0.158 ..."""
    return float(f"{LOWEST_HZ * 10.0 ** (band / BANDS_A_DECADE):.3g}")


def noise_ppm_rthz(x: Iterable[NDArray], interval_s: float) -> tuple[float, ...] | None:
    """Compute the one-sided noise density in ppm per root hertz in each band.

    x: arrays of phases in s, each (n,), of readings interval_s apart, nan for a lost reading.
    Returns None if there are fewer than FEWEST_SEGMENTS whole segments.
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
    densities = []
    for low, high in pairwise(edges):
        inside = np.flatnonzero((hz >= low) & (hz < high))
        if len(inside) < 2:
            inside = np.argsort(np.abs(hz - np.sqrt(low * high)))[:2]
        densities.append(float(f"{np.sqrt(np.mean(power[inside])):.3g}"))
    return tuple(densities)


def _segments(x: NDArray, interval_s: float, size: int) -> Iterator[NDArray]:
    """Segments of readings in ppm, (k, size), that overlap by half and hold no nan; only a few at a time are made."""
    step = size - size // 2
    for start, end in _whole(x):
        count = (end - start - 1 - size) // step + 1 if end - start - 1 >= size else 0
        for first in range(0, count, _TOGETHER):
            begin = start + first * step
            now = min(_TOGETHER, count - first)
            y_ppm = 1e6 * np.diff(x[begin : begin + (now - 1) * step + size + 1]) / interval_s
            yield np.lib.stride_tricks.sliding_window_view(y_ppm, size)[::step]


def _periodograms(segments: NDArray, interval_s: float) -> NDArray:
    """One-sided densities in ppm^2/Hz, (k, size + 1): the line removed, a Hann taper, zeros appended.

    The result is that of scipy.signal.welch with detrend="linear" (a test compares).  That module is not used because
    loading it takes 27 MB and half a second.
    """
    size = segments.shape[1]
    t = np.arange(size) - (size - 1) / 2
    residuals = segments - segments.mean(axis=1, keepdims=True)
    residuals -= np.outer(residuals @ t / (t @ t), t)
    taper = 0.5 - 0.5 * np.cos(2 * np.pi * np.arange(size) / size)
    power = np.abs(np.fft.rfft(residuals * taper, 2 * size, axis=1)) ** 2 * interval_s / (taper @ taper)
    power[:, 1:-1] *= 2
    return power


def _whole(x: NDArray) -> Iterator[tuple[int, int]]:
    """Starts and ends of the parts of x that hold no nan."""
    lost = np.flatnonzero(np.isnan(x)).tolist()
    for before, after in pairwise([-1, *lost, len(x)]):
        if after - before > 1:
            yield before + 1, after
