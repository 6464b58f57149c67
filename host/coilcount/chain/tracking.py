"""The tracker as the chain uses it: takes the intake's readings, and returns what happens as outputs."""

import math
from collections.abc import Callable, Iterable, Mapping
from typing import Any

from coilwire import records as wire

from coilcount.chain import outputs
from coilcount.model import Operator, Output, Thresholds
from coilcount.readings.frequency import neighbours_ppm
from coilcount.readings.noise import Noise
from coilcount.readings.timebase import TimeBase
from coilcount.readings.window import Window
from coilcount.settings import Settings
from coilcount.tracker import defaults, records
from coilcount.tracker.tracker import LONGEST_INTERVAL_S, SHORTEST_INTERVAL_S, Tracker, too_far_apart

# Sigmas of a step.  Auto-hold is reliable from this level on.  Source: tests/bench/detection, part `dwell`
# (simulation).  Such levels are held for more than 90 % of their rests, in fast drift for about 80 %.
HOLD_SIGMAS = 8.0


class Tracking:
    """A readings.intake.Taker that gives each reading to a tracker.

    A change of the interval needs a new Tracker.  This class keeps what must survive that: the rate or the threshold in
    force, whether the baseline is frozen, and the numbers of the alerts.

    tracker: None before begin(), and for readings that no tracker takes.
    false_alarms: at most so many a minute are asked for; None if a fixed threshold is in force.
    kept_used: whether the first tracker began with what start_from() was given; None if it was given nothing.
    alerts: how many were raised.
    interval_s: from reading to reading; 0 before begin().
    settling: the latest alert is raised and its sign is not final.
    noise, window: kept for all readings, also for those that no tracker takes.
    """

    def __init__(
        self,
        settings: Settings,
        points: bool,
        follow_operator: bool = True,
        make_tracker: Callable[..., Tracker] = Tracker,
    ) -> None:
        """points, follow_operator, make_tracker: as in chain.Chain."""
        self.tracker: Tracker | None = None
        self.false_alarms = settings.false_alarms_per_minute
        self.kept_used: bool | None = None
        self.alerts = 0
        self.settling = False
        self.noise = Noise()
        self.window = Window(0)
        self._settings = settings
        self._points = points
        self._follow_operator = follow_operator
        self._fixed = settings.tracker["threshold"]  # sigma; 0.0: the thresholds follow from the rate
        self._make_tracker = make_tracker
        self._trace: list[records.State] | None = [] if points else None
        self._frozen = False
        self._first_id = 0  # alerts of earlier trackers
        self._mended = self._repaired = self._broad_dips = 0  # by earlier trackers
        self._kept: Mapping[str, Any] = {}  # for the first tracker, from the header
        self._readings = 0  # that the present tracker was given
        self._swept_before_s = 0.0  # that `learned` comes from, in earlier sessions
        self.interval_s = 0.0
        self._base: TimeBase | None = None  # None for imported readings

    def start_from(self, learned: Mapping[str, Any] | None) -> None:
        """Let the first tracker begin with what an earlier session learned.  learned: as in model.Header."""
        if learned:
            self._kept = learned
            self.kept_used = False

    # ------------------------------------------------------------ inputs from the intake

    def begin(self, interval_s: float) -> str:
        """Make a new tracker for readings interval_s apart.  Returns a warning for the user, or ""."""
        self.noise.cut()
        self.window = Window(round(1000 * interval_s))
        self.interval_s = interval_s
        self._first_id = self.alerts
        self._mended, self._repaired, self._broad_dips = self.mended, self.repaired, self.broad_dips
        self.tracker = None
        self._readings = 0
        self._swept_before_s = 0.0
        kept, self._kept = self._kept, {}
        warning = ""
        try:
            tracker = self._made(interval_s, kept)
            if tracker is None:
                warning = "what an earlier session learned is damaged, and is not used"
                tracker = self._made(interval_s, {})
        except ValueError as error:
            if SHORTEST_INTERVAL_S <= interval_s <= LONGEST_INTERVAL_S:
                return f"no alerts: the tracker refuses its settings ({error})"
            return (
                f"no alerts: the tracker takes readings {1000 * SHORTEST_INTERVAL_S:g} ms to {LONGEST_INTERVAL_S:g} s "
                f"apart, and these are {interval_s:g} s apart"
            )
        if self._frozen:
            tracker.freeze()
        tracker.trace = self._trace
        self.tracker = tracker
        if too_far_apart(interval_s, self._settings.tracker["widths_s"]):
            return outputs.far_apart(interval_s)
        return warning

    def _made(self, interval_s: float, kept: Mapping[str, Any]) -> Tracker | None:
        """A tracker that begins with `kept`, with the rate or the threshold in force; None if `kept` is damaged.

        Raises ValueError if the tracker refuses the interval or its settings.
        """
        values = {**self._settings.tracker, "threshold": self._fixed}
        if self.false_alarms is not None:
            values["false_alarms_per_minute"] = self.false_alarms
        if not kept:
            return self._make_tracker(interval_s, **values)
        try:
            tracker = self._make_tracker(interval_s, learned=_numbers(kept["state"]), **values)
        except (KeyError, TypeError, ValueError, OverflowError):
            return None
        self.kept_used = tracker.kept_used
        if self.kept_used:
            swept_s = kept.get("swept_s")
            self._swept_before_s = float(swept_s) if _is_length(swept_s) else 0.0
        return tracker

    def interval(self, record: wire.Interval, middle_us: int, step: int, base: TimeBase) -> list[Output]:
        """Take one interval of the board."""
        self._base = base
        self._readings += 1
        if step == 1:
            self.noise.push(base.rate / base.tick_s)
        else:
            self.noise.cut()
            self.window.cut()
        if record.flags & wire.FAULT_BITS:
            self.window.cut()
        elif record.n:
            self.window.push(record)
        tracker = self.tracker
        if tracker is None:
            return []
        events = tracker.interval(middle_us, *record[:5])
        return self._outputs(events) if events or self._points else []

    def reading(self, middle_us: int, frequency_hz: float, step: int) -> list[Output]:
        """Take one imported reading."""
        self._readings += 1
        if step != 1:
            self.noise.cut()
        self.noise.push(frequency_hz)
        if self.tracker is None:
            return []
        return self._outputs(self.tracker.reading(middle_us, frequency_hz))

    def gap(self, end_us: int) -> list[Output]:
        """The readings ended at end_us.  The next one does not continue them, and will come with step 0."""
        self.window.cut()
        return [] if self.tracker is None else self._outputs(self.tracker.gap(end_us))

    def operate(self, entry: Operator) -> str:
        """Do what the operator did: freeze, thaw, false_alarms or threshold.  Returns why it is not used, or ""."""
        if entry.action in ("freeze", "thaw"):
            self._freeze(entry.action == "freeze")
            return ""
        if entry.action in ("false_alarms", "threshold") and entry.value is not None:
            rate = entry.action == "false_alarms"
            try:
                if self._follow_operator:
                    (self._set_false_alarms if rate else self._set_threshold)(entry.value)
            except ValueError as error:
                return f"a recorded {'rate of false alarms' if rate else 'threshold'} is not used: {error}"
            return ""
        return f'this version does not know the recorded operation "{entry.action}", and skips it'

    def finish(self) -> list[Output]:
        """The readings end here: alerts and holds that are open are reported as open."""
        return [] if self.tracker is None else self._outputs(self.tracker.finish())

    def _freeze(self, on: bool) -> None:
        self._frozen = on
        if self.tracker is None:
            return
        if on:
            self.tracker.freeze()
        else:
            self.tracker.thaw()

    def _set_false_alarms(self, per_minute: float) -> None:
        self.false_alarms = defaults.check("false_alarms_per_minute", per_minute)
        self._fixed = 0.0
        if self.tracker is not None:
            self.tracker.set_false_alarms(per_minute)

    def _set_threshold(self, z: float) -> None:
        if not z:
            raise ValueError(f"threshold is a number above 0, not {z!r}")
        self._fixed = defaults.check("threshold", z)
        self.false_alarms = None
        if self.tracker is not None:
            self.tracker.set_threshold(z)

    # ------------------------------------------------------------ what a screen shows

    @property
    def mended(self) -> int:
        """Number of spikes mended so far, by all trackers."""
        return self._mended + (0 if self.tracker is None else self.tracker.mended)

    @property
    def repaired(self) -> int:
        """Number of miscounted edges taken out of the raw sums so far, by all trackers."""
        return self._repaired + (0 if self.tracker is None else self.tracker.repaired)

    @property
    def broad_dips(self) -> int:
        """Number of dips that raised no alert because they were broader than any pass, by all trackers."""
        return self._broad_dips + (0 if self.tracker is None else self.tracker.broad_dips)

    @property
    def thresholds(self) -> Thresholds:
        """The thresholds in force, in sigma; those of the fixed threshold, or 0, while there is no tracker."""
        if self.tracker is None:
            return Thresholds(self._fixed, self._fixed)
        return Thresholds(*self.tracker.thresholds)

    @property
    def threshold_ppm(self) -> Thresholds | None:
        """The thresholds as shifts in ppm, for the width with the least noise; None during the warm-up."""
        tracker = self.tracker
        if tracker is None or not tracker.state.ready:
            return None
        return self.thresholds * (tracker.least_scale_ppb / 1000)

    @property
    def learned(self) -> tuple[float, ...]:
        """What the present tracker has learned; () before it has learned anything."""
        return () if self.tracker is None else self.tracker.learned

    @property
    def swept_s(self) -> float:
        """Seconds of readings that `learned` comes from, those of earlier sessions included."""
        return self._swept_before_s + self._readings * self.interval_s

    @property
    def hold_from_ppm(self) -> float | None:
        """The shift in ppm from which auto-hold is reliable on this soil; None if unknown, or if auto-hold is off."""
        tracker, settings = self.tracker, self._settings.tracker
        if tracker is None or tracker.sigma_step_ppb is None or not settings["hold"]:
            return None
        least = settings["hold_least_ppm"] * tracker.hold_scale
        return max(HOLD_SIGMAS * tracker.sigma_step_ppb / 1000, least)

    @property
    def roughness(self) -> float | None:
        """How many times as noisy as the noise profile the soil is here, at least 1.0; None without a profile."""
        return None if self.tracker is None else self.tracker.roughness

    # ------------------------------------------------------------ outputs

    def _outputs(self, events: Iterable[tuple]) -> list[Output]:
        """Return the outputs for the tracker's events, and a Point for each reading that has become certain."""
        out: list[Output] = []
        for event in events:
            if type(event) is not records.Alert:
                out.append(outputs.hold(event))
                continue
            number = self._first_id + event.id
            self.alerts = max(self.alerts, number)
            if number == self.alerts:
                self.settling = event.stage == "raised"
            out.append(outputs.alert(event, number, self._reference_hz()))
        if self._trace:
            reference_hz = self._reference_hz()
            uncertainty_ppm = self.noise.recent_ppm or 0.0
            if self._base is not None:  # the uncertainty of an imported reading is only known from its scatter
                tick_ppm = neighbours_ppm(reference_hz, self.interval_s, self._base.tick_s)
                uncertainty_ppm = max(uncertainty_ppm, tick_ppm)
            out += [outputs.point(state, reference_hz, uncertainty_ppm) for state in self._trace]
            self._trace.clear()
        return out

    def _reference_hz(self) -> float | None:
        tracker = self.tracker
        if self._base is None:
            return tracker.reference_hz
        if tracker.reference is None:
            return None
        ticks, edges = tracker.reference
        return edges / (ticks * self._base.tick_s)


def _is_length(value: Any) -> bool:
    """True for a number of seconds that a sweep may last: less than 30 years."""
    return isinstance(value, int | float) and 0 <= value < 1e9


def _numbers(values: Any) -> tuple[float, ...]:
    """The values as floats.  Raises TypeError, ValueError or OverflowError if one is no finite number."""
    if any(isinstance(value, bool) or not isinstance(value, int | float) for value in values):
        raise TypeError("not a number")
    numbers = tuple(map(float, values))
    if not all(map(math.isfinite, numbers)):
        raise ValueError("not a finite number")
    return numbers
