"""Runs every method over one test condition: thresholds from runs without objects, then the passes found."""

import pickle
import re
from dataclasses import dataclass, field
from pathlib import Path

import bound
import numpy as np
import rivals
import score
import trackers
from coilcount.tracker.alert import BROAD
from conditions import Condition
from fingerprint import fingerprint, fingerprint_of_results
from score import Found
from series import INTERVAL_S, Data, Pass, data_of, earlier_of
from trackers import EXTRA, GRID, METHODS, Method

BOUND = "bound"
OTHERS = "others"  # a job: the bound and the other methods
# Multiples of its threshold for 1 false alarm a minute, at which a method other than the trackers is judged.  The
# threshold for 0.1 a minute is chosen from these.
FACTORS = 1.02 ** np.arange(50)
# Further settings of false_alarms_per_minute, besides the default 1, that the trackers run with.  10 is there to check
# the rarity of frequent alerts: at a lower setting most of those are not raised.
RATES = (0.3, 3.0, 10.0)
STRAY_REACH_S = 4.0  # passes within this time of a stray alert tell how strong the object beside it is


@dataclass
class Detection:
    """One method over all its thresholds, which rise.

    thresholds: shape (thresholds,).  clean: false alarms in the runs without objects at each, shape (thresholds,).
    minutes: length of these runs.  hit, right: whether each pass is found, and with the right sign, shape (thresholds,
    passes).
    """

    thresholds: np.ndarray
    clean: np.ndarray
    minutes: float
    hit: np.ndarray
    right: np.ndarray

    def at_rate(self, rate: float) -> int:
        """Return the position of the lowest threshold with at most `rate` false alarms a minute."""
        within = np.flatnonzero(self.clean <= round(rate * self.minutes))
        return int(within[0]) if len(within) else len(self.clean) - 1

    def further(self, position: int, factor: float) -> int:
        """Return the position of the lowest threshold of at least `factor` times that of a position."""
        above = int(np.searchsorted(self.thresholds, self.thresholds[position] * factor * (1 - 1e-6)))
        return min(above, len(self.thresholds) - 1)


@dataclass
class Stray:
    """An alert on swept ground that belongs to no pass.

    away_s: time to the nearest pass.  strongest: largest d' against the oscillator alone of the passes within
    STRAY_REACH_S; 0.0 if there is none.
    """

    score: float
    sign: int
    away_s: float
    strongest: float


@dataclass
class Point:
    """A tracker at one setting.

    clean: the alerts of each run without objects.  found: the alert of each pass, or None.  clean_broad, swept_broad:
    dips that were broader than any pass, in the runs without and with objects, whether they raised an alert or not.
    """

    clean: list[list[Found]] = field(default_factory=list)
    found: list[Found | None] = field(default_factory=list)
    clean_broad: int = 0
    swept_broad: int = 0
    strays: list[Stray] = field(default_factory=list)

    def false_alarms(self) -> int:
        """Return how many alerts were raised where nothing is."""
        return sum(map(len, self.clean))

    def lasting_false_alarms(self) -> int:
        """Return the same without the alerts that ended as broad dips."""
        return sum(BROAD not in alert.reasons for alerts in self.clean for alert in alerts)


@dataclass
class Result:
    """The results of one test condition.

    scenes: number of the run of each pass, shape (passes,).  detections: by the name of the method.
    points: by the name of a tracker, then by the setting false_alarms_per_minute.
    """

    name: str
    passes: list[Pass]
    scenes: np.ndarray
    clean_minutes: float
    swept_minutes: float
    detections: dict[str, Detection] = field(default_factory=dict)
    points: dict[str, dict[float, Point]] = field(default_factory=dict)


@dataclass(frozen=True)
class Job:
    """A part of the work on one condition, for one process.  method: the name of a tracker, or OTHERS."""

    condition: Condition
    method: str
    tuning: bool
    clean_minutes: float
    swept_minutes: float
    cache: Path

    def data(self) -> Data:
        return data_of(self.condition, self.tuning, self.clean_minutes, self.swept_minutes, self.cache)


def prepare(job: Job) -> Result:
    """Make the data of a condition; return its passes, without the results of any method."""
    data = job.data()
    earlier_of(job.condition, job.tuning, job.cache)
    scenes = [number for number, run in enumerate(data.swept) for _ in run.passes]
    passes = [pass_ for run in data.swept for pass_ in run.passes]
    swept_minutes = sum(len(run.y) for run in data.swept) * INTERVAL_S / 60
    return Result(job.condition.name, passes, np.array(scenes, dtype=int), data.clean_minutes, swept_minutes)


def run(job: Job) -> tuple[Job, dict[str, Detection], dict[float, Point]]:
    """Do one job, or load its results from the folder of the cache if they are there."""
    method = next((method for method in (*METHODS, *EXTRA) if method.name == job.method), None)
    name = f"{job.condition.name}-{job.tuning}-{job.clean_minutes:g}-{job.swept_minutes:g}-{job.method}"
    code = f"{fingerprint()}-{fingerprint_of_results(method is not None)}"
    path = job.cache / f"results-{re.sub('[^a-z0-9.]+', '-', name.lower())}-{code}.pickle"
    if path.exists():
        return job, *pickle.loads(path.read_bytes())
    done = _run(job, method)
    path.write_bytes(pickle.dumps(done[1:]))
    return done


def _run(job: Job, method: Method | None) -> tuple[Job, dict[str, Detection], dict[float, Point]]:
    data = job.data()
    if method is None:
        found = {BOUND: _bound(data)}
        for rival, (statistic, lag_s) in rivals.RIVALS.items():
            found[rival] = _rival(data, statistic, lag_s)
        return job, found, {}
    earlier = earlier_of(job.condition, job.tuning, job.cache) if method.protocol == trackers.KEPT else None
    make = method.maker(data, earlier)
    if method in EXTRA:
        return job, {}, {1.0: point_of(make, method, data)}
    detection, points = detect(make, method, data)
    return job, {method.name: detection}, points


def assemble(results: dict[str, Result], done) -> dict[str, Result]:
    """Put what run() returned into the results of its condition."""
    for job, detections, points in done:
        result = results[job.condition.name]
        result.detections.update(detections)
        if points:
            result.points[job.method] = points
    return results


def detect(make, method: Method, data: Data) -> tuple[Detection, dict[float, Point]]:
    """Run a tracker at all thresholds of GRID and at all rates, in one pass."""
    clean = np.zeros(len(GRID), dtype=int)
    found: list[list[Found | None]] = [[] for _ in GRID]
    points = {rate: Point(clean=[[] for _ in data.clean]) for rate in (1.0, *RATES)}
    for heard in trackers.through(lambda: make(GRID, RATES), method.protocol, data):
        every = trackers.further_alerts(heard.further, len(GRID) + len(RATES))
        _add_settings(points[1.0], heard)
        for rate, alerts in zip(RATES, every[len(GRID) :], strict=True):
            _add(points[rate], heard, alerts)
        for position, alerts in enumerate(every[: len(GRID)]):
            if heard.clean:
                clean[position] += len(alerts)
            else:
                found[position] += score.match(heard.run.passes, alerts)[0]
    passes = [pass_ for run in data.swept for pass_ in run.passes]
    return Detection(np.array(GRID), clean, data.clean_minutes, *hits(found, passes)), points


def point_of(make, method: Method, data: Data) -> Point:
    """Run a tracker at the threshold of its settings alone."""
    point = Point(clean=[[] for _ in data.clean])
    for heard in trackers.through(make, method.protocol, data):
        _add_settings(point, heard)
    return point


def _add_settings(point: Point, heard: trackers.Heard) -> None:
    _add(point, heard, trackers.alerts_of(heard.events))
    if heard.clean:
        point.clean_broad += heard.broad
    else:
        point.swept_broad += heard.broad


def _add(point: Point, heard: trackers.Heard, alerts: list[Found]) -> None:
    if heard.clean:
        point.clean[heard.number] = alerts
        return
    point.found += score.match(heard.run.passes, alerts)[0]
    point.strays += strays_of(heard.run.passes, alerts)


def strays_of(passes: list[Pass], alerts: list[Found]) -> list[Stray]:
    """Return the alerts of one run that belong to no pass."""
    strays = []
    for alert in alerts:
        if not passes or any(score.belongs(alert, pass_) for pass_ in passes):
            continue
        away = [max(0.0, abs(alert.peak_s - pass_.at_s) - pass_.rest_s / 2) for pass_ in passes]
        near = [pass_.d for pass_, s in zip(passes, away, strict=True) if s <= STRAY_REACH_S]
        strays.append(Stray(alert.score, alert.sign, min(away), max(near, default=0.0)))
    return strays


def hits(found: list[list[Found | None]], passes: list[Pass]) -> tuple[np.ndarray, np.ndarray]:
    """Return whether each pass is found, and with the right sign, at each threshold; shape (thresholds, passes)."""
    hit = np.array([[alert is not None for alert in alerts] for alerts in found])
    right = np.array([
        [alert is not None and alert.sign == pass_.sign for alert, pass_ in zip(alerts, passes, strict=True)]
        for alerts in found
    ])  # fmt: skip
    return hit.reshape(len(found), -1), right.reshape(len(found), -1)


def _bound(data: Data) -> Detection:
    sizes, minutes = bound.clean_peaks(data)
    thresholds = float(sizes[round(minutes)]) * (1 + 1e-9) * FACTORS
    clean = np.array([np.sum(sizes >= threshold) for threshold in thresholds])
    strengths = [[bound.strength(run, pass_, data.covariance) for pass_ in run.passes] for run in data.swept]
    found = [
        [
            alert
            for run, values in zip(data.swept, strengths, strict=True)
            for alert in bound.alerts(run, values, threshold)
        ]
        for threshold in thresholds
    ]
    passes = [pass_ for run in data.swept for pass_ in run.passes]
    return Detection(thresholds, clean, minutes, *hits(found, passes))


def _rival(data: Data, statistic, lag_s: float) -> Detection:
    def settled(y):
        z = statistic(y)
        z[: rivals.WARM] = 0.0
        return z

    minutes = data.clean_minutes
    series = [settled(run.y) for run in data.clean]
    thresholds = score.threshold_for(series, minutes, 1.0) * FACTORS
    sizes = np.concatenate([np.abs(z[score.peaks(z, 0.5 * thresholds[0])]) for z in series])
    clean = np.array([np.sum(sizes >= threshold) for threshold in thresholds])
    series = [settled(run.y) for run in data.swept]
    found = [
        [
            alert
            for run, z in zip(data.swept, series, strict=True)
            for alert in score.match(run.passes, score.alerts_of(z, run.first_s, lag_s, threshold))[0]
        ]
        for threshold in thresholds
    ]
    passes = [pass_ for run in data.swept for pass_ in run.passes]
    return Detection(thresholds, clean, minutes, *hits(found, passes))
