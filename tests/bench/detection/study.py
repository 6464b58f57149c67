"""Runs every method over one test condition: first thresholds from runs without objects, then the passes found."""

from dataclasses import dataclass, field
from pathlib import Path

import bound
import numpy as np
import rivals
import score
import trackers
from kinds import KINDS, Kind
from score import Found
from series import INTERVAL_S, Pass, data_of

TRACKER = "tracker"
LEARNED = "learned"  # the tracker with a noise profile from a sweep without objects
BOUND = "bound"
# Multiples of the threshold for 1 false alarm a minute.  The threshold for 0.1 a minute is chosen from these.
FACTORS = tuple(float(f) for f in np.round(1.1 ** np.arange(8), 4))


@dataclass
class Result:
    """The results of one test condition.  Every dictionary has the method as its key.

    thresholds: threshold for 1 false alarm a minute; clean: number of false alarms in the runs without objects, at each
    of FACTORS times the threshold; minutes: length of these runs; found: for each of FACTORS, the alert of each pass or
    None.
    """

    kind: str
    passes: list[Pass]
    swept_minutes: float
    thresholds: dict[str, float] = field(default_factory=dict)
    clean: dict[str, list[int]] = field(default_factory=dict)
    minutes: dict[str, float] = field(default_factory=dict)
    found: dict[str, list[list[Found | None]]] = field(default_factory=dict)
    # False alarms and alerts of the trackers at the default threshold.
    default_clean: dict[str, int] = field(default_factory=dict)
    default_found: dict[str, list[Found | None]] = field(default_factory=dict)


def study(name: str, tuning: bool, clean_minutes: float, swept_minutes: float, cache: Path | None,
          with_rivals: bool) -> Result:  # fmt: skip
    """Run every method over the test condition of this name."""
    return study_kind(KINDS[name], tuning, clean_minutes, swept_minutes, cache, with_rivals)


def study_kind(kind: Kind, tuning: bool, clean_minutes: float, swept_minutes: float, cache: Path | None,
               with_rivals: bool) -> Result:  # fmt: skip
    """Run every method over a test condition; without rivals, only the tracker and the bound."""
    data = data_of(kind, tuning, clean_minutes, swept_minutes, cache)
    minutes = sum(len(run.y) for run in data.clean) * INTERVAL_S / 60
    result = Result(kind.name, [pass_ for run in data.swept for pass_ in run.passes], swept_minutes)
    _tracker(data, minutes, result, TRACKER)
    _tracker(data, minutes, result, LEARNED, noise_ppm_rthz=data.noise_ppm_rthz)
    _bound(data, result)
    if with_rivals:
        for rival, (statistic, lag_s) in rivals.RIVALS.items():
            _rival(data, minutes, result, rival, statistic, lag_s)
    return result


def _tracker(data, minutes, result, name, **settings):
    def count(threshold):
        return trackers.count(data.clean, threshold, **settings)

    def found(threshold):
        runs = ((run, trackers.run_tracker(run, threshold, **settings)[0]) for run in data.swept)
        return [alert for run, alerts in runs for alert in score.match(run.passes, alerts)[0]]

    base_threshold = trackers.threshold_for(count, minutes, 1.0)
    result.thresholds[name] = base_threshold
    result.minutes[name] = minutes
    result.clean[name] = [count(base_threshold * factor) for factor in FACTORS]
    result.found[name] = [found(base_threshold * factor) for factor in FACTORS]
    result.default_clean[name] = count(trackers.DEFAULT)
    result.default_found[name] = found(trackers.DEFAULT)


def _bound(data, result):
    sizes, minutes = bound.clean_peaks(data)
    base_threshold = float(sizes[round(minutes)]) * (1 + 1e-9)
    result.thresholds[BOUND] = base_threshold
    result.minutes[BOUND] = minutes
    result.clean[BOUND] = [int(np.sum(sizes >= base_threshold * factor)) for factor in FACTORS]
    strengths = [[bound.strength(run, pass_, data.covariance) for pass_ in run.passes] for run in data.swept]
    result.found[BOUND] = [
        [
            alert
            for run, values in zip(data.swept, strengths, strict=True)
            for alert in bound.alerts(run, values, base_threshold * factor)
        ]
        for factor in FACTORS
    ]


def _rival(data, minutes, result, name, statistic, lag_s):
    def warm(y):
        z = statistic(y)
        z[: rivals.WARM] = 0.0
        return z

    clean = [warm(run.y) for run in data.clean]
    base_threshold = score.threshold_for(clean, minutes, 1.0)
    sizes = np.concatenate([np.abs(z[score.peaks(z, 0.5 * base_threshold)]) for z in clean])
    result.thresholds[name] = base_threshold
    result.minutes[name] = minutes
    result.clean[name] = [int(np.sum(sizes >= base_threshold * factor)) for factor in FACTORS]
    series = [warm(run.y) for run in data.swept]
    result.found[name] = [
        [
            alert
            for run, z in zip(data.swept, series, strict=True)
            for alert in score.match(run.passes, score.alerts_of(z, run.first_s, lag_s, base_threshold * factor))[0]
        ]
        for factor in FACTORS
    ]
