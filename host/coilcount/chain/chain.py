"""What each entry of a capture brings about."""

from collections.abc import Callable, Iterable
from typing import Any

from coilwire import records

from coilcount import __version__
from coilcount.chain.tracking import Tracking
from coilcount.model import (
    End,
    Entry,
    Gap,
    Header,
    Imported,
    Line,
    MarkMade,
    Notice,
    Operator,
    Output,
    Silence,
)
from coilcount.readings import outputs
from coilcount.readings.decode import Decoder
from coilcount.readings.frequency import Estimate
from coilcount.readings.hello import TAKEN_FOR_GRANTED, hello_of, mismatches
from coilcount.readings.link import Link
from coilcount.readings.noise import Noise
from coilcount.readings.timebase import MOST_STEPS, TimeBase
from coilcount.readings.window import Window
from coilcount.settings import Settings
from coilcount.tracker.tracker import Tracker

# Until a hello tells the clock and the interval, intervals wait; a board says hello every 10 s and on request.
_MOST_WAITING = 2000
_HIGHEST_HZ = 1e12


class Chain:
    """feed() every entry in its order, then finish(); the same entries and settings always give the same outputs.

    points: whether a Point comes out for each reading; follow_threshold: whether what the operator did to the
    threshold while recording counts (not where another threshold is asked for); make_tracker: a kind of Tracker, for
    whoever wants to see what it is given.
    For the screen: `link` (counts), `board` (the last hello) and `status` (the last one) as coilwire records or None,
    `settling` (an alert is raised and its sign is not settled), `noise` (see readings.noise).
    """

    def __init__(
        self,
        settings: Settings,
        *,
        points: bool = False,
        follow_threshold: bool = True,
        make_tracker: Callable[..., Tracker] = Tracker,
    ) -> None:
        self.board: records.Hello | None = None
        self.status: records.Status | None = None
        self._decoder = Decoder()
        self.link = Link(self._decoder)
        self.noise = Noise()
        self._settings = settings
        self._points = points
        self._follow_threshold = follow_threshold
        self._tracking = Tracking(settings, points, make_tracker)
        self._header = Header(source="unknown", start_utc="")
        self._base: TimeBase | None = None
        self._interval_ms = 0
        self._window = Window(TAKEN_FOR_GRANTED.interval_ms)
        # Until the clock and the interval are known: (what to do, its arguments).
        self._waiting: list[tuple[Callable[..., list[Output]], tuple]] = []
        self._first_imported: Imported | None = None  # until a second one tells the spacing
        self._gap: Gap | None = None  # said by the host, and no interval came since
        self._stopped = False
        self._noticed: set[str] = set()
        self._first_us = self._end_us = 0
        self._imported_us: int | None = None  # middle of the last imported reading

    # ------------------------------------------------------------ inputs

    def feed(self, entry: Entry) -> list[Output]:
        """What one entry brings about, in order.  Raises InputError for an import that no tracker can take."""
        if type(entry) is Line:
            record = self._decoder.line(entry.data)
            if record is None:
                return []
            if type(record) is records.Interval:
                if self._base is None:
                    return self._wait(self._interval, record, entry.host_s)
                return self._interval(record, entry.host_s)
            return self._other_record(record, entry.host_s)
        if type(entry) is Imported:
            return self._imported(entry)
        if type(entry) is Header:
            self._header = entry
            hello = hello_of(entry.board)
            if hello is not None and self._base is None:
                return self._hear(hello)
        elif type(entry) is Operator:
            return self._operator(entry)
        elif type(entry) is Gap:
            return self._begin_gap(entry)
        elif type(entry) is not End:
            raise TypeError(f"no entry of a capture: {entry!r}")
        return []

    def finish(self) -> list[Output]:
        """The entries end here: what is open is told as open, and the Summary comes last."""
        out = self._begin_without_hello()
        if self._first_imported is not None:
            self._tracking.begin(TAKEN_FOR_GRANTED.interval_ms / 1000)
            out += self._imported(self._first_imported)
        if self._tracking.tracker is not None:
            out += self._told(self._tracking.tracker.finish())
        if self._gap is not None and self._base is not None and self._base.begun:
            end_s = max(self._end_us, self._base.at_host(self._gap.host_s)) / 1e6
            out.append(Silence(self._end_us / 1e6, end_s, self._gap.reason, True))
        duration_s = (self._end_us - self._first_us) / 1e6
        sha256 = self._settings.sha256()
        out.append(outputs.summary(self._header, duration_s, self.link, self.noise, self._tracking.alerts, sha256))
        return out

    # ------------------------------------------------------------ what it knows

    def estimate(self) -> Estimate | None:
        """The coil's frequency over the last second, reckoned when asked; None where no two intervals join.

        Never across lost records, a gap, a new time base or an interval that the board flagged; of imported readings
        there is none.
        """
        return None if self._base is None else self._window.estimate(self._base.tick_s)

    @property
    def stopped(self) -> bool:
        """The board has said that its oscillator stopped, and no interval came since."""
        return self._stopped

    @property
    def settling(self) -> bool:
        """An alert is raised and its sign is not settled."""
        return self._tracking.settling

    @property
    def threshold(self) -> float:
        """The raise level in force."""
        return self._tracking.threshold

    @property
    def threshold_ppm(self) -> float | None:
        """The raise level in ppm of the box statistic, of the width with the least noise; None while boxes fill."""
        return self._tracking.threshold_ppm

    @property
    def hold_from_ppm(self) -> float | None:
        """The level in ppm from which the automatic hold is to be relied on here; None while unknown, or without it."""
        return self._tracking.hold_from_ppm

    @property
    def roughness(self) -> float | None:
        """How many times the noise that was learned this ground has, 1.0 and more; None where none was learned."""
        return self._tracking.roughness

    @property
    def _tick_s(self) -> float | None:
        return None if self._base is None else self._base.tick_s

    # ------------------------------------------------------------ readings

    def _interval(self, record: records.Interval, host_s: float) -> list[Output]:
        base = self._base
        tracking = self._tracking
        link = self.link
        link.records += 1
        out: list[Output] = []
        if base.advance(record, host_s) and self._gap is None and not self._stopped:
            if base.step == 1:
                self.noise.push(base.rate / base.tick_s)
            else:
                link.lost += base.step - 1
                self._cut()
        else:
            self._end_gap(out)
        if record.flags & records.FAULT_BITS:
            self._window.cut()
            out += [self._notice(host_s, "warning", text) for text in link.seen_faults(record.flags)]
        elif record.n:
            self._window.push(record)
        time_us = base.time_us
        half_us = tracking.half_us
        self._end_us = time_us + 2 * half_us
        events = tracking.tracker.interval(time_us + half_us, *record[:5])
        if events or self._points:
            out += self._told(events)
        return out

    def _imported(self, entry: Imported) -> list[Output]:
        time_us = round(1e6 * entry.time_s)
        last_us = self._imported_us
        backwards = last_us is not None and time_us <= last_us
        if self._base is not None or backwards or not 0.0 < entry.frequency_hz < _HIGHEST_HZ:
            self.link.refused += 1
            return []
        if self._tracking.tracker is None:
            spacing_s = self._header.interval_s
            first = self._first_imported
            if spacing_s is None and first is None:
                self._first_imported = entry
                return []
            self._tracking.begin(spacing_s or entry.time_s - first.time_s)
            out = self._rerun()
            if first is not None:
                self._first_imported = None
                out += self._imported(first)
            return out + self._imported(entry)
        out: list[Output] = []
        self.link.records += 1
        half_us = self._tracking.half_us
        spacing_us = 2 * half_us
        steps = 1 if last_us is None else round((time_us - last_us) / spacing_us)
        if last_us is None:
            self._first_us = time_us - half_us
        elif steps > MOST_STEPS:
            out += self._told(self._tracking.tracker.gap(time_us))
            out.append(Silence(self._end_us / 1e6, (time_us - half_us) / 1e6, "no readings", False))
        elif steps > 1:
            self.link.lost += steps - 1
        if steps != 1:
            self.noise.cut()
        self.noise.push(entry.frequency_hz)
        self._imported_us = time_us
        self._end_us = time_us + half_us
        return out + self._told(self._tracking.tracker.reading(time_us, entry.frequency_hz))

    def _cut(self) -> None:
        """The next reading is not the neighbour of the one before."""
        self.noise.cut()
        self._window.cut()

    def _begin_gap(self, entry: Gap) -> list[Output]:
        if self._base is None:
            return self._wait(self._begin_gap, entry)
        # A gap is never joined over, however short: what is open closes now, the Silence follows when it has ended.
        self._gap = entry
        self._window.cut()
        return self._told(self._tracking.tracker.gap(self._end_us))

    def _end_gap(self, out: list[Output]) -> None:
        base = self._base
        self._cut()
        begun_us = self._end_us
        if base.start and base.silent_from_us is not None:
            out += self._told(self._tracking.tracker.gap(begun_us))
        if base.step > 1:
            self.link.lost += base.step - 1
        if begun_us:
            reason = base.reason
            if self._gap is not None:
                reason = self._gap.reason
            elif self._stopped:
                reason = "oscillator stopped"
            out.append(Silence(begun_us / 1e6, max(begun_us, base.time_us) / 1e6, reason, base.bridged))
        self._gap = None
        self._stopped = False

    # ------------------------------------------------------------ what else the board says

    def _other_record(self, record: Any, host_s: float) -> list[Output]:
        kind = type(record)
        if kind is records.Hello:
            return self._hello(record, host_s)
        if kind is records.Status:
            self.status = record
            self.link.seen_status(record.dropped, host_s)
        elif kind not in (records.Stopped, records.Mark, records.Log):
            return []  # an answer is the session's business; a kind that is not known here was counted
        if self._base is None:
            return self._wait(self._timed_record, record, host_s)
        return self._timed_record(record, host_s)

    def _timed_record(self, record: Any, host_s: float) -> list[Output]:
        kind = type(record)
        self._uptime(record.uptime_ms, host_s)
        if kind is records.Stopped and not self._stopped:
            self._stopped = True
            self._window.cut()
            text = "the oscillator has stopped: no edge for 50 ms"
            return [*self._told(self._tracking.tracker.gap(self._end_us)), self._notice(host_s, "warning", text)]
        if kind is records.Mark:
            return [MarkMade(self._base.at_host(host_s) / 1e6, f"button, mark {record.number}")]
        if kind is records.Log:
            return [self._notice(host_s, "info", f"the board says: {record.text}")]
        return []

    def _uptime(self, uptime_ms: int, host_s: float) -> None:
        if self._base.seen_uptime(uptime_ms, host_s):
            self.link.restarted()

    def _hello(self, hello: records.Hello, host_s: float) -> list[Output]:
        before = self.board
        out: list[Output] = []
        if before is not None and self._base is not None and (before.uid, before.boot) != (hello.uid, hello.boot):
            self._base.restart()
            self.link.restarted()
        out += self._hear(hello)
        self._uptime(hello.uptime_ms, host_s)
        for text in mismatches(hello, __version__):
            if text not in self._noticed:
                self._noticed.add(text)
                out.append(self._notice(host_s, "warning", text))
        return out + self._rerun()

    def _hear(self, hello: records.Hello) -> list[Output]:
        """Take the clock and the interval from a hello."""
        self.board = hello
        out: list[Output] = []
        if hello.clock_hz < 1 or hello.tick_cycles < 1:
            known = TAKEN_FOR_GRANTED
            text = "the board's hello tells no clock: ticks of 16 ns are taken for granted"
            hello = hello._replace(clock_hz=known.clock_hz, tick_cycles=known.tick_cycles)
            return [Notice(None, "warning", text), *self._hear(hello)]
        if self._base is None:
            self._base = TimeBase(hello.clock_hz, hello.tick_cycles)
        else:
            tick_s = self._tick_s
            self._base.set_clock(hello.clock_hz, hello.tick_cycles)
            if self._tick_s != tick_s:
                self._window.cut()
        if hello.interval_ms != self._interval_ms:
            if self._tracking.tracker is not None:
                out += self._told(self._tracking.tracker.gap(self._end_us))
                self.noise.cut()
            self._interval_ms = hello.interval_ms
            self._window = Window(hello.interval_ms)
            self._tracking.begin(hello.interval_ms / 1000)
        return out

    # ------------------------------------------------------------ what the operator did

    def _operator(self, entry: Operator) -> list[Output]:
        if self._tracking.tracker is None:
            return self._wait(self._operator, entry)
        if entry.action == "mark":
            time_us = self._base.at_host(entry.host_s) if self._base is not None else self._end_us
            return [MarkMade(time_us / 1e6, entry.text)]
        if entry.action in ("freeze", "thaw"):
            self._tracking.freeze(entry.action == "freeze")
            return []
        if entry.action == "threshold" and entry.value is not None:
            if self._follow_threshold:
                try:
                    self._tracking.set_threshold(entry.value)
                except ValueError as error:
                    return [self._notice(entry.host_s, "warning", f"a recorded threshold is not used: {error}")]
            return []
        return [self._notice(entry.host_s, "warning", f'what the operator did is not known here: "{entry.action}"')]

    # ------------------------------------------------------------ outputs

    def _told(self, events: Iterable[tuple]) -> list[Output]:
        return self._tracking.told(events, self._tick_s, self.noise.recent_ppm)

    def _notice(self, host_s: float, level: str, text: str) -> Notice:
        known = self._base is not None and self._base.begun
        return Notice(self._base.at_host(host_s) / 1e6 if known else None, level, text)

    # ------------------------------------------------------------ before the first hello

    def _wait(self, do: Callable[..., list[Output]], *arguments: Any) -> list[Output]:
        self._waiting.append((do, arguments))
        return self._begin_without_hello() if len(self._waiting) > _MOST_WAITING else []

    def _begin_without_hello(self) -> list[Output]:
        if self._base is not None or not self._waiting:
            return []
        text = "no hello from the board: ticks of 16 ns and intervals of 20 ms are taken for granted"
        self._hear(TAKEN_FOR_GRANTED)
        self.board = None
        return [Notice(None, "warning", text), *self._rerun()]

    def _rerun(self) -> list[Output]:
        waiting, self._waiting = self._waiting, []
        return [output for do, arguments in waiting for output in do(*arguments)]
