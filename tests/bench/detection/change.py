"""An abrupt change of the soil: false alarms on rough soil after calm soil, and passes found on calm soil after rough.

The readings of two scenes are joined without a gap, at the same level.  The tracker gets them as frequencies.
"""

from pathlib import Path

import numpy as np
import score
import trackers
from conditions import CONDITIONS
from score import counts
from series import INTERVAL_S, Data, Run, data_of

CHANGES = (("garden", "mineral"), ("bench", "mineral"))  # (calm, rough)
# The bands of both tables were chosen by hand.
BANDS = ((0.0, 15.0), (15.0, 30.0), (30.0, 60.0), (60.0, 120.0))  # seconds after the change
BACK_BANDS = ((0.0, 30.0), (30.0, 120.0))
# Every tracker starts anew, four minutes before the change.
METHODS = {
    "tracker": trackers.FRESH_TRACKER,
    "tracker, profile": trackers.FRESH_PROFILE,
}
BEFORE = 2  # scenes of two minutes before the change
F0_HZ = 25_000.0  # frequency of the coil in the joined series
JOIN = 10  # readings whose mean is the level at the end or the start of a scene, 0.2 s; chosen by hand

Rows = list[tuple[str, str, list[tuple[int, float]]]]


def study(change: tuple[str, str], tuning: bool, clean_minutes: float, swept_minutes: float,
          cache: Path | None) -> tuple[Rows, Rows]:  # fmt: skip
    """Return the rows of both tables for one change of soil.

    A row is (change, tracker, values).  A value is (false alarms, minutes) for each of BANDS, or (passes found, passes)
    for each of BACK_BANDS.
    """
    calm, rough = (data_of(CONDITIONS[name], tuning, clean_minutes, swept_minutes, cache) for name in change)
    onto, back = [], []
    for name, method in METHODS.items():
        make = method.maker(calm)
        onto.append((f"{change[0]} to {change[1]}", name, onto_rough(make, calm, rough)))
        if method.profile:
            # The other mistake: a profile of rough soil, on calm soil.
            make = method.maker(rough)
        back.append((f"{change[1]} to {change[0]}", name, onto_calm(make, calm, rough)))
    return onto, back


def onto_rough(make, calm: Data, rough: Data) -> list[tuple[int, float]]:
    """Count the alerts after a change from calm to rough soil, both without objects."""
    found = [0] * len(BANDS)
    for number, run in enumerate(rough.clean):
        before = [calm.clean[(number + i) % len(calm.clean)] for i in range(BEFORE)]
        alerts, changed_s = through(make(), [*before, run])
        for alert in alerts:
            for band, (low, high) in enumerate(BANDS):
                found[band] += low <= alert.raised_s - changed_s < high
    return [(n, (high - low) / 60 * len(rough.clean)) for n, (low, high) in zip(found, BANDS, strict=True)]


def onto_calm(make, calm: Data, rough: Data) -> list[tuple[int, float]]:
    """Count the passes found on calm soil after a change from rough soil without objects."""
    found, every = [0] * len(BACK_BANDS), [0] * len(BACK_BANDS)
    for number, run in enumerate(calm.swept):
        before = [rough.clean[(number + i) % len(rough.clean)] for i in range(BEFORE)]
        alerts, changed_s = through(make(), [*before, run])
        for alert in alerts:
            alert.peak_s -= changed_s - run.first_s
        for pass_, alert in zip(run.passes, score.match(run.passes, alerts)[0], strict=True):
            if not counts(pass_) or pass_.rest_s:
                continue
            for band, (low, high) in enumerate(BACK_BANDS):
                if low <= pass_.at_s - run.first_s < high:
                    found[band] += alert is not None
                    every[band] += 1
    return list(zip(found, every, strict=True))


def through(tracker, runs: list[Run]) -> tuple[list[score.Found], float]:
    """Give a tracker the joined readings; return its alerts, and when the last run began, in s."""
    y = runs[0].y
    for run in runs[1:]:
        last = run.y + np.mean(y[-JOIN:]) - np.mean(run.y[:JOIN])
        y = np.concatenate([y, last])
    events: list = []
    for k, hz in enumerate((F0_HZ * (1 + 1e-9 * y)).tolist()):
        got = tracker.reading(round((k + 0.5) * INTERVAL_S * 1e6), hz)
        if got:
            events.extend(got)
    events.extend(tracker.finish())
    return trackers.alerts_of(events), (len(y) - len(runs[-1].y)) * INTERVAL_S
