"""A capture's phase in segments of evenly spaced readings, and the temperatures beside it.

Time error x = index / f - time (s), of the mean index and the mean time of each interval's edges: exact sums of ticks,
so that nothing is lost between readings and lost ones leave nan.  The mean over an interval smooths the phase as the
modified deviation does, so at tau = one interval white noise shows less than single edges would.
Imported frequencies are summed to phase, and a missing row ends the segment.
"""

from array import array
from dataclasses import dataclass

import numpy as np
from coilwire import records
from numpy.typing import NDArray

from coilcount.model import Entry, Imported, Operator, Output
from coilcount.readings.intake import Intake
from coilcount.readings.timebase import TimeBase

# A jump of the frequency from one reading to the next that is worth so much of an edge is a miscount, no signal.
MISCOUNT = 0.3
ZERO_C_K = 273.15
LEAST = 5  # phases: fewer make no deviation worth the name
# Readings nearer or farther apart are no log of a coil, and a spacing of 0 has no rate.
_SHORTEST_S, _LONGEST_S = 1e-4, 1e5
_NOTHING: list[Output] = []


@dataclass(frozen=True, slots=True)
class Segment:
    """x in s, (n,), nan where readings were lost; the first at start_s on the board's time base."""

    start_s: float
    x: NDArray


@dataclass(frozen=True, slots=True)
class Phases:
    """tau0_s: spacing of the readings; frequency_hz: what x is relative to.

    temperature: (k, 2) seconds and degrees C; readings: those whose phase is known; miscounts: segments that ended
    for one; irregular: share of imported rows that lie more than a quarter of the spacing beside their place.
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
        """The phase alone."""
        return [segment.x for segment in self.segments]


class PhaseReader:
    """feed() every entry of a capture, then result(), once.  Memory: 8 bytes a reading.

    A readings.intake.Taker of its own intake, which says what continues what.
    """

    def __init__(self) -> None:
        self._intake = Intake(self)
        self._runs: list[tuple[float, array]] = []  # (start_s, x)
        self._open = False
        self._spacing_s = 0.0  # 0: nothing is taken
        self._before: records.Interval | None = None
        self._reference = 0.0  # edges per tick, or Hz where frequencies were imported
        self._last_rate = 0.0
        self._last_us = 0
        self._rows = self._off = 0
        self._temperature = array("d")  # s and degrees C, in turn
        self._miscounts = 0
        self._spent_s, self._spent = 0.0, 0  # seconds and readings that ran on

    def feed(self, entry: Entry) -> None:
        """One entry."""
        status = self._intake.status
        self._intake.feed(entry)
        if type(entry) is Imported:
            if entry.temperature_c is not None:
                self._temperature.extend((entry.time_s, entry.temperature_c))
        elif self._intake.status is not status and self._intake.base is not None:
            temperature_mk = self._intake.status.temperature_mk
            if temperature_mk:
                at_s = self._intake.time_s(entry.host_s)
                self._temperature.extend((at_s, temperature_mk / 1000 - ZERO_C_K))

    @property
    def tick_s(self) -> float | None:
        """A tick of the board in s; None where frequencies were imported."""
        base = self._intake.base
        return None if base is None else base.tick_s

    def result(self) -> Phases:
        """What was read; runs of another interval than the last one's are left out."""
        self._intake.finish()
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

    # ------------------------------------------------------------ what the intake says

    def begin(self, interval_s: float) -> str:
        """Another spacing: only one is looked at."""
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
        goes_on = step > 0 and self._open
        if goes_on:
            last, self._last_rate = self._last_rate, base.rate
            if last and abs(base.rate / last - 1) * record.n > MISCOUNT:
                self._miscounts += 1
                goes_on = False
        if not goes_on:
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
        # In ticks from the first edge of the segment.
        at = self._ticks + record.s / record.n
        index = self._edges + (record.n - 1) / 2
        # Any reference will do: the period within the first interval.
        self._reference = self._reference or record.n * (record.n - 1) / (2 * record.s)
        x.append((index / self._reference - at) * base.tick_s)
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
        """What comes next is a segment of its own."""
        self._open = False
        return _NOTHING

    def operate(self, entry: Operator) -> str:
        """What the operator did changes no phase."""
        return ""

    def _begin_run(self, start_s: float) -> array:
        """A new run; the one before is let go where it is too short for anything."""
        if self._runs and len(self._runs[-1][1]) < LEAST:
            self._runs.pop()
        self._runs.append((start_s, array("d")))
        return self._runs[-1][1]
