"""Other detection methods, each as a statistic over the same readings.

A method without smoothing of its own gets a smoothing of 0.1 s, which helps it.  The constants are customary values and
were not tuned.  A scale is at least 20.0, which is 0.02 ppm: y is in 1e-9.  Every method has its own threshold for each
test condition, whatever the unit of its statistic.
"""

from collections.abc import Callable

import numpy as np
from scipy.ndimage import median_filter
from scipy.signal import lfilter
from series import INTERVAL_S

WARM = 250  # readings: the first 5 s of each statistic are ignored, as a warm-up
SMOOTH = 5  # readings, 0.1 s
RETUNE_S = 15.0  # the fixed reference is set again after this time
BASELINE_S = 0.5  # time constant of the exponential baseline
MEDIAN_S = 5.0  # window of the median
LONG_S = 5.0  # time constant of the long average
SHORT_S = 0.2  # window of the short average
DRIFT_SIGMAS = 0.5  # subtracted from each step of the CUSUM
KALMAN_S = 1.0  # time constant of the steady Kalman gain
GATE = 3.0  # sigma: larger readings hardly move the Kalman level
MAD = 1.4826  # standard deviation / median absolute deviation of normal noise


def smooth(y: np.ndarray, n: int = SMOOTH) -> np.ndarray:
    total = np.cumsum(np.concatenate([np.full(n, y[0]), y]))
    return (total[n:] - total[:-n]) / n


def exponential(y: np.ndarray, tau_s: float) -> np.ndarray:
    """Return the exponential mean of the readings before each reading, with time constant tau_s.

    It starts at the mean of the first WARM readings.
    """
    keep = np.exp(-INTERVAL_S / tau_s)
    first = float(np.mean(y[:WARM]))
    out, _ = lfilter([1 - keep], [1, -keep], y, zi=[keep * first])
    return np.concatenate([[first], out[:-1]])


def trailing_median(y: np.ndarray, n: int) -> np.ndarray:
    return median_filter(y, size=n, mode="nearest", origin=n // 2 - (n + 1) % 2)


def fixed_reference(y: np.ndarray) -> np.ndarray:
    """Compare with a reference that is set again every RETUNE_S seconds, as in a beat-frequency detector."""
    x = smooth(y)
    every = round(RETUNE_S / INTERVAL_S)
    return x - np.repeat(x[::every], every)[: len(x)]


def exponential_baseline(y: np.ndarray) -> np.ndarray:
    return smooth(y) - exponential(smooth(y), BASELINE_S)


def median_and_mad(y: np.ndarray) -> np.ndarray:
    x = smooth(y)
    n = round(MEDIAN_S / INTERVAL_S) | 1
    residual = x - trailing_median(x, n)
    return residual / np.maximum(MAD * trailing_median(np.abs(residual), n), 20.0)


def short_over_long(y: np.ndarray) -> np.ndarray:
    residual = y - exponential(y, 2 * BASELINE_S)
    size = np.abs(smooth(residual))
    long = exponential(size, LONG_S)
    short = smooth(residual, round(SHORT_S / INTERVAL_S))
    return short / np.maximum(long, 20.0)


def cusum(y: np.ndarray) -> np.ndarray:
    residual = y - exponential(y, BASELINE_S)
    scale = np.maximum(1.2533 * exponential(np.abs(residual), 10.0), 20.0)
    up = down = 0.0
    out = []
    for k, u in enumerate((residual / scale).tolist()):
        if k == WARM:
            up = down = 0.0
        up = max(0.0, up + u - DRIFT_SIGMAS)
        down = max(0.0, down - u - DRIFT_SIGMAS)
        out.append(up if up >= down else -down)
    return np.array(out)


def kalman(y: np.ndarray) -> np.ndarray:
    """Track a local level with the steady Kalman gain.

    Readings outside the gate hardly move the level, for at most 50 readings (1 s).  The scale starts at 0.2 ppm.
    It is a running median, which moves by 0.3 % with each reading inside the gate.
    """
    gain = 1 - np.exp(-INTERVAL_S / KALMAN_S)
    level = y[0]
    scale = 200.0
    shut = 0
    out = []
    for x in smooth(y).tolist():
        error = x - level
        z = error / scale
        out.append(z)
        if abs(z) > GATE and shut < 50:
            shut += 1
            level += 0.1 * gain * error
        else:
            shut = shut - 1 if shut > 0 and abs(z) <= GATE else shut
            level += gain * error
            scale *= 1.003 if abs(error) > 0.6745 * scale else 1 / 1.003
        scale = max(scale, 20.0)
    return np.array(out)


# name: (statistic, its delay behind the signal in s)
RIVALS: dict[str, tuple[Callable[[np.ndarray], np.ndarray], float]] = {
    "fixed reference": (fixed_reference, 0.04),
    "exponential": (exponential_baseline, 0.04),
    "median and MAD": (median_and_mad, 0.04),
    "short over long": (short_over_long, 0.1),
    "CUSUM": (cusum, 0.1),
    "Kalman level": (kalman, 0.04),
}
