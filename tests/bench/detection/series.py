"""Simulated data: the intervals that a board would count, the readings from them, and the true passes."""

import os
import pickle
from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
from coilcount.desk.spectrum import noise_ppm_rthz
from coilcount.model import Line
from coilcount.simulate.coil import CoilModel, is_iron
from coilcount.simulate.dprime import WINDOW_S, d_prime, readings, yardstick
from coilcount.simulate.lines import entries
from coilcount.simulate.passes import passes_of
from coilcount.simulate.scene import Scene
from coilcount.tracker.series import Decoder, Repair
from coilwire import frame, records
from conditions import Condition, scene_of
from fingerprint import fingerprint
from spectrum import ground_covariance, matched

INTERVAL_MS = 20
INTERVAL_S = INTERVAL_MS / 1000
ALONE_S = 2.0  # a pass is isolated if no other pass is within this many seconds; chosen by hand
# First seed of each set of runs, with the scenes for choosing constants (True) and for the figures (False).
CLEAN_SEED = {True: 10_000, False: 500_000}  # runs without objects
LEARN_SEED = {True: 30_000, False: 700_000}  # runs for the noise profile
SWEPT_SEED = {True: 20_000, False: 600_000}  # runs with objects
EARLIER_SEED = {True: 25_000, False: 650_000}  # runs with objects, of an earlier session
# How much is simulated, and how much of it is used, was chosen by hand.
LEARN_RUNS = 2  # runs of two minutes for the noise profile
EARLIER_RUNS = 3  # runs of two minutes of an earlier session, whose learned state is kept
LEARN_FROM = 100  # the first 2 s of readings are left out, because they belong to the warm-up
YARDSTICK_SEED = 1_000_003
LAGS = 600  # readings: longest lag of the autocovariances, 12 s


@dataclass(frozen=True)
class Measure:
    """Autocovariances of the readings, shape (LAGS,): with the oscillator noise only, and with all noise."""

    oscillator: np.ndarray
    everything: np.ndarray


@dataclass
class Pass:
    """One pass with its true properties.

    width_s: time from the first to the last moment at which |shift| is at least half its peak; two_faced: the shift
    also goes the other way by more than half its peak; alone: the pass is isolated; shape: (150,) readings of the pass
    in 1e-9, with at_s in the middle.
    """

    name: str
    iron: bool
    at_s: float
    rest_s: float
    depth_cm: float
    width_s: float
    sign: int
    peak_ppm: float
    d: float  # d' against the oscillator noise only
    d_all: float  # d' against all noise
    two_faced: bool
    alone: bool
    shape: np.ndarray


@dataclass
class Run:
    """One run of two minutes.  intervals: arguments of Tracker.interval; y: readings in 1e-9; first_s: time of y[0]."""

    intervals: list[tuple[int, ...]]
    y: np.ndarray
    first_s: float
    passes: list[Pass]


@dataclass
class Data:
    """All data of one test condition.  clean: runs without objects; swept: runs with objects."""

    name: str
    clean: list[Run]
    swept: list[Run]
    covariance: np.ndarray  # autocovariance of the relative readings, with all noise
    noise_ppm_rthz: tuple[float, ...]  # noise profile from further runs, as `coilcount noise` computes it

    @property
    def clean_minutes(self) -> float:
        """Minutes of readings in the runs without objects."""
        return sum(len(run.y) for run in self.clean) * INTERVAL_S / 60


def data_of(condition: Condition, tuning: bool, clean_minutes: float, swept_minutes: float,
            cache: Path | None) -> Data:  # fmt: skip
    """Make the data of one test condition, or load them from the folder `cache` if they are there."""

    def make() -> Data:
        scene = scene_of(condition, 0, True, tuning)
        coil = CoilModel(scene)
        measure = measure_of(scene, coil, tuning)
        number = number_of(condition)
        clean = [
            run_of(scene_of(condition, CLEAN_SEED[tuning] + number + i, False, tuning), coil, measure)
            for i in range(round(clean_minutes / 2))
        ]
        swept = [
            run_of(scene_of(condition, SWEPT_SEED[tuning] + number + i, True, tuning), coil, measure)
            for i in range(round(swept_minutes / 2))
        ]
        profile = learned(condition, coil, tuning, LEARN_SEED[tuning] + number)
        return Data(condition.name, clean, swept, measure.everything, profile)

    return kept(f"{condition.name}-{_set(tuning)}-{clean_minutes:g}-{swept_minutes:g}", cache, make)


def earlier_of(condition: Condition, tuning: bool, cache: Path | None) -> list[Run]:
    """Make the runs of an earlier session with objects, on seeds of its own, or load them from the folder `cache`."""

    def make() -> list[Run]:
        coil = CoilModel(scene_of(condition, 0, True, tuning))
        first = EARLIER_SEED[tuning] + number_of(condition)
        scenes = [scene_of(condition, first + i, True, tuning) for i in range(EARLIER_RUNS)]
        return [run_of(scene, coil, None) for scene in scenes]

    return kept(f"{condition.name}-{_set(tuning)}-earlier", cache, make)


def kept(name: str, cache: Path | None, make: Callable[[], Any]) -> Any:
    """Load data from the folder `cache`.  If they are not there, call `make`, and store what it returns.

    cache: None to store nothing.  The file's name has a fingerprint of the code that makes the data, so data of other
    code are never used.
    """
    if cache is None:
        return make()
    path = cache / f"{name}-{fingerprint()}.pickle".replace(" ", "-")
    if path.exists():
        return pickle.loads(path.read_bytes())
    made = make()
    cache.mkdir(parents=True, exist_ok=True)
    # Another process may look for the file now: it appears whole or not at all.
    part = path.with_suffix(f".{os.getpid()}")
    part.write_bytes(pickle.dumps(made))
    part.replace(path)
    return made


def number_of(condition: Condition) -> int:
    """Return the number that keeps the seeds of the conditions apart."""
    return sum(ord(letter) * 7**i for i, letter in enumerate(condition.name)) % 997 * 100


def _set(tuning: bool) -> str:
    return "tuning" if tuning else "test"


def learned(condition: Condition, coil: CoilModel, tuning: bool, seed: int) -> tuple[float, ...]:
    """Compute the noise profile from four minutes without objects.

    The scenes have no knocks, because `coilcount noise` refuses a recording that has them.
    """
    phases = []
    for i in range(LEARN_RUNS):
        y = run_of(replace(scene_of(condition, seed + i, False, tuning), knock=()), coil, None).y
        phases.append(np.cumsum(y[LEARN_FROM:] * 1e-9 * INTERVAL_S))
    return noise_ppm_rthz(phases, INTERVAL_S)


def measure_of(scene: Scene, coil: CoilModel, tuning: bool) -> Measure:
    oscillator = yardstick(replace(scene, target=()), coil.f0_hz, INTERVAL_MS, YARDSTICK_SEED).oscillator
    return Measure(oscillator, ground_covariance(scene, coil.f0_hz, INTERVAL_MS, YARDSTICK_SEED + 100 * tuning, LAGS))


def run_of(scene: Scene, coil: CoilModel, measure: Measure | None) -> Run:
    """Simulate one run.  measure: None if the true passes are not needed."""
    intervals = []
    for entry in entries(scene, scene.seed, INTERVAL_MS):
        parsed = frame.parse(entry.data) if isinstance(entry, Line) else None
        if parsed is not None and parsed.kind == "I":
            record = records.read(parsed)
            intervals.append((record.sequence * INTERVAL_MS * 1000 + INTERVAL_MS * 500, *record[:5]))
    y, first_s = readings_of(intervals)
    return Run(intervals, y, first_s, truth_of(scene, coil, measure))


def readings_of(intervals: list[tuple[int, ...]]) -> tuple[np.ndarray, float]:
    """Return the readings in 1e-9 and the time of the first one in s, decoded and repaired as the tracker does it."""
    decoder = Decoder(INTERVAL_MS * 1000)
    repair = Repair()
    out: list[int] = []
    for interval in intervals:
        for _ in range(max(decoder.interval(*interval[1:]), 0)):
            repair.push(decoder.y, decoder.edge, out)
    repair.flush(out)
    last_s = intervals[-1][0] / 1e6 - INTERVAL_S / 2
    return np.array(out, dtype=float), last_s - (len(out) - 1) * INTERVAL_S


def truth_of(scene: Scene, coil: CoilModel, measure: Measure | None) -> list[Pass]:
    """Compute the true properties of every pass of the scene, in the order of time.  None without a measure."""
    found = []
    if measure is None:
        return found
    for pass_ in passes_of(scene):
        target = pass_.target
        half_s = WINDOW_S + target.dwell_s / 2
        closest_s = pass_.closest_s
        t = closest_s + np.arange(-round(1000 * half_s), round(1000 * half_s)) * 1e-3
        down_m = np.full_like(t, (scene.sweep.height_cm + target.depth_cm) / 100)
        y = coil.object_shift(target, pass_.along_m(t), down_m)[0]
        peak = y[np.argmax(np.abs(y))]
        high = np.flatnonzero(np.abs(y) >= 0.5 * abs(peak))
        shape = readings(y, INTERVAL_MS)
        found.append(
            Pass(
                name=target.object,
                iron=is_iron(target),
                at_s=float(closest_s),
                rest_s=target.dwell_s,
                depth_cm=target.depth_cm,
                width_s=float(high[-1] - high[0] + 1) / 1000,
                sign=1 if peak > 0 else -1,
                peak_ppm=float(1e6 * peak),
                d=d_prime(shape, measure.oscillator),
                d_all=matched(shape, measure.everything[: len(shape)])[1],
                two_faced=bool(-(y * np.sign(peak)).min() > 0.5 * abs(peak)),
                alone=True,
                shape=1e9 * shape,
            )
        )
    for a, b in pairwise(found):
        if b.at_s - a.at_s - (a.rest_s + b.rest_s) / 2 < ALONE_S:
            a.alone = b.alone = False
    return found
