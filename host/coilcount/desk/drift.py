"""Drift with time and with temperature, with standard errors that allow for noise that remembers."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coilcount.desk.confidence import structure
from coilcount.desk.phases import Phases
from coilcount.desk.stability import oadev, phase

LEAST_BLOCK_S, BLOCKS = 1.0, 120
FEWEST = 20  # blocks beyond the unknowns: fewer say nothing of their own noise
FACTORS = (1, 2, 4, 8)  # of blocks: where the noise beside the slope is looked at
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
    """Of the first column, by least squares, with the error that the noise beside it leaves.

    A slope is a sum of weights w times blocks, so its variance is -1/2 sum of w_i w_j D(i - j), D(k) the mean square of
    the difference of blocks k apart.  D(1) is measured, twice the Allan variance of a block; how D grows follows from
    the slope of the residuals' Allan variance (white, flicker or random walk FM).  Least squares and not weighted
    differences, since differences would show the temperature sensor's noise.
    """
    levels = (segment[:, None] == np.unique(segment)).astype(float)
    design = np.column_stack([*[column - column.mean() for column in columns], levels])
    if len(y) - design.shape[1] < FEWEST or np.linalg.matrix_rank(design) < design.shape[1]:
        return None
    weights = np.linalg.pinv(design)
    coefficients = weights @ y
    left = y - design @ coefficients
    parts = [left[segment == one] for one in np.unique(segment)]
    segments = [phase(part, 1.0) for part in parts]
    allan = [oadev(segments, 1.0, m).variance for m in FACTORS]
    if not min(allan) > 0:  # a line to the last digit, or segments too short
        return None
    # Allan variance goes as tau ** (-1 - alpha).
    alpha = round(min(0.0, max(-2.0, -1 - np.polyfit(np.log(FACTORS), np.log(allan), 1)[0])))
    variance = 0.0
    for one in np.unique(segment):
        w = weights[0, segment == one]
        apart = np.subtract.outer(np.arange(len(w)), np.arange(len(w))).astype(float)
        variance -= float(w @ structure(apart, alpha) @ w) * allan[0]
    return Slope(float(coefficients[0]), float(np.sqrt(max(variance, 0.0))))
