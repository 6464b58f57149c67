"""The tracker as the chain uses it: takes the intake's readings, and reports its events as outputs."""

from collections.abc import Callable, Iterable

from coilwire import records as wire

from coilcount.chain import outputs
from coilcount.model import Operator, Output
from coilcount.readings.frequency import neighbours_ppm
from coilcount.readings.noise import Noise
from coilcount.readings.timebase import TimeBase
from coilcount.readings.window import Window
from coilcount.settings import Settings
from coilcount.tracker import defaults, records
from coilcount.tracker.tracker import LONGEST_INTERVAL_S, SHORTEST_INTERVAL_S, Tracker, too_far_apart

# Levels from so many sigma_st on are held for nine tenths of a rest (tests/bench/detection, dwell).
HOLD_SIGMAS = 8.0


class Tracking:
    """A readings.intake.Taker.  Keeps what outlives one Tracker: the threshold in force, the frozen baseline, the
    numbers of the alerts.

    tracker: None before begin() and for readings that no tracker can take; threshold: the raise level in force, z;
    alerts: how many were raised; settling: the latest is raised and its sign is not settled; noise, window: of the
    readings, tracker or not; points: whether there is a Point for every reading that has become certain.
    """

    def __init__(
        self,
        settings: Settings,
        points: bool,
        follow_threshold: bool = True,
        make_tracker: Callable[..., Tracker] = Tracker,
    ) -> None:
        self.tracker: Tracker | None = None
        self.threshold: float = settings.tracker["threshold"]
        self.alerts = 0
        self.settling = False
        self.noise = Noise()
        self.window = Window(0)
        self._settings = settings
        self._points = points
        self._follow_threshold = follow_threshold
        self._make_tracker = make_tracker
        self._trace: list[records.State] | None = [] if points else None
        self._frozen = False
        self._first_id = 0  # alerts of the trackers before
        self._mended = self._repaired = 0  # by the trackers before
        self._interval_s = 0.0
        self._base: TimeBase | None = None  # of a board; None for imported readings

    # ------------------------------------------------------------ what the intake tells

    def begin(self, interval_s: float) -> str:
        """A new tracker for readings interval_s apart; returns what a person should know of that, "" for nothing."""
        self.noise.cut()
        self.window = Window(round(1000 * interval_s))
        self._interval_s = interval_s
        self._first_id = self.alerts
        self._mended, self._repaired = self.mended, self.repaired
        self.tracker = None
        try:
            tracker = self._make_tracker(interval_s, **self._settings.tracker)
            tracker.set_threshold(self.threshold)
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
        return ""

    def interval(self, record: wire.Interval, middle_us: int, step: int, base: TimeBase) -> list[Output]:
        """One interval of the board."""
        self._base = base
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
        return self._told(events) if events or self._points else []

    def reading(self, middle_us: int, frequency_hz: float, step: int) -> list[Output]:
        """One imported reading."""
        if step != 1:
            self.noise.cut()
        self.noise.push(frequency_hz)
        if self.tracker is None:
            return []
        return self._told(self.tracker.reading(middle_us, frequency_hz))

    def gap(self, end_us: int) -> list[Output]:
        """What comes next does not continue what was: it will come with step 0."""
        self.window.cut()
        return [] if self.tracker is None else self._told(self.tracker.gap(end_us))

    def operate(self, entry: Operator) -> str:
        """A freeze, thaw or threshold; returns why it is not used, "" where it is."""
        if entry.action in ("freeze", "thaw"):
            self._freeze(entry.action == "freeze")
            return ""
        if entry.action == "threshold" and entry.value is not None:
            try:
                if self._follow_threshold:
                    self._set_threshold(entry.value)
            except ValueError as error:
                return f"a recorded threshold is not used: {error}"
            return ""
        return f'what the operator did is not known here: "{entry.action}"'

    def finish(self) -> list[Output]:
        """The readings end here: what is open is reported as open."""
        return [] if self.tracker is None else self._told(self.tracker.finish())

    def _freeze(self, on: bool) -> None:
        self._frozen = on
        if self.tracker is None:
            return
        if on:
            self.tracker.freeze()
        else:
            self.tracker.thaw()

    def _set_threshold(self, z: float) -> None:
        self.threshold = defaults.check("threshold", z)
        if self.tracker is not None:
            self.tracker.set_threshold(z)

    # ------------------------------------------------------------ what it knows

    @property
    def mended(self) -> int:
        """Impossible readings that were replaced so far, by every tracker."""
        return self._mended + (0 if self.tracker is None else self.tracker.mended)

    @property
    def repaired(self) -> int:
        """Miscounted edges taken out of raw sums so far, by every tracker."""
        return self._repaired + (0 if self.tracker is None else self.tracker.repaired)

    @property
    def threshold_ppm(self) -> float | None:
        """The raise level in ppm of the box statistic, of the width with the least noise; None while boxes fill."""
        tracker = self.tracker
        if tracker is None or not tracker.state.ready:
            return None
        return self.threshold * tracker.least_scale_ppb / 1000

    @property
    def hold_from_ppm(self) -> float | None:
        """The level in ppm from which the automatic hold is to be relied on here; None while unknown, or without it."""
        tracker, settings = self.tracker, self._settings.tracker
        if tracker is None or tracker.sigma_step_ppb is None or not settings["hold"]:
            return None
        least = settings["hold_least_ppm"] * self.threshold / defaults.DEFAULTS["threshold"]
        return max(HOLD_SIGMAS * tracker.sigma_step_ppb / 1000, least)

    @property
    def roughness(self) -> float | None:
        """How many times the noise that was learned this ground has, 1.0 and more; None where none was learned."""
        return None if self.tracker is None else self.tracker.roughness

    # ------------------------------------------------------------ events as outputs

    def _told(self, events: Iterable[tuple]) -> list[Output]:
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
            if self._base is not None:  # of an imported reading nothing is known but how much it scatters
                tick_ppm = neighbours_ppm(reference_hz, self._interval_s, self._base.tick_s)
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
