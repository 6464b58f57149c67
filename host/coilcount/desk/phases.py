"""The phase of a capture in segments of evenly spaced readings, and the temperatures beside it.

The phase is the time error x = index / f - time in s, of the mean index and the mean time of the edges in an interval.
It comes from exact sums of ticks, so no error builds up between readings; a lost reading leaves nan.  A mean over an
interval smooths the phase as the modified deviation does.  So at tau = one interval white noise is lower than that of
single edges.  Imported frequencies are summed to a phase, and a missing row ends the segment.
"""

from array import array
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from coilwire import records
from numpy.typing import NDArray

from coilcount.chain.tracking import Tracking
from coilcount.model import Entry, Imported, Operator, Output
from coilcount.readings.intake import Intake
from coilcount.readings.timebase import TimeBase
from coilcount.settings import Settings
from coilcount.tracker.tracker import Tracker

# Edges: a jump of the frequency from one reading to the next that amounts to more than this is a miscount.  Chosen by
# hand, well below 1 and above any signal.
MISCOUNT = 0.3
ZERO_C_K = 273.15
LEAST = 5  # phases in a segment; a shorter segment is discarded
# s: the spacings of readings that are accepted.  Others cannot be the log of a coil.
_SHORTEST_S, _LONGEST_S = 1e-4, 1e5
_NOTHING: list[Output] = []


@dataclass(frozen=True, slots=True)
class Segment:
    """A stretch without a gap.  x: phase in s, shape (n,), nan for a lost reading; start_s: time of the first one."""

    start_s: float
    x: NDArray


@dataclass(frozen=True, slots=True)
class Phases:
    """The phase of a whole capture.

    tau0_s: spacing of the readings; frequency_hz: the frequency that x refers to; temperature: (k, 2) seconds and
    degrees C; readings: number of known phases; miscounts: segments that were ended by a miscount; irregular: share
    of imported rows that lie more than a quarter of the spacing from their place.
    """

    segments: tuple[Segment, ...]
    tau0_s: float
    frequency_hz: float
    temperature: NDArray
    readings: int
    miscounts: int
    irregular: float

    @property
    def x(self) -> list[NDArray]:
        """The phase of each segment."""
        return [segment.x for segment in self.segments]


class PhaseReader:
    """Reads the phase: call feed() for every entry of a capture, then result() once.  Memory: 8 bytes a reading.

    It is the readings.intake.Taker of its own intake, which decides where a segment ends.

    If it shares the intake of a chain (PhaseTracking), call note() instead, after each entry that the chain took.
    intake: the intake that it uses.
    """

    def __init__(self) -> None:
        self.intake = Intake(self)
        self._status: records.Status | None = None  # the last one that was seen
        self._runs: list[tuple[float, array]] = []  # (start_s, x)
        self._open = False
        self._spacing_s = 0.0  # 0: readings are ignored
        self._before: records.Interval | None = None
        self._reference = 0.0  # edges per tick, or Hz for imported frequencies
        self._last_rate = 0.0
        self._last_us = 0
        self._rows = self._off = 0
        self._temperature = array("d")  # s and degrees C alternate
        self._miscounts = 0
        self._spent_s, self._spent = 0.0, 0  # seconds and readings inside segments: they give the real spacing

    def feed(self, entry: Entry) -> None:
        """Take one entry of the capture."""
        self.intake.feed(entry)
        self.note(entry)

    def note(self, entry: Entry) -> None:
        """Take the temperature that came with an entry, after the intake took it."""
        intake = self.intake
        if type(entry) is Imported:
            if entry.temperature_c is not None:
                self._temperature.extend((entry.time_s, entry.temperature_c))
        elif intake.status is not self._status:
            status = self._status = intake.status
            if status.temperature_mk and intake.base is not None:
                self._temperature.extend((intake.time_s(entry.host_s), status.temperature_mk / 1000 - ZERO_C_K))

    @property
    def tick_s(self) -> float | None:
        """A tick of the board in s; None for imported frequencies."""
        base = self.intake.base
        return None if base is None else base.tick_s

    def result(self) -> Phases:
        """The phases that were read.  Only those with the last interval length are kept."""
        self.intake.finish()
        runs = [(start_s, np.frombuffer(x)) for start_s, x in self._runs if len(x) >= LEAST]
        tick_s = self.tick_s
        return Phases(
            tuple(Segment(start_s, x) for start_s, x in runs),
            self._spent_s / self._spent if self._spent else self._spacing_s,
            self._reference if tick_s is None else self._reference / tick_s,
            np.array(self._temperature).reshape(-1, 2),
            sum(int(np.count_nonzero(~np.isnan(x))) for _, x in runs),
            self._miscounts,
            self._off / self._rows if self._rows else 0.0,
        )

    # ------------------------------------------------------------ calls from the intake

    def begin(self, interval_s: float) -> str:
        """A new spacing begins: discard the readings of the old one, because a result has one spacing."""
        self._runs.clear()
        self._spent_s, self._spent = 0.0, 0
        self._spacing_s = interval_s if _SHORTEST_S <= interval_s <= _LONGEST_S else 0.0
        self._open = False
        return ""

    def interval(self, record: records.Interval, middle_us: int, step: int, base: TimeBase) -> list[Output]:
        """One interval of the board."""
        before, self._before = self._before, record
        if record.n < 2 or not record.s or not self._spacing_s:
            self._open = False
            return _NOTHING
        continues = step > 0 and self._open
        if continues:
            last, self._last_rate = self._last_rate, base.rate
            if last and abs(base.rate / last - 1) * record.n > MISCOUNT:
                self._miscounts += 1
                continues = False
        if not continues:
            self._last_rate = 0.0
            self._ticks = self._edges = 0
            self._open = True
            x = self._begin_run(base.time_us / 1e6)
        else:
            ticks = (record.t_first - before.t_first) % records.U32
            self._ticks += ticks
            self._edges += (record.first_edge - before.first_edge) % records.U32
            x = self._runs[-1][1]
            if step > 1:
                x.extend([np.nan] * (step - 1))
            self._spent_s += ticks * base.tick_s
            self._spent += step
        # Both count from the first edge of the segment.
        mean_ticks = self._ticks + record.s / record.n
        mean_index = self._edges + (record.n - 1) / 2
        # Any reference near the frequency will do.  This is the frequency within the first interval.
        self._reference = self._reference or record.n * (record.n - 1) / (2 * record.s)
        x.append((mean_index / self._reference - mean_ticks) * base.tick_s)
        return _NOTHING

    def reading(self, middle_us: int, frequency_hz: float, step: int) -> list[Output]:
        """One imported reading."""
        spacing_s = self._spacing_s
        if not spacing_s:
            return _NOTHING
        self._reference = self._reference or frequency_hz
        if step:
            places = (middle_us - self._last_us) / (1e6 * spacing_s)
            self._rows += 1
            self._off += abs(places - step) > 0.25
        self._last_us = middle_us
        if step != 1 or not self._runs:
            self._begin_run(middle_us / 1e6 - spacing_s / 2).append(0.0)
        x = self._runs[-1][1]
        x.append(x[-1] + (frequency_hz / self._reference - 1) * spacing_s)
        return _NOTHING

    def gap(self, end_us: int) -> list[Output]:
        """The next reading begins a new segment."""
        self._open = False
        return _NOTHING

    def operate(self, entry: Operator) -> str:
        """The operator's actions change no phase."""
        return ""

    def _begin_run(self, start_s: float) -> array:
        """Begin a new run, and discard the one before if it is too short."""
        if self._runs and len(self._runs[-1][1]) < LEAST:
            self._runs.pop()
        self._runs.append((start_s, array("d")))
        return self._runs[-1][1]


class PhaseTracking(Tracking):
    """A Tracking that also hands what it takes to a PhaseReader, so that one intake serves both."""

    def __init__(self, settings: Settings, reader: PhaseReader, make_tracker: Callable[..., Tracker]) -> None:
        """Thresholds that the operator set are ignored.  make_tracker: as in chain.Chain."""
        super().__init__(settings, False, False, make_tracker)
        self._reader = reader

    def begin(self, interval_s: float) -> str:
        """As in Tracking, and for the reader."""
        self._reader.begin(interval_s)
        return super().begin(interval_s)

    def interval(self, record: records.Interval, middle_us: int, step: int, base: TimeBase) -> list[Output]:
        """As in Tracking, and for the reader."""
        self._reader.interval(record, middle_us, step, base)
        return super().interval(record, middle_us, step, base)

    def reading(self, middle_us: int, frequency_hz: float, step: int) -> list[Output]:
        """As in Tracking, and for the reader."""
        self._reader.reading(middle_us, frequency_hz, step)
        return super().reading(middle_us, frequency_hz, step)

    def gap(self, end_us: int) -> list[Output]:
        """As in Tracking, and for the reader."""
        self._reader.gap(end_us)
        return super().gap(end_us)
