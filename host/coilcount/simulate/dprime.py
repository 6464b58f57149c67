"""d' of a pass: the signal-to-noise ratio of a matched filter that knows the shape of the pass and the noise.

d'^2 = s' C^-1 s.  s is the pass in the readings y, each the mean frequency between neighbouring interval means.  C is
the covariance of y without objects, from runs of the same scene with other seeds.  Level and slope are projected out,
because no tracker knows its baseline beforehand.  A filter that knew both would reach a slightly higher d'.
"""

from dataclasses import dataclass, replace

import numpy as np

from coilcount.simulate.edges import TICK_S
from coilcount.simulate.scene import Scene
from coilcount.simulate.signal import COMPONENTS, components

# All three chosen by hand.
WINDOW_S = 1.5  # on either side of the closest approach; a rest over the object adds half of its time
SEGMENT_S = 12.0  # length of a segment without objects; its line is removed before the covariance is computed
CLEAN_RUNS = 4
NUISANCE = tuple(name for name in COMPONENTS if name != "target")


def readings(y_ms: np.ndarray, interval_ms: int) -> np.ndarray:
    """Compute the readings, (intervals - 1,), from a relative shift on the 1 ms grid.

    A reading is the mean frequency between the mean times of two neighbouring intervals: a triangular average of y.
    """
    size = interval_ms
    phase = np.concatenate([[0.0], np.cumsum(y_ms)])  # ms
    middle = 0.5 * (phase[1:] + phase[:-1])
    whole = len(middle) // size * size
    return np.diff(middle[:whole].reshape(-1, size).mean(axis=1)) / size


def timing_covariance(f0_hz: float, jitter_s: float, interval_ms: int, lags: int) -> np.ndarray:
    """Compute the autocovariance of y from edge jitter and ticks alone, for lags 0, 1, ...

    The mean time of an interval with N edges has the variance (jitter^2 + tick^2/12) / N; y is a difference of two.
    """
    edges = f0_hz * interval_ms * 1e-3
    variance = (jitter_s**2 + TICK_S**2 / 12) / edges / (interval_ms * 1e-3) ** 2
    out = np.zeros(lags)
    out[:2] = 2 * variance, -variance
    return out


def autocovariance(runs: list[np.ndarray], lags: int, segment: int) -> np.ndarray:
    """Compute the mean autocovariance over segments of which the line is removed.

    It is the biased estimate, because only its Toeplitz matrix is certain to be a covariance.
    Raises ValueError if the runs are shorter than a segment.
    """
    total = np.zeros(lags)
    count = 0
    x = np.linspace(-1, 1, segment)
    for run in runs:
        for start in range(0, len(run) - segment + 1, segment):
            part = run[start : start + segment]
            part = part - np.polynomial.Polynomial.fit(x, part, 1)(x)
            power = np.abs(np.fft.rfft(part, 2 * segment)) ** 2
            total += np.fft.irfft(power)[:lags] / segment
            count += 1
    if not count:
        raise ValueError("the clean runs are shorter than one segment")
    return total / count


def d_prime(s: np.ndarray, covariance: np.ndarray) -> float:
    """Compute d' of the pass s, (n,), in noise with this autocovariance, which has at least n lags."""
    n = len(s)
    lag = np.abs(np.subtract.outer(np.arange(n), np.arange(n)))
    line = np.stack([np.ones(n), np.linspace(-1, 1, n)], axis=1)
    solved = np.linalg.solve(covariance[lag], np.column_stack([s, line]))
    s_s = s @ solved[:, 0]
    line_s = line.T @ solved[:, 0]
    line_line = line.T @ solved[:, 1:]
    return float(np.sqrt(max(s_s - line_s @ np.linalg.solve(line_line, line_s), 0)))


@dataclass(frozen=True)
class Yardstick:
    """The noise of a scene: autocovariances of y, of the oscillator alone and of everything."""

    interval_ms: int
    oscillator: np.ndarray
    everything: np.ndarray

    def of(self, target_ms: np.ndarray, closest_s: float, dwell_s: float = 0.0) -> tuple[float, float]:
        """Compute d' of the pass in target_ms, against the oscillator alone and against everything.

        target_ms: relative shift on the 1 ms grid; closest_s: closest approach in it; dwell_s: time of rest.
        """
        half_ms = round(1000 * (WINDOW_S + dwell_s / 2))
        closest_ms = round(1000 * closest_s)
        padded = np.pad(target_ms, half_ms)
        s = readings(padded[closest_ms : closest_ms + 2 * half_ms], self.interval_ms)
        return d_prime(s, self.oscillator), d_prime(s, self.everything)


def yardstick(scene: Scene, f0_hz: float, interval_ms: int = 20, seed: int = 1_000_003) -> Yardstick:
    """Measure the noise of a scene in CLEAN_RUNS runs without objects, with seeds from `seed` on.

    Knocks are left out, because they are events and not noise.
    """
    dwell_s = max((target.dwell_s for target in scene.target), default=0.0)
    segment_s = max(SEGMENT_S, 2 * WINDOW_S + dwell_s)
    seconds = np.ceil(segment_s / 60) * 60
    clean = replace(scene, target=(), knock=(), glitch=(), lost=(), unplug=(), stopped=(), mark=(), duration_s=seconds)
    segment = round(segment_s * 1000 / interval_ms)
    oscillator, everything = [], []
    for i in range(CLEAN_RUNS):
        parts = components(clean, seed + i, NUISANCE)
        oscillator.append(readings(parts["oscillator"], interval_ms))
        everything.append(readings(sum(parts.values()), interval_ms))
    timing = timing_covariance(f0_hz, scene.oscillator.jitter_ns * 1e-9, interval_ms, segment)
    return Yardstick(
        interval_ms,
        autocovariance(oscillator, segment, segment) + timing,
        autocovariance(everything, segment, segment) + timing,
    )
