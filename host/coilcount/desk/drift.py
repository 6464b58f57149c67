"""Drift of the frequency with time and with temperature, with standard errors that hold for correlated noise."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coilcount.desk.confidence import structure
from coilcount.desk.phases import Phases
from coilcount.desk.stability import oadev, phase

# The recording is divided into about BLOCKS blocks, none shorter than LEAST_BLOCK_S.  All chosen by hand.
LEAST_BLOCK_S, BLOCKS = 1.0, 120
FEWEST = 20  # blocks beyond the number of unknowns; with fewer their noise cannot be estimated
FACTORS = (1, 2, 4, 8)  # averaging factors, in blocks, at which the noise of the residuals is measured
LEAST_RANGE_K = 0.3  # least change of temperature; a smaller one is lost in the noise of the sensor


@dataclass(frozen=True, slots=True)
class Slope:
    """A slope in ppm a minute or ppm a kelvin, and its standard error."""

    value: float
    error: float


@dataclass(frozen=True, slots=True)
class Drift:
    """Drift with time and temperature; None if the recording cannot show it.

    per_minute: from a fit to time alone; per_kelvin: from a fit to temperature and time together.
    """

    per_minute: Slope | None
    per_kelvin: Slope | None
    range_k: float | None  # how far the temperature changed; None if no temperature was recorded


def drift(phases: Phases) -> Drift:
    """Compute the drift from means over blocks.  Each segment has its own level, so no gap affects the result."""
    seconds = phases.readings * phases.tau0_s
    size = max(1, round(max(LEAST_BLOCK_S, seconds / BLOCKS) / phases.tau0_s))
    t, y, segment = _blocks(phases, size)
    if len(t) < FEWEST:
        return Drift(None, None, None)
    per_minute = _slope([t / 60], y, segment)
    known = phases.temperature
    if len(known) < 2:
        return Drift(per_minute, None, None)
    # The mean temperature of a block is less noisy than single values of the sensor.
    fine = np.interp(t[:, None] + np.linspace(-0.5, 0.5, 21) * size * phases.tau0_s, known[:, 0], known[:, 1])
    warmth = fine.mean(axis=1)
    range_k = float(np.ptp(warmth))
    if range_k < LEAST_RANGE_K:
        return Drift(per_minute, None, range_k)
    return Drift(per_minute, _slope([warmth, t / 60], y, segment), range_k)


def _blocks(phases: Phases, size: int) -> tuple[NDArray, NDArray, NDArray]:
    """Times in s, mean frequencies in ppm and segment numbers of blocks of `size` readings."""
    times, means, segments = [], [], []
    for number, run in enumerate(phases.segments):
        y = 1e6 * np.diff(run.x[::size]) / (size * phases.tau0_s)
        t = run.start_s + (np.arange(len(y)) + 0.5) * size * phases.tau0_s
        known = ~np.isnan(y)
        times.append(t[known])
        means.append(y[known])
        segments.append(np.full(np.count_nonzero(known), number))
    return np.concatenate(times), np.concatenate(means), np.concatenate(segments)


def _slope(columns: list[NDArray], y: NDArray, segment: NDArray) -> Slope | None:
    """Fit y to the columns by least squares; return the slope of the first column with its standard error.

    A slope is a sum of blocks with weights w.  So its variance is -1/2 sum of w_i w_j D(i - j), where D(k) is the mean
    square difference of two blocks k apart.  D(1) is measured: twice the Allan variance of one block.  How D grows
    depends on the noise type (white, flicker or random walk FM), which is found from the Allan variance of the
    residuals.  Least squares is used because weighted differences would show the noise of the temperature sensor.
    """
    levels = (segment[:, None] == np.unique(segment)).astype(float)
    design = np.column_stack([*[column - column.mean() for column in columns], levels])
    if len(y) - design.shape[1] < FEWEST or np.linalg.matrix_rank(design) < design.shape[1]:
        return None
    weights = np.linalg.pinv(design)
    coefficients = weights @ y
    residuals = y - design @ coefficients
    parts = [residuals[segment == number] for number in np.unique(segment)]
    segments = [phase(part, 1.0) for part in parts]
    allan = [oadev(segments, 1.0, m).variance for m in FACTORS]
    if not min(allan) > 0:  # an exact line, or segments that are too short
        return None
    # The Allan variance is proportional to tau ** (-1 - alpha).
    alpha = round(min(0.0, max(-2.0, -1 - np.polyfit(np.log(FACTORS), np.log(allan), 1)[0])))
    variance = 0.0
    for number in np.unique(segment):
        w = weights[0, segment == number]
        lags = np.subtract.outer(np.arange(len(w)), np.arange(len(w))).astype(float)
        variance -= float(w @ structure(lags, alpha) @ w) * allan[0]
    return Slope(float(coefficients[0]), float(np.sqrt(max(variance, 0.0))))
