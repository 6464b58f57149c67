"""Runs the real tracker over a simulated run and returns its alerts, at any threshold."""

from collections.abc import Callable

from coilcount.tracker import defaults
from coilcount.tracker.records import Alert, Hold
from coilcount.tracker.tracker import Tracker
from score import Found
from series import INTERVAL_S, Run

DEFAULT = defaults.DEFAULTS["threshold"]
LEAST = 2.0  # smallest threshold that the setting allows, in sigma
MOST = 100.0  # largest threshold that the setting allows, in sigma
STEPS = 9  # most halvings in the search for a threshold


def run_tracker(run: Run, threshold: float, **settings) -> tuple[list[Found], list[Hold]]:
    """Return the final alerts and holds of the tracker; settings: further arguments of Tracker."""
    tracker = Tracker(INTERVAL_S, threshold=threshold, **settings)
    events: list = []
    for record in run.intervals:
        got = tracker.interval(*record)
        if got:
            events.extend(got)
    events.extend(tracker.finish())
    alerts = [
        Found(
            e.peak_us / 1e6, e.raised_us / 1e6, e.sign, e.score, e.response, e.confidence, e.reasons, e.seen
        )
        for e in events
        if isinstance(e, Alert) and e.stage == "final"
    ]
    return alerts, [e for e in events if isinstance(e, Hold) and e.stage == "final"]


def count(clean: list[Run], threshold: float, **settings) -> int:
    """Count the alerts in runs without objects."""
    return sum(len(run_tracker(run, threshold, **settings)[0]) for run in clean)


def threshold_for(count: Callable[[float], int], minutes: float, rate: float, most: float = MOST) -> float:
    """Find the threshold that gives `rate` alerts a minute, by halving the interval.

    count: returns the number of alerts in `minutes` minutes at a threshold; most: largest threshold to try.
    """
    low = LEAST
    allowed = round(rate * minutes)
    if count(low) <= allowed:
        return low
    high = low
    while count(high) > allowed and high < most:
        low = high
        high = min(2 * high, most)
    for _ in range(STEPS):
        middle = (low * high) ** 0.5
        if high / low < 1.01:
            break
        if count(middle) > allowed:
            low = middle
        else:
            high = middle
    return high
