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

from coilcount.model import Entry, Gap, Header, Imported, Line
from coilcount.readings.decode import Decoder
from coilcount.readings.hello import TAKEN_FOR_GRANTED, hello_of
from coilcount.readings.timebase import TimeBase

# A jump of the frequency from one reading to the next that is worth so much of an edge is a miscount, no signal.
MISCOUNT = 0.3
ZERO_C_K = 273.15
LEAST = 5  # phases: fewer make no deviation worth the name
# Until a hello tells the clock, intervals wait; then ticks are taken for granted, as the chain does.
_MOST_WAITING = 2000


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
    """feed() every entry of a capture, then result(), once.  Memory: 8 bytes a reading."""

    def __init__(self) -> None:
        self._decoder = Decoder()
        self._hello: records.Hello | None = None
        self._base: TimeBase | None = None
        self._waiting: list[tuple[records.Interval, float]] = []
        self._runs: list[tuple[float, array]] = []  # (start_s, x)
        self._open = False
        self._interval_ms = 0
        self._before: records.Interval | None = None
        self._reference = 0.0  # edges per tick
        self._last_rate = 0.0
        self._spacing_s: float | None = None
        self._imported: Imported | None = None
        self._rows = self._off = 0
        self._temperature = array("d")  # s and degrees C, in turn
        self._miscounts = 0
        self._spent_s, self._spent = 0.0, 0  # seconds and readings that ran on

    def feed(self, entry: Entry) -> None:
        """One entry."""
        if type(entry) is Line:
            record = self._decoder.line(entry.data)
            if type(record) is records.Interval:
                if self._base is None:
                    self._waiting.append((record, entry.host_s))
                    if len(self._waiting) > _MOST_WAITING:
                        self._hear(TAKEN_FOR_GRANTED)
                else:
                    self._interval(record, entry.host_s)
            elif type(record) is records.Hello:
                self._hear(record)
                self._base.seen_uptime(record.uptime_ms, entry.host_s)
            elif type(record) is records.Stopped:
                self._open = False
            elif type(record) is records.Status and self._base is not None:
                self._base.seen_uptime(record.uptime_ms, entry.host_s)
                if record.temperature_mk:
                    at_s = self._base.at_host(entry.host_s) / 1e6
                    self._temperature.extend((at_s, record.temperature_mk / 1000 - ZERO_C_K))
        elif type(entry) is Imported:
            self._reading(entry)
        elif type(entry) is Gap:
            self._open = False
        elif type(entry) is Header:
            self._spacing_s = entry.interval_s
            hello = hello_of(entry.board)
            if hello is not None:
                self._hear(hello)

    @property
    def tick_s(self) -> float | None:
        """A tick of the board in s; None where frequencies were imported."""
        return None if self._base is None else self._base.tick_s

    def result(self) -> Phases:
        """What was read; runs of another interval than the last one's are left out."""
        if self._base is None and self._waiting:
            self._hear(TAKEN_FOR_GRANTED)
        runs = [(start_s, np.frombuffer(x)) for start_s, x in self._runs if len(x) >= LEAST]
        spent, count = self._spent_s, self._spent
        if self._base is not None:
            frequency_hz = self._reference / self._base.tick_s
            tau0_s = spent / count if count else self._interval_ms / 1000
        else:
            frequency_hz, tau0_s = self._reference, self._spacing_s or 0.0
        return Phases(
            tuple(Segment(start_s, x) for start_s, x in runs),
            tau0_s,
            frequency_hz,
            np.array(self._temperature).reshape(-1, 2),
            sum(int(np.count_nonzero(~np.isnan(x))) for _, x in runs),
            self._miscounts,
            self._off / self._rows if self._rows else 0.0,
        )

    def _hear(self, hello: records.Hello) -> None:
        known = TAKEN_FOR_GRANTED
        clock_hz, tick_cycles = hello.clock_hz, hello.tick_cycles
        if clock_hz < 1 or tick_cycles < 1:
            clock_hz, tick_cycles = known.clock_hz, known.tick_cycles
        before, self._hello = self._hello, hello
        if self._base is None:
            self._base = TimeBase(clock_hz, tick_cycles)
        else:
            self._base.set_clock(clock_hz, tick_cycles)
            if before is not None and (before.uid, before.boot) != (hello.uid, hello.boot):
                self._base.restart()
        if hello.interval_ms != self._interval_ms:
            if self._interval_ms:
                self._runs.clear()
                self._spent_s, self._spent = 0.0, 0
            self._interval_ms = hello.interval_ms
            self._open = False
        waiting, self._waiting = self._waiting, []
        for record, host_s in waiting:
            self._interval(record, host_s)

    def _interval(self, record: records.Interval, host_s: float) -> None:
        base = self._base
        before, self._before = self._before, record
        goes_on = base.advance(record, host_s) and self._open and before is not None
        if record.n < 2:
            self._open = False
            return
        if goes_on:
            last, self._last_rate = self._last_rate, base.rate
            if last and abs(base.rate / last - 1) * record.n > MISCOUNT:
                self._miscounts += 1
                goes_on = False
        if not goes_on:
            self._last_rate = 0.0
            self._ticks = self._edges = 0
            self._open = True
            x = self._begin(base.time_us / 1e6)
        else:
            ticks = (record.t_first - before.t_first) % records.U32
            self._ticks += ticks
            self._edges += (record.first_edge - before.first_edge) % records.U32
            x = self._runs[-1][1]
            if base.step > 1:
                x.extend([np.nan] * (base.step - 1))
            self._spent_s += ticks * base.tick_s
            self._spent += base.step
        # In ticks from the first edge of the segment.
        at = self._ticks + record.s / record.n
        index = self._edges + (record.n - 1) / 2
        # Any reference will do: the period within the first interval.
        self._reference = self._reference or record.n * (record.n - 1) / (2 * record.s)
        x.append((index / self._reference - at) * base.tick_s)

    def _begin(self, start_s: float) -> array:
        """A new run; the one before is let go where it is too short for anything."""
        if self._runs and len(self._runs[-1][1]) < LEAST:
            self._runs.pop()
        self._runs.append((start_s, array("d")))
        return self._runs[-1][1]

    def _reading(self, entry: Imported) -> None:
        before, self._imported = self._imported, entry
        if not entry.frequency_hz > 0:
            return
        if entry.temperature_c is not None:
            self._temperature.extend((entry.time_s, entry.temperature_c))
        self._reference = self._reference or entry.frequency_hz
        if before is not None and not self._spacing_s:
            self._spacing_s = entry.time_s - before.time_s
        spacing_s = self._spacing_s
        if spacing_s is None:
            return
        steps = (entry.time_s - before.time_s) / spacing_s if before is not None else 1.0
        self._rows += 1
        self._off += abs(steps - round(steps)) > 0.25
        if not self._runs or round(steps) != 1:
            self._begin(entry.time_s - spacing_s / 2).append(0.0)
        x = self._runs[-1][1]
        x.append(x[-1] + (entry.frequency_hz / self._reference - 1) * spacing_s)
