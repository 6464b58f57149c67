"""The noise spectrum of a test condition, and matched filters and d' from it.

It is the median over tapered segments (Welch's method).  With the median, rare events do not count.  With the taper,
slow drift does not leak into the band of a pass.
"""

from dataclasses import replace

import numpy as np
from coilcount.simulate.dprime import NUISANCE, readings, timing_covariance
from coilcount.simulate.scene import Scene
from coilcount.simulate.signal import components
from scipy.linalg import solve_toeplitz
from scipy.signal import detrend

SEGMENT = 600  # readings of one tapered segment, 12 s; chosen by hand
LEARN_RUNS = 6  # simulated runs of a minute; chosen by hand
MEDIAN_OF_EXPONENTIAL = np.log(2)  # median / mean of an exponential distribution, as a periodogram of noise has it


def covariance_of(runs: list[np.ndarray], lags: int) -> np.ndarray:
    """Return the autocovariance, shape (lags,), from the median spectrum of several series of readings."""
    window = np.hanning(SEGMENT)
    power = []
    for run in runs:
        for start in range(0, len(run) - SEGMENT + 1, SEGMENT // 2):
            part = detrend(run[start : start + SEGMENT]) * window
            power.append(np.abs(np.fft.rfft(part, 2 * SEGMENT)) ** 2 / np.sum(window**2))
    middle = np.median(power, axis=0) / MEDIAN_OF_EXPONENTIAL
    return np.fft.irfft(middle)[:lags]


def ground_covariance(scene: Scene, f0_hz: float, interval_ms: int, seed: int, lags: int) -> np.ndarray:
    """Return the autocovariance of relative readings of the scene without objects, shape (lags,).

    It includes all noise: oscillator, soil, hand, weather, supply and timestamps.
    """
    clean = replace(scene, target=(), knock=(), lost=(), duration_s=60)
    runs = [readings(sum(components(clean, seed + i, NUISANCE).values()), interval_ms) for i in range(LEARN_RUNS)]
    return covariance_of(runs, lags) + timing_covariance(f0_hz, scene.oscillator.jitter_ns * 1e-9, interval_ms, lags)


def matched(shape: np.ndarray, covariance: np.ndarray) -> tuple[np.ndarray, float]:
    """Return the matched filter of a shape, shape (n,), and its d'.

    The filter is C^-1 s without its projection on level and slope.  Its output on noise has a variance of 1.
    shape: (n,), in the unit of the square root of the covariance.
    """
    n = len(shape)
    line = np.stack([np.ones(n), np.linspace(-1, 1, n)], axis=1)
    solved = solve_toeplitz(covariance[:n], np.column_stack([shape, line]))
    gain = np.linalg.solve(line.T @ solved[:, 1:], line.T @ solved[:, 0])
    h = solved[:, 0] - solved[:, 1:] @ gain
    d = float(np.sqrt(max(h @ shape, 0.0)))
    return h / d if d else h, d
