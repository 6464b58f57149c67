"""The tracker as the chain uses it: made anew for another interval, its events told as outputs."""

from collections.abc import Iterable

from coilcount.errors import InputError
from coilcount.model import Notice, Output
from coilcount.readings import outputs
from coilcount.readings.frequency import neighbours_ppm
from coilcount.settings import Settings
from coilcount.tracker import defaults, records
from coilcount.tracker.tracker import Tracker, too_far_apart

# Levels from so many sigma_st on are held for nine tenths of a rest (tests/bench/detection, dwell).
HOLD_SIGMAS = 8.0


class Tracking:
    """Keeps what outlives one Tracker: the threshold in force, the frozen baseline, the numbers of the alerts.

    tracker: None before begin(); half_us: half of its interval; threshold: the raise level in force, z; alerts: how
    many were raised; settling: the latest is raised and its sign is not settled; points: whether told() gives a Point
    for every reading that has become certain.
    """

    def __init__(self, settings: Settings, points: bool) -> None:
        self.tracker: Tracker | None = None
        self.half_us = 0
        self.threshold: float = settings.tracker["threshold"]
        self.alerts = 0
        self.settling = False
        self._settings = settings
        self._trace: list[records.State] | None = [] if points else None
        self._frozen = False
        self._first_id = 0  # alerts of the trackers before
        self._mended = self._repaired = 0  # by the trackers before

    def begin(self, interval_s: float) -> list[Output]:
        """A new tracker for readings interval_s apart; what is to be said of them.

        Raises InputError where no tracker can take them.
        """
        try:
            tracker = Tracker(interval_s, **self._settings.tracker)
            tracker.set_threshold(self.threshold)
        except ValueError as error:
            what = f"the tracker cannot take readings {interval_s:g} s apart: {error}"
            raise InputError(what, remedy="Take readings 2 ms to 60 s apart") from None
        self._mended, self._repaired = self.mended, self.repaired
        if self._frozen:
            tracker.freeze()
        tracker.trace = self._trace
        self.tracker = tracker
        self.half_us = round(5e5 * interval_s)
        self._first_id = self.alerts
        if too_far_apart(interval_s, self._settings.tracker["widths_s"]):
            return [Notice(None, "warning", outputs.far_apart(interval_s))]
        return []

    def freeze(self, on: bool) -> None:
        """The operator holds the baseline, or lets it go."""
        self._frozen = on
        if on:
            self.tracker.freeze()
        else:
            self.tracker.thaw()

    def set_threshold(self, z: float) -> None:
        """Another raise level.  Raises ValueError where it is out of range."""
        self.tracker.set_threshold(z)
        self.threshold = z

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

    def told(self, events: Iterable[tuple], tick_s: float | None, noise_ppm: float | None) -> list[Output]:
        """What the tracker's last input brought about: its events as outputs, then the points.

        tick_s: a tick of the board, None where frequencies were imported; noise_ppm: how much readings scatter, as far
        as that is known.
        """
        out: list[Output] = []
        for event in events:
            if type(event) is not records.Alert:
                out.append(outputs.hold(event))
                continue
            number = self._first_id + event.id
            self.alerts = max(self.alerts, number)
            if number == self.alerts:
                self.settling = event.stage == "raised"
            out.append(outputs.alert(event, number, self._reference_hz(tick_s)))
        if self._trace:
            reference_hz = self._reference_hz(tick_s)
            uncertainty_ppm = noise_ppm or 0.0
            if tick_s is not None:  # of an imported reading nothing is known but how much it scatters
                uncertainty_ppm = max(uncertainty_ppm, neighbours_ppm(reference_hz, 2e-6 * self.half_us, tick_s))
            out += [outputs.point(state, reference_hz, uncertainty_ppm) for state in self._trace]
            self._trace.clear()
        return out

    def _reference_hz(self, tick_s: float | None) -> float | None:
        tracker = self.tracker
        if tracker is None or tick_s is None:
            return None if tracker is None else tracker.reference_hz
        if tracker.reference is None:
            return None
        ticks, edges = tracker.reference
        return edges / (ticks * tick_s)
