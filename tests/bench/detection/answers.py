"""Isolated flat iron and non-ferrous objects: which response the tracker reports, and which the sign alone would."""

from collections import Counter
from dataclasses import replace

import objects
import trackers
from kinds import IRON, KINDS
from score import match
from series import Data, data_of

GROUNDS = ("bench", "garden")
LEAST_D = 30.0


def study(ground: str, tuning: bool, minutes: float) -> list[tuple[str, list[tuple[str, int, int, int]]]]:
    """(ground, rows) without and with a learned noise; a row: (name, passes found, called non-ferrous by sign alone,
    called so by the tracker).
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
    found, by_sign, by_answer = Counter(), Counter(), Counter()
    for run in data.swept:
        alerts, _ = trackers.run_tracker(run, trackers.DEFAULT, **settings)
        for one, alert in zip(run.passes, match(run.passes, alerts)[0], strict=True):
            if alert is None or one.d < LEAST_D or not one.alone:
                continue
            for name in (one.name if one.iron else None, f"all {word}"):
                if name:
                    found[name] += 1
                    by_sign[name] += alert.sign > 0
                    by_answer[name] += alert.response == "non-ferrous"
    return [(name, found[name], by_sign[name], by_answer[name]) for name in sorted(found)]
