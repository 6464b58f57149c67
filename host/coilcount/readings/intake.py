"""The intake: turns the entries of a capture into readings on one time axis, decoded and counted.

The chain, `inspect` and `noise` all use it, so they count the same losses on the same axis.  There is no clock in here:
time comes in with the entries.
"""

from collections.abc import Callable
from typing import Any, Protocol

from coilwire import records

from coilcount.model import End, Entry, Gap, Header, Imported, Line, MarkMade, Notice, Operator, Output, Silence
from coilcount.readings.decode import Decoder
from coilcount.readings.hello import ASSUMED_HELLO, hello_of, mismatches
from coilcount.readings.link_counts import LinkCounts
from coilcount.readings.timebase import TimeBase
from coilcount.tracker.continuity import readings_apart

# Entries that wait for a hello, which gives the clock and the interval.  Chosen by hand: a board sends a hello on
# request and every records.HELLO_EVERY_MS, which is as long as 500 intervals of 20 ms.
_MOST_WAITING = 2000
# Hz.  A frequency outside is no reading of a coil, and its ratio to others would overflow.  Chosen by hand.
LOWEST_HZ, HIGHEST_HZ = 1e-3, 1e12
# Different warnings about hellos that are remembered, so that each comes once.  Bounds the memory; chosen by hand.
_MOST_NOTICED = 50


class Taker(Protocol):
    """Takes the readings.  Every call that returns a list returns the outputs that it causes, in order."""

    def begin(self, interval_s: float) -> str:
        """From now on readings are interval_s apart.  Returns a warning for the user, or ""."""

    def interval(self, record: records.Interval, middle_us: int, step: int, base: TimeBase) -> list[Output]:
        """Take one interval.  step: how many intervals it comes after the one before; 0 if it does not continue it."""

    def reading(self, middle_us: int, frequency_hz: float, step: int) -> list[Output]:
        """Take one imported reading.  step: as in interval()."""

    def gap(self, end_us: int) -> list[Output]:
        """The readings ended at end_us.  The next one does not continue them."""

    def operate(self, entry: Operator) -> str:
        """Do what the operator did: freeze, thaw, false_alarms or threshold.  Returns why it is not used, or ""."""


class Intake:
    """Call feed() with every entry in its order, then finish().

    link: counts of the link.
    board, status: the last hello and the last status as coilwire records, None before the first.
    stopped: the board has reported that its oscillator stopped, and no interval came since.
    boots: how often a board started, the first time included.
    base: the time base of a board, None before its first hello and for imported readings.
    """

    def __init__(self, taker: Taker, version: str = "") -> None:
        """version: of this host, to be compared with the firmware's."""
        self.board: records.Hello | None = None
        self.status: records.Status | None = None
        self.header = Header(source="unknown", start_utc="")
        self.stopped = False
        self.boots = 0
        self.base: TimeBase | None = None
        self._decoder = Decoder()
        self.link = LinkCounts(self._decoder)
        self._taker = taker
        self._version = version
        self._interval_ms: int | None = None
        self._half_us = 0
        self._begun = False  # the taker knows how far readings are apart
        # Calls that wait until the clock and the interval are known: (method, its arguments).
        self._waiting: list[tuple[Callable[..., list[Output]], tuple]] = []
        self._imports = False  # a capture holds either imported readings or a board's intervals
        self._first_imported: Imported | None = None  # waits for the second one, which gives the spacing
        self._imported_us: int | None = None  # middle of the last imported reading
        self._gap: Gap | None = None  # a gap that the host recorded, and no interval came since
        self._noticed: set[str] = set()
        self._first_us = self._end_us = 0

    @property
    def duration_s(self) -> float:
        """Time from the first reading to the end of the last in s, gaps included."""
        return (self._end_us - self._first_us) / 1e6

    def feed(self, entry: Entry) -> list[Output]:
        """Take one entry of a capture, and return the outputs that it causes, in order."""
        if type(entry) is Line:
            record = self._decoder.line(entry.data)
            if record is None:
                return []
            if type(record) is records.Interval:
                if self.base is not None:
                    return self._interval(record, entry.host_s)
                if self._imports:
                    self.link.refused += 1
                    return []
                return self._wait(self._interval, record, entry.host_s)
            return [] if self._imports else self._other_record(record, entry.host_s)
        if type(entry) is Imported:
            return self._imported(entry)
        if type(entry) is Header:
            self.header = entry
            hello = hello_of(entry.board)
            if hello is not None and self.base is None and not self._imports:
                return self._hear(hello)
        elif type(entry) is Operator:
            return self._operator(entry)
        elif type(entry) is Gap:
            return self._begin_gap(entry)
        elif type(entry) is not End:
            raise TypeError(f"no entry of a capture: {entry!r}")
        return []

    def finish(self) -> list[Output]:
        """The entries end here: take those that waited.  open_gap() returns a gap that has no end."""
        out = self._begin_without_hello()
        if self._first_imported is not None:
            out += self._begin_imports(ASSUMED_HELLO.interval_ms / 1000)
        return out

    def open_gap(self) -> Silence | None:
        """Return the gap that has no end yet, up to the time that is known; None if there is none."""
        if self._gap is None or self.base is None or not self.base.begun:
            return None
        end_s = max(self._end_us, self.base.at_host(self._gap.host_s)) / 1e6
        return Silence(self._end_us / 1e6, end_s, self._gap.reason, True)

    def time_s(self, host_s: float) -> float:
        """Return where something that happened at host_s lies on the time axis, in s."""
        return (self._end_us if self.base is None else self.base.at_host(host_s)) / 1e6

    # ------------------------------------------------------------ readings

    def _interval(self, record: records.Interval, host_s: float) -> list[Output]:
        base = self.base
        link = self.link
        link.records += 1
        out: list[Output] = []
        continues = base.advance(record, host_s)
        if base.step > 1:
            link.lost += base.step - 1
        step = base.step
        if not continues or self._gap is not None or self.stopped:
            step = 0
            self._end_gap(out)
        if record.flags & records.FAULT_BITS:
            out += [self._notice(host_s, "warning", text) for text in link.seen_faults(record.flags)]
        time_us = base.time_us
        half_us = self._half_us
        self._end_us = time_us + 2 * half_us
        taken = self._taker.interval(record, time_us + half_us, step, base)
        return out + taken if out else taken

    def _imported(self, entry: Imported) -> list[Output]:
        time_us = round(1e6 * entry.time_s)
        last_us = self._imported_us
        backwards = last_us is not None and time_us <= last_us
        if self.base is not None or backwards or not LOWEST_HZ <= entry.frequency_hz <= HIGHEST_HZ:
            self.link.refused += 1
            return []
        self._imports = True
        if not self._begun:
            first = self._first_imported
            spacing_s = self.header.interval_s
            if spacing_s is None and first is None:
                self._first_imported = entry
                return []
            if spacing_s is None:
                spacing_s = entry.time_s - first.time_s
                if not spacing_s > 0:
                    self.link.refused += 1
                    return []
            return self._begin_imports(spacing_s) + self._imported(entry)
        link = self.link
        link.records += 1
        half_us = self._half_us
        out: list[Output] = []
        step = 0
        if last_us is None:
            self._first_us = time_us - half_us
        else:
            step = readings_apart(last_us, time_us, 2 * half_us)
            if step:
                link.lost += step - 1
            else:
                out += self._taker.gap(self._end_us)
                out.append(Silence(self._end_us / 1e6, (time_us - half_us) / 1e6, "no readings", False))
        self._imported_us = time_us
        self._end_us = time_us + half_us
        return out + self._taker.reading(time_us, entry.frequency_hz, step)

    def _begin_imports(self, spacing_s: float) -> list[Output]:
        first, self._first_imported = self._first_imported, None
        out = self._begin(spacing_s)
        # At least 1 us, so that readings keep their order even if no tracker takes them.
        self._half_us = max(1, self._half_us)
        waiting, self._waiting = self._waiting, []
        out += [output for call, arguments in waiting if call == self._operator for output in call(*arguments)]
        return out if first is None else out + self._imported(first)

    def _begin_gap(self, entry: Gap) -> list[Output]:
        if self._imports:
            return []
        if self.base is None:
            return self._wait(self._begin_gap, entry)
        # Readings are never joined across a gap, even a short one.  Alerts end now; the Silence comes after the gap.
        self._gap = entry
        return self._taker.gap(self._end_us)

    def _end_gap(self, out: list[Output]) -> None:
        base = self.base
        begun_us = self._end_us
        if base.start and base.silent_from_us is not None:
            out += self._taker.gap(begun_us)
        if begun_us:
            reason = base.reason
            if self._gap is not None:
                reason = self._gap.reason
            elif self.stopped:
                reason = "oscillator stopped"
            out.append(Silence(begun_us / 1e6, max(begun_us, base.time_us) / 1e6, reason, base.bridged))
        self._gap = None
        self.stopped = False

    # ------------------------------------------------------------ other records of the board

    def _other_record(self, record: Any, host_s: float) -> list[Output]:
        kind = type(record)
        if kind is records.Hello:
            return self._hello(record, host_s)
        if kind is records.Status:
            self.status = record
        elif kind not in (records.Stopped, records.Mark, records.Log):
            return []  # answers are for the session; a kind that this version does not know was counted
        if self.base is None:
            return self._wait(self._timed_record, record, host_s)
        return self._timed_record(record, host_s)

    def _timed_record(self, record: Any, host_s: float) -> list[Output]:
        kind = type(record)
        self._uptime(record.uptime_ms, host_s)
        if kind is records.Status:
            self.link.seen_status(record.dropped, host_s)
        if kind is records.Stopped and not self.stopped:
            self.stopped = True
            text = f"the oscillator has stopped: no edge for {records.STOPPED_AFTER_MS} ms"
            return [*self._taker.gap(self._end_us), self._notice(host_s, "warning", text)]
        if kind is records.Mark:
            return [MarkMade(self.time_s(host_s), f"button, mark {record.number}")]
        if kind is records.Log:
            return [self._notice(host_s, "info", f"the board says: {record.text}")]
        return []

    def _uptime(self, uptime_ms: int, host_s: float) -> None:
        if self.base.seen_uptime(uptime_ms, host_s):
            self.link.restarted()

    def _hello(self, hello: records.Hello, host_s: float) -> list[Output]:
        before = self.board
        if before is not None and (before.uid, before.boot) != (hello.uid, hello.boot):
            self.base.restart()
            self.link.restarted()
        out = self._hear(hello)
        self._uptime(hello.uptime_ms, host_s)
        for text in mismatches(hello, self._version):
            if text not in self._noticed and len(self._noticed) < _MOST_NOTICED:
                self._noticed.add(text)
                out.append(self._notice(host_s, "warning", text))
        return out + self._take_waiting()

    def _hear(self, hello: records.Hello) -> list[Output]:
        """Take the clock and the interval from a hello, sent by the board or assumed."""
        if self.board is None or (self.board.uid, self.board.boot) != (hello.uid, hello.boot):
            self.boots += 1
        self.board = hello
        if hello.clock_hz < 1 or hello.tick_cycles < 1:
            assumed = ASSUMED_HELLO
            text = "the board's hello has no clock rate: a tick of 16 ns is assumed"
            hello = hello._replace(clock_hz=assumed.clock_hz, tick_cycles=assumed.tick_cycles)
            return [Notice(None, "warning", text), *self._hear(hello)]
        out: list[Output] = []
        if self.base is None:
            self.base = TimeBase(hello.clock_hz, hello.tick_cycles)
        elif self.base.set_clock(hello.clock_hz, hello.tick_cycles):
            out += self._taker.gap(self._end_us)
        if hello.interval_ms != self._interval_ms:
            self._interval_ms = hello.interval_ms
            out += self._begin(hello.interval_ms / 1000)
        return out

    def _begin(self, interval_s: float) -> list[Output]:
        out = self._taker.gap(self._end_us) if self._begun else []
        self._begun = True
        self._half_us = round(5e5 * interval_s)
        warning = self._taker.begin(interval_s)
        return [*out, Notice(None, "warning", warning)] if warning else out

    # ------------------------------------------------------------ what the operator did

    def _operator(self, entry: Operator) -> list[Output]:
        if not self._begun:
            return self._wait(self._operator, entry)
        if entry.action == "mark":
            return [MarkMade(self.time_s(entry.host_s), entry.text)]
        warning = self._taker.operate(entry)
        return [self._notice(entry.host_s, "warning", warning)] if warning else []

    def _notice(self, host_s: float, level: str, text: str) -> Notice:
        known = self.base is not None and self.base.begun
        return Notice(self.base.at_host(host_s) / 1e6 if known else None, level, text)

    # ------------------------------------------------------------ before the first hello

    def _wait(self, call: Callable[..., list[Output]], *arguments: Any) -> list[Output]:
        self._waiting.append((call, arguments))
        return self._begin_without_hello() if len(self._waiting) > _MOST_WAITING else []

    def _begin_without_hello(self) -> list[Output]:
        if self.base is not None or self._imports or not self._waiting:
            return []
        text = "no hello from the board: a tick of 16 ns and intervals of 20 ms are assumed"
        begun = self._hear(ASSUMED_HELLO)
        self.board = None
        self.boots -= 1
        return [Notice(None, "warning", text), *begun, *self._take_waiting()]

    def _take_waiting(self) -> list[Output]:
        waiting, self._waiting = self._waiting, []
        return [output for call, arguments in waiting for output in call(*arguments)]
