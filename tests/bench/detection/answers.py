"""Isolated flat iron and non-ferrous objects: the response of the tracker, next to the response by the sign alone."""

from collections import Counter
from dataclasses import replace
from pathlib import Path

import objects
import trackers
from conditions import CONDITIONS, IRON
from score import match
from series import Data, data_of

GROUNDS = ("bench", "garden")
LEAST_D = 30.0  # d' against the oscillator alone; passes with less are left out; chosen by hand


METHODS = (trackers.FRESH_TRACKER, trackers.WARM_TRACKER, trackers.FRESH_PROFILE)

Rows = list[tuple[str, int, int, int]]


def study(ground: str, tuning: bool, minutes: float, cache: Path | None) -> list[tuple[str, Rows]]:
    """Return (tracker and condition, rows) for each tracker.

    A row: (name, passes found, how many the sign alone calls non-ferrous, how many the tracker calls non-ferrous).
    """
    other = tuple(thing for thing in objects.TUNING if thing.metal != "steel"), tuple(
        thing for thing in objects.TEST if thing.metal != "steel"
    )
    condition = replace(CONDITIONS[ground], name=f"answers {ground}", every_s=3.6)
    rows: dict[str, Rows] = {method.name: [] for method in METHODS}
    for word, things in (("iron", IRON.things), ("non-ferrous", other[::-1])):
        own = replace(condition, name=f"{word} {condition.name}", things=things)
        data = data_of(own, tuning, 2, minutes / 2, cache)
        for method in METHODS:
            rows[method.name] += called(data, word, method)
    return [(f"{name}, {ground}", group) for name, group in rows.items()]


def called(data: Data, word: str, method: trackers.Method) -> Rows:
    """Count the responses to isolated passes: one row for each object of iron, and one for all objects of this word."""
    found, by_sign, by_answer = Counter(), Counter(), Counter()
    for run, alerts, _ in trackers.swept_alerts(method, data.swept, method.maker(data)):
        for pass_, alert in zip(run.passes, match(run.passes, alerts)[0], strict=True):
            if alert is None or pass_.d < LEAST_D or not pass_.alone:
                continue
            for name in (pass_.name if pass_.iron else None, f"all {word}"):
                if name:
                    found[name] += 1
                    by_sign[name] += alert.sign > 0
                    by_answer[name] += alert.response == "non-ferrous"
    return [(name, found[name], by_sign[name], by_answer[name]) for name in sorted(found)]
