"""Noise and drift of a build from the readings of its recordings, with intervals.  Objects may lie in them."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt
from statistics import mean, stdev

import numpy as np
from numpy.typing import NDArray
from scipy.stats import t as student

from coilcount.desk import stability
from coilcount.desk.drift import drift
from coilcount.desk.paired import median_interval
from coilcount.desk.phases import LEAST, Phases, Segment
from coilcount.model import Label, Series
from coilcount.model.noise_report import Interval95
from coilcount.readings.noise import BLOCK

# All four chosen by hand.
PIECE_S = 10.0  # s: the noise of one reading is measured in pieces of this length
SCATTER_TAU_S = 0.32  # s: about the length of a pass, so that this noise hides passes
ASIDE_S = 0.5  # s: readings this near to a label are left out of the scatter
_FEWEST_FOR_T = 3  # recordings from which the interval of the drift comes from how they differ

_MEDIAN_IN_SIGMA = 0.6744897501960817  # median of |x| of a normal distribution, in sigma
_STEP = 1.5  # spacings of readings: a larger step ends a stretch


@dataclass(frozen=True, slots=True)
class NoiseFigures:
    """What one recording adds to the noise of its build."""

    piece_ppm: tuple[float, ...]  # noise of one reading, one value for each PIECE_S
    frequency_hz: float
    spacing_s: float
    stretches: tuple[NDArray, ...]  # phase in s, without the labelled spans
    drift: tuple[float, float] | None  # ppm a minute, and its standard error


def noise_figures(series: Series, labels: Sequence[Label]) -> NoiseFigures | None:
    """Measure one recording; None if it has too few readings."""
    time_s, frequency_hz = np.array(series.time_s), np.array(series.frequency_hz)
    if len(time_s) < BLOCK:
        return None
    spacing_s = float(np.median(np.diff(time_s)))
    reference_hz = float(np.median(frequency_hz))
    y = frequency_hz / reference_hz - 1
    cuts = np.flatnonzero(np.diff(time_s) > _STEP * spacing_s) + 1
    whole = list(zip(np.split(time_s, cuts), np.split(y, cuts), strict=True))
    kept = np.ones(len(time_s), bool)
    for label in labels:
        kept &= (time_s < label.start_s - ASIDE_S) | (time_s > label.end_s + ASIDE_S)
    edges = np.flatnonzero(np.diff(kept)) + 1
    cuts = np.union1d(cuts, edges)
    parts = zip(np.split(y, cuts), np.split(kept, cuts), strict=True)
    stretches = [stability.phase(part, spacing_s) for part, keep in parts if len(part) and keep[0]]
    return NoiseFigures(
        piece_ppm=tuple(_pieces(whole, spacing_s)),
        frequency_hz=reference_hz,
        spacing_s=spacing_s,
        stretches=tuple(stretches),
        drift=_drift(whole, spacing_s, reference_hz),
    )


def reading_noise(recordings: Sequence[NoiseFigures]) -> Interval95 | None:
    """Median noise of one reading in ppm, over pieces of 10 s; None for fewer than 6 pieces."""
    found = median_interval([piece for recording in recordings for piece in recording.piece_ppm])
    return None if found is None else Interval95(*found)


def scatter(recordings: Sequence[NoiseFigures]) -> tuple[Interval95, float] | None:
    """Overlapping Allan deviation in ppm at about SCATTER_TAU_S, and that averaging time; None for too few readings."""
    if not recordings:
        return None
    spacing_s = recordings[0].spacing_s
    m = max(1, round(SCATTER_TAU_S / spacing_s))
    # Recordings with another spacing cannot be added to those of the first one.
    alike = [figures for figures in recordings if abs(figures.spacing_s / spacing_s - 1) < 0.01]
    rows = stability.table([x for figures in alike for x in figures.stretches if len(x) > 2 * m], spacing_s, [m])
    if not rows:
        return None
    deviation = rows[0].oadev
    return Interval95(*(1e6 * value for value in (deviation.value, deviation.low, deviation.high))), m * spacing_s


def mean_drift(recordings: Sequence[NoiseFigures]) -> Interval95 | None:
    """Mean drift in ppm a minute; None if no recording shows one.

    From three recordings on, the interval comes from how much they differ (Student's t); below, from their own errors.
    """
    slopes = [figures.drift for figures in recordings if figures.drift is not None]
    if not slopes:
        return None
    values = [value for value, _ in slopes]
    middle = mean(values)
    if len(slopes) >= _FEWEST_FOR_T:
        half = float(student.ppf(0.975, len(slopes) - 1)) * stdev(values) / sqrt(len(slopes))
    else:
        half = 1.96 * sqrt(sum(error**2 for _, error in slopes)) / len(slopes)
    return Interval95(middle, middle - half, middle + half)


def _pieces(stretches: Sequence[tuple[NDArray, NDArray]], spacing_s: float) -> list[float]:
    """Noise in ppm of each piece: the scatter around lines through blocks of 25 readings, as in `readings.noise`."""
    blocks = max(1, round(PIECE_S / (BLOCK * spacing_s)))
    size = blocks * BLOCK
    steps = np.arange(BLOCK) - (BLOCK - 1) / 2
    found = []
    for _, y in stretches:
        count = len(y) // size
        rows = y[: count * size].reshape(-1, BLOCK)
        centred = rows - rows.mean(axis=1, keepdims=True)
        slope = centred @ steps / (steps @ steps)
        residual = np.abs(centred - slope[:, None] * steps) * sqrt(BLOCK / (BLOCK - 2))
        found += list(1e6 * np.median(residual.reshape(count, -1), axis=1) / _MEDIAN_IN_SIGMA) if count else []
    return [float(value) for value in found]


def _drift(
    stretches: Sequence[tuple[NDArray, NDArray]], spacing_s: float, reference_hz: float
) -> tuple[float, float] | None:
    segments = [Segment(float(times[0]), stability.phase(y, spacing_s)) for times, y in stretches if len(y) >= LEAST]
    if not segments:
        return None
    readings = sum(len(segment.x) for segment in segments)
    phases = Phases(tuple(segments), spacing_s, reference_hz, np.empty((0, 2)), readings, 0, 0.0)
    slope = drift(phases).per_minute
    return None if slope is None else (slope.value, slope.error)
