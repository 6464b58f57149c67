"""Runs the trackers over simulated runs, at many thresholds in one pass, and returns their alerts.

A tracker goes through the runs of a condition by one of three *protocols*:

fresh: a new tracker for each run of two minutes.
kept: the same, but each tracker starts with what a tracker learned in an earlier session over other scenes.
warm: one tracker goes through all runs with objects, one after the other.  Before that it goes through the last of
    them, to learn the soil; these alerts do not count.  After each run a copy of the tracker goes through some of the
    runs without objects.  So every run without objects is judged with what was learned among objects, and no run with
    objects gains from clean soil.
"""

import copy
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from coilcount.tracker.tracker import GridTracker
from score import Found
from series import INTERVAL_S, Data, Run

FRESH, KEPT, WARM = "fresh", "kept", "warm"
MOST = 100.0  # largest threshold that the setting allows, in sigma
# Sigma.  Every tracker runs at all of these thresholds in one pass.  They are 1 % apart up to 6.6, and 4 % apart from
# there to 17.6.
GRID = tuple(round(z, 4) for z in (*(3.3 * 1.01**k for k in range(70)), *(6.6 * 1.04**k for k in range(26))))
LEAST = 2.0  # smallest threshold that the setting allows, in sigma
STEPS = 9  # most halvings in the search for a threshold


@dataclass(frozen=True)
class Method:
    """One tracker and one protocol.

    profile: it starts with the noise profile of the condition.  wrong: the detection statistic of the tracker is this
    many times too large, on purpose.  breadth: the tracker tells dips apart that are broader than any pass.
    """

    name: str
    protocol: str
    profile: bool = False
    wrong: float = 1.0
    breadth: bool = True

    def maker(self, data: Data | None, earlier: list[Run] | None = None, **settings) -> Callable[..., Any]:
        """Return a function that makes such a tracker: make(thresholds=(), rates=()), both further entries of its grid.

        data: gives the noise profile, if the method has one.  earlier: the runs of the earlier session of `kept`.
        """
        settings = dict(settings)
        if self.profile:
            settings["noise_ppm_rthz"] = data.noise_ppm_rthz
        learned = learned_in(earlier, **settings) if self.protocol == KEPT else ()

        def make(thresholds=(), rates=()):
            tracker = GridTracker(INTERVAL_S, thresholds, rates, learned, **settings)
            if self.wrong != 1.0:
                exaggerate(tracker, self.wrong)
            if not self.breadth:
                forget_breadth(tracker)
            return tracker

        return make


FRESH_TRACKER = Method("fresh", FRESH)
KEPT_TRACKER = Method("kept", KEPT)
WARM_TRACKER = Method("warm", WARM)
FRESH_PROFILE = Method("profile", FRESH, profile=True)
WARM_PROFILE = Method("profile, warm", WARM, profile=True)
WRONG = Method("warm, 1.25 times", WARM, wrong=1.25)
NO_BREADTH = Method("warm, without the test of breadth", WARM, breadth=False)
EXTRA = (WRONG, NO_BREADTH)  # they run at 1 a minute alone
METHODS = (FRESH_TRACKER, KEPT_TRACKER, WARM_TRACKER, FRESH_PROFILE, WARM_PROFILE)


def learned_in(runs: list[Run], **settings) -> tuple:
    """Return what a new tracker has learned after these runs: the value for `learned` of another tracker."""
    tracker = GridTracker(INTERVAL_S, (), **settings)
    for run in runs:
        hear(tracker, run)
        tracker.gap(run.intervals[-1][0])
    return tracker.learned


def exaggerate(tracker: GridTracker, factor: float) -> None:
    """Make the detection statistic of a tracker `factor` times too large."""
    bank = tracker._bank

    class Exaggerated(type(bank)):
        def push(self, y):
            super().push(y)
            if self.ready:
                for width in range(len(self.zs)):
                    self.zs[width] *= factor
                self.highest *= factor
                self.lowest *= factor

    bank.__class__ = Exaggerated


def forget_breadth(tracker: GridTracker) -> None:
    """Switch off the test of breadth: no dip of this tracker is taken for soil or a lifted coil."""
    breadth = tracker._shared.breadth

    class Narrow(type(breadth)):
        def _is_broad(self, *_):
            return False

    breadth.__class__ = Narrow


def hear(tracker: Any, run: Run) -> list:
    """Give a tracker the intervals of a run, and return its events.  The run does not end yet."""
    events: list = []
    for record in run.intervals:
        got = tracker.interval(*record)
        if got:
            events.extend(got)
    return events


@dataclass
class Heard:
    """What a tracker reported over one run.

    clean: the run has no objects.  number: of the run in Data.clean or Data.swept.  events: at the threshold of the
    settings.  further: (position in the grid, event).  broad: number of dips that reached the threshold of the settings
    and were broader than any pass, whether they raised an alert or not.
    """

    clean: bool
    number: int
    run: Run
    events: list
    further: list
    broad: int


def through(make: Callable[[], Any], protocol: str, data: Data) -> Iterator[Heard]:
    """Let trackers go through all runs of a condition by a protocol."""
    if protocol != WARM:
        for clean, runs in ((False, data.swept), (True, data.clean)):
            for number, run in enumerate(runs):
                yield _one(make(), clean, number, run)
        return
    tracker = make()
    _one(tracker, False, -1, data.swept[-1])
    for number, run in enumerate(data.swept):
        yield _one(tracker, False, number, run)
        for at in range(number, len(data.clean), len(data.swept)):
            yield _one(copy.deepcopy(tracker), True, at, data.clean[at])


def _one(tracker, clean, number, run) -> Heard:
    further = tracker.further = []
    broad = tracker.broad_dips
    events = hear(tracker, run)
    events.extend(tracker.gap(run.intervals[-1][0]))
    tracker.further = []
    return Heard(clean, number, run, events, further, tracker.broad_dips - broad)


def alerts_of(events: list) -> list[Found]:
    """Return the final alerts among the events of one run."""
    return [
        Found(
            event.peak_us / 1e6, event.raised_us / 1e6, event.sign, event.score, event.response, event.confidence,
            event.reasons, event.seen, event.rarity_min,
        )
        for event in events
        if is_alert(event) and event.stage == "final"
    ]  # fmt: skip


def is_alert(event: Any) -> bool:
    """Return True for an alert, and False for a hold."""
    return hasattr(event, "peak_us")


def further_alerts(further: list, positions: int) -> list[list[Found]]:
    """Return the final alerts of one run for each position in the grid."""
    events: list[list] = [[] for _ in range(positions)]
    for position, event in further:
        events[position].append(event)
    return [alerts_of(some) for some in events]


def swept_alerts(method: Method, runs: list[Run], make: Callable[[], Any]) -> Iterator[tuple[Run, list[Found], list]]:
    """Return for each run with objects its alerts and holds."""
    for heard in through(make, method.protocol, Data("", [], runs, None, ())):
        holds = [event for event in heard.events if not is_alert(event) and event.stage == "final"]
        yield heard.run, alerts_of(heard.events), holds


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
