"""Drift with time and with temperature, with standard errors that allow for noise that remembers."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coilcount.desk.phases import Phases

LEAST_BLOCK_S, BLOCKS = 1.0, 120
FEWEST = 20  # blocks: fewer say nothing of their own correlation
LEAST_RANGE_K = 0.3  # of temperature: less drowns in the sensor's own noise


@dataclass(frozen=True, slots=True)
class Slope:
    """In ppm a minute or ppm a kelvin, and its standard error."""

    value: float
    error: float


@dataclass(frozen=True, slots=True)
class Drift:
    """per_minute: with time alone; per_kelvin: of temperature, with time beside it; None where it cannot be told."""

    per_minute: Slope | None
    per_kelvin: Slope | None
    range_k: float | None  # how far the temperature moved, None where none was recorded


def drift(phases: Phases) -> Drift:
    """From means over blocks; each segment has a level of its own, so that nothing is taken across a gap."""
    seconds = phases.readings * phases.tau0_s
    size = max(1, round(max(LEAST_BLOCK_S, seconds / BLOCKS) / phases.tau0_s))
    t, y, segment = _blocks(phases, size)
    if len(t) < FEWEST:
        return Drift(None, None, None)
    per_minute = _slope([t / 60], y, segment)
    known = phases.temperature
    if len(known) < 2:
        return Drift(per_minute, None, None)
    # Means over a block tell more than the sensor's single values.
    fine = np.interp(t[:, None] + np.linspace(-0.5, 0.5, 21) * size * phases.tau0_s, known[:, 0], known[:, 1])
    warmth = fine.mean(axis=1)
    range_k = float(np.ptp(warmth))
    if range_k < LEAST_RANGE_K:
        return Drift(per_minute, None, range_k)
    return Drift(per_minute, _slope([warmth, t / 60], y, segment), range_k)


def _blocks(phases: Phases, size: int) -> tuple[NDArray, NDArray, NDArray]:
    """Times in s, mean frequencies in ppm and segment numbers of blocks of so many readings."""
    times, means, segments = [], [], []
    for number, one in enumerate(phases.segments):
        y = 1e6 * np.diff(one.x[::size]) / (size * phases.tau0_s)
        t = one.start_s + (np.arange(len(y)) + 0.5) * size * phases.tau0_s
        known = ~np.isnan(y)
        times.append(t[known])
        means.append(y[known])
        segments.append(np.full(np.count_nonzero(known), number))
    return np.concatenate(times), np.concatenate(means), np.concatenate(segments)


def _slope(columns: list[NDArray], y: NDArray, segment: NDArray) -> Slope | None:
    """Of the first column, by least squares, with the error under a rest that remembers a share rho from block to block.

    The covariance of least squares with correlated errors (any text on regression), rho from the residuals with the
    bias of F. H. C. Marriott and J. A. Pope, Biometrika 41, 390 (1954) taken out; quoted from memory.  Least squares
    and not weighted differences, since differences would show the temperature sensor's noise.
    """
    levels = (segment[:, None] == np.unique(segment)).astype(float)
    design = np.column_stack([*[column - column.mean() for column in columns], levels])
    freedom = len(y) - design.shape[1]
    if freedom < 3 or np.linalg.matrix_rank(design) < design.shape[1]:
        return None
    inverse = np.linalg.inv(design.T @ design)
    coefficients = inverse @ design.T @ y
    left = y - design @ coefficients
    near = segment[1:] == segment[:-1]
    below = float(left @ left)
    rho = float(left[1:][near] @ left[:-1][near]) / below if below else 0.0
    rho = min(0.99, max(0.0, rho + (1 + 3 * rho) / len(y)))
    apart = np.abs(np.subtract.outer(np.arange(len(y)), np.arange(len(y))))
    correlation = np.where(np.equal.outer(segment, segment), rho**apart, 0.0)
    variance = inverse @ design.T @ correlation @ design @ inverse * below / freedom
    return Slope(float(coefficients[0]), float(np.sqrt(variance[0, 0])))
