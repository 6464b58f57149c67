"""Several passes over one object, as when a user searches its centre: how often each pass has the right sign."""

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import objects
import trackers
from coilcount.simulate.coil import CoilModel
from coilcount.simulate.scene import Scene
from conditions import CONDITIONS, FIRST_S, LAST_S, SECONDS, Condition, scene_of, target_of
from score import counts, match
from series import Run, data_of, kept, measure_of, run_of

CHANCE = "junk"  # another object every second: several passes with the same sign are chance
GROUNDS = ("garden", "mineral", "sun", CHANCE)
SEED = {True: 40_000, False: 800_000}  # first seed, for choosing constants (True) and for the figures (False)
# Objects for the figures, and for choosing constants.
THINGS = (objects.TEST + objects.IRON_TEST, objects.TUNING + objects.IRON_TUNING)
FLAT = {thing.name for thing in objects.IRON_TEST + objects.IRON_TUNING}
CLEAR_S = 5.0  # between two objects: longer than the 4 s in which the tracker joins alerts to one object


def scene(condition: Condition, seed: int, tuning: bool) -> Scene:
    """Return a scene of two minutes in which the coil passes each object 2 to 4 times, back and forth.

    The passes over an object are 0.8 to 1.3 s apart.  Their offsets differ by about 2 cm.
    """
    rng = np.random.default_rng([seed, 7, tuning])
    targets = []
    pass_s = FIRST_S
    things = THINGS[tuning]
    while True:
        thing = things[rng.integers(len(things))]
        speed = float(rng.uniform(condition.slowest, condition.fastest))
        first = target_of(thing, rng, pass_s, speed)
        for k in range(rng.integers(2, 5)):
            if pass_s > SECONDS - LAST_S:
                return replace(scene_of(condition, seed, False, tuning), target=tuple(targets))
            # Coming back, the coil meets the object from its other side.
            turn = first.turn_deg if k % 2 == 0 else (first.turn_deg + 360) % 360 - 180
            aside = float(np.clip(first.offset_cm + rng.normal(0, 2), -8, 8))
            speed_k = float(np.clip(speed * rng.uniform(0.8, 1.25), 0.2, 1.4))
            targets.append(replace(first, at_s=(pass_s,), turn_deg=turn, offset_cm=aside, speed_m_s=speed_k))
            pass_s += float(rng.uniform(0.8, 1.3))
        pass_s += CLEAR_S


@dataclass(frozen=True)
class Row:
    """One pass that was found and has a confidence.  sign, metal: whether the sign and the response are right."""

    seen: int
    confidence: float
    sign: bool
    metal: bool
    flat_iron: bool


METHODS = (trackers.FRESH_TRACKER, trackers.WARM_TRACKER)


def study(ground: str, tuning: bool, minutes: float, cache: Path | None) -> tuple[str, dict[str, list[Row]]]:
    """Return the name of the condition, and the rows of each tracker.

    A pass has a row if it counts, was found, and its alert has a sign confidence.
    """
    if ground == CHANCE:
        runs = data_of(CONDITIONS[CHANCE], tuning, 2, minutes, cache).swept
    else:
        runs = runs_of(CONDITIONS[ground], tuning, max(1, round(minutes / 2)), cache)
    return ground, {method.name: rows_of(method, runs) for method in METHODS}


def rows_of(method: trackers.Method, runs: list[Run]) -> list[Row]:
    """Return the rows of one tracker."""
    rows = []
    for run, alerts, _ in trackers.swept_alerts(method, runs, method.maker(None)):
        for pass_, alert in zip(run.passes, match(run.passes, alerts)[0], strict=True):
            if alert is None or alert.confidence is None or not counts(pass_):
                continue
            metal = (alert.response == "ferrous") == pass_.iron
            rows.append(Row(alert.seen, alert.confidence, alert.sign == pass_.sign, metal, pass_.name in FLAT))
    return rows


def runs_of(condition: Condition, tuning: bool, many: int, cache: Path | None) -> list[Run]:
    """Simulate `many` runs, or load them from the folder `cache` if they are there."""

    def make() -> list[Run]:
        first = scene(condition, SEED[tuning], tuning)
        coil = CoilModel(first)
        measure = measure_of(first, coil, tuning)
        return [run_of(scene(condition, SEED[tuning] + i, tuning), coil, measure) for i in range(many)]

    return kept(f"again-{condition.name}-{'tuning' if tuning else 'test'}-{many}", cache, make)
