"""Isolated flat iron and non-ferrous objects: the response of the tracker, next to the response by the sign alone."""

from collections import Counter
from dataclasses import replace

import objects
import trackers
from kinds import IRON, KINDS
from score import match
from series import Data, data_of

GROUNDS = ("bench", "garden")
LEAST_D = 30.0  # weaker passes are left out; chosen by hand


def study(ground: str, tuning: bool, minutes: float) -> list[tuple[str, list[tuple[str, int, int, int]]]]:
    """Return (condition, rows) without and with a noise profile.

    A row: (name, passes found, how many the sign alone calls non-ferrous, how many the tracker calls non-ferrous).
    """
    other = tuple(thing for thing in objects.TUNING if thing.metal != "steel"), tuple(
        thing for thing in objects.TEST if thing.metal != "steel"
    )
    kind = replace(KINDS[ground], name=f"answers {ground}", every_s=3.6)
    rows, learned_rows = [], []
    for word, things in (("iron", IRON.things), ("non-ferrous", other[::-1])):
        data = data_of(replace(kind, name=f"{word} {kind.name}", things=things), tuning, 2, minutes / 2, None)
        rows += called(data, word)
        learned_rows += called(data, word, noise_ppm_rthz=data.noise_ppm_rthz)
    return [(ground, rows), (f"{ground}, learned", learned_rows)]


def called(data: Data, word: str, **settings) -> list[tuple[str, int, int, int]]:
    """Count the responses to isolated passes; one row for each object of iron, and one for all objects."""
    found, by_sign, by_answer = Counter(), Counter(), Counter()
    for run in data.swept:
        alerts, _ = trackers.run_tracker(run, trackers.DEFAULT, **settings)
        for pass_, alert in zip(run.passes, match(run.passes, alerts)[0], strict=True):
            if alert is None or pass_.d < LEAST_D or not pass_.alone:
                continue
            for name in (pass_.name if pass_.iron else None, f"all {word}"):
                if name:
                    found[name] += 1
                    by_sign[name] += alert.sign > 0
                    by_answer[name] += alert.response == "non-ferrous"
    return [(name, found[name], by_sign[name], by_answer[name]) for name in sorted(found)]
