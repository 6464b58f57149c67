"""Tracking at several thresholds and rates at once, for the desk: readings and statistic are computed once for all."""

from array import array
from collections.abc import Sequence
from functools import partial
from statistics import median

from coilwire import records as wire

from coilcount.chain import outputs
from coilcount.chain.tracking import Tracking
from coilcount.model import Alert, Hold, Output, Series
from coilcount.readings.timebase import TimeBase
from coilcount.settings import Settings
from coilcount.tracker import records
from coilcount.tracker.tracker import GridTracker


class Finals:
    """The final alerts and holds at one threshold or rate, with the numbers of the alerts in a chain of their own."""

    def __init__(self) -> None:
        self.alerts: list[Alert] = []
        self.holds: list[Hold] = []
        self._first_id = 0  # alerts of earlier trackers
        self._raised = 0

    def next_tracker(self) -> None:
        """A new tracker begins, which counts its alerts from 1."""
        self._first_id = self._raised

    def take(self, event: records.Alert | records.Hold, reference_hz: float) -> None:
        """Take an event of the tracker.  reference_hz: the frequency that its shifts are relative to."""
        if type(event) is records.Alert:
            number = self._first_id + event.id
            self._raised = max(self._raised, number)
            if event.stage == "final":
                self.alerts.append(outputs.alert(event, number, reference_hz))
        elif event.stage == "final":
            self.holds.append(outputs.hold(event))


# Microseconds from one sample of the thresholds to the next.  The tracker changes them once a second.
_LEVEL_EVERY_US = 1_000_000
# Readings: half a second at 50 a second.  A longer hole ends a span with a statistic.  Chosen by hand.
_MOST_LOST = 25


class Trace:
    """Notes when there was a statistic, and keeps the readings if they are wanted.

    ready_us: [start, end] of each span with a statistic, in microseconds.
    series: the readings, with the baseline of the settings' own threshold; None if they are not kept.
    """

    def __init__(self, keep: bool) -> None:
        self.ready_us: list[list[int]] = []
        self.series = Series(*(array("d") for _ in range(5))) if keep else None

    def take(self, states: Sequence[records.State], interval_us: int, reference_hz: float | None) -> None:
        """Take the tracker's states of readings.

        interval_us: from reading to reading.  A reading counts for as long around its middle.  A few lost ones do not
        end a span.  reference_hz: the frequency that the states are relative to.
        """
        spans = self.ready_us
        for state in states:
            if state.ready:
                start_us = state.time_us - interval_us // 2
                if not spans or start_us - spans[-1][1] > _MOST_LOST * interval_us:
                    spans.append([start_us, start_us])
                spans[-1][1] = start_us + interval_us
        if self.series is None:
            return
        series = self.series
        for state in states:
            frequency_hz, baseline_hz, shift_ppm = outputs.levels(state, reference_hz)
            series.time_s.append(state.time_us / 1e6)
            series.frequency_hz.append(frequency_hz)
            series.baseline_hz.append(baseline_hz)
            series.shift_ppm.append(shift_ppm)
            series.statistic.append(state.z)

    @property
    def ready_spans(self) -> tuple[tuple[float, float], ...]:
        """The spans in which there was a statistic, in seconds."""
        return tuple((start_us / 1e6, end_us / 1e6) for start_us, end_us in self.ready_us)


class GridTracking(Tracking):
    """A Tracking at the settings' own threshold or rate, whose tracker also decides at further ones.

    It returns the outputs of the settings' own.  `further` holds the finals of the other thresholds and then of the
    other rates, in their order.  Thresholds and rates that the operator set while recording are ignored.
    """

    def __init__(
        self, settings: Settings, thresholds: Sequence[float], series: bool, rates: Sequence[float] = ()
    ) -> None:
        """thresholds, rates: the further ones, in sigma and false alarms a minute.  series: keep the readings."""
        super().__init__(settings, False, False, partial(GridTracker, thresholds=thresholds, rates=rates))
        self.further = [Finals() for _ in (*thresholds, *rates)]
        # The thresholds in force, once a second: those of the settings first, then those of `further`.
        self._levels = [array("d") for _ in range(1 + len(self.further))]
        self._last_level_us = -_LEVEL_EVERY_US
        self.trace = Trace(series)
        self._states: list[records.State] = []
        self._events: list[tuple[int, records.Alert | records.Hold]] = []

    def begin(self, interval_s: float) -> str:
        """As in Tracking, for all thresholds and rates."""
        warning = super().begin(interval_s)
        for finals in self.further:
            finals.next_tracker()
        if self.tracker is not None:
            self.tracker.further = self._events
            self.tracker.trace = self._states
        return warning

    def interval(self, record: wire.Interval, middle_us: int, step: int, base: TimeBase) -> list[Output]:
        """As in Tracking, for all thresholds and rates."""
        out = super().interval(record, middle_us, step, base)
        if self._states or self._events:
            self._take()
        return out

    def reading(self, middle_us: int, frequency_hz: float, step: int) -> list[Output]:
        """As in Tracking, for all thresholds and rates."""
        out = super().reading(middle_us, frequency_hz, step)
        self._take()
        return out

    def gap(self, end_us: int) -> list[Output]:
        """As in Tracking, for all thresholds and rates."""
        out = super().gap(end_us)
        self._take()
        return out

    def finish(self) -> list[Output]:
        """As in Tracking, for all thresholds and rates."""
        out = super().finish()
        self._take()
        return out

    def median_threshold(self, position: int) -> float | None:
        """The lower threshold of both signs in sigma, in the median over the recording; None if there is none.

        position: that of `further`; -1 for the settings' own.
        """
        levels = self._levels[1 + position]
        return median(levels) if levels else None

    def _note_levels(self) -> None:
        state = self._states[-1]
        if not state.ready or abs(state.time_us - self._last_level_us) < _LEVEL_EVERY_US:
            return
        self._last_level_us = state.time_us
        tracker = self.tracker
        for levels, (rise, fall) in zip(self._levels, [tracker.thresholds, *tracker.further_thresholds], strict=True):
            levels.append(min(rise, fall))

    def _take(self) -> None:
        if self._states:
            self._note_levels()
            self.trace.take(self._states, round(1e6 * self.interval_s), self._reference_hz())
            self._states.clear()
        if self._events:
            reference_hz = self._reference_hz()
            for position, event in self._events:
                self.further[position].take(event, reference_hz)
            self._events.clear()
