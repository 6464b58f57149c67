"""The noise of a clean recording as the tracker learns it: the density of y in bands of a third of an octave.

Welch's method (P. D. Welch, IEEE Trans. Audio Electroacoust. 15, 70, 1967): the mean over tapered segments of a few
passes' length, the line through each taken out, since the tracker takes it out as well.
"""

from collections.abc import Iterable
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.signal import welch

from coilcount.tracker.filters import BANDS_A_DECADE, LOWEST_HZ

# Chosen on the tuning scenes of tests/bench/detection: 12 s find a little less, and so does the median.
SEGMENT_S = 6.0
FEWEST_SEGMENTS = 18  # one minute; a density is known to a quarter then
MOST_BANDS = 32


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
        for y_ppm in _whole(1e6 * np.diff(run) / interval_s):
            segments = (len(y_ppm) - size // 2) // (size - size // 2)
            if len(y_ppm) < size or segments < 1:
                continue
            hz, power = welch(y_ppm, 1 / interval_s, nperseg=size, nfft=2 * size, detrend="linear")
            total, count = total + segments * power, count + segments
    if count < FEWEST_SEGMENTS:
        return None
    power = total / count
    edges = band_edges_hz(interval_s)
    out = []
    for low, high in pairwise(edges):
        inside = np.flatnonzero((hz >= low) & (hz < high))
        if len(inside) < 2:
            inside = np.argsort(np.abs(hz - np.sqrt(low * high)))[:2]
        out.append(float(f"{np.sqrt(np.mean(power[inside])):.3g}"))
    return tuple(out)


def _whole(y: NDArray) -> list[NDArray]:
    """The stretches of y without a nan."""
    known = np.flatnonzero(np.isfinite(y))
    return [part for part in np.split(y[known], np.flatnonzero(np.diff(known) > 1) + 1) if len(part)]
