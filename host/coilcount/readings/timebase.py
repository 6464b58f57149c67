"""Board ticks to microseconds since the first edge of the first interval: unwrap, restart, bridge.

Within a boot the board's clock alone counts.  Across a restart, or a silence in which the 32-bit timestamp could wrap
unseen, the board's uptime and the host's time bridge, and the new start says so.  Time never goes backwards.
"""

from coilwire import records

MASK_16 = records.U16 - 1
MASK_32 = records.U32 - 1
# A larger step of the sequence is no run of lost records that anyone would fill.
MOST_STEPS = 100
# The 32-bit timestamp wraps in 68.7 s at 16 ns; a silence near half of that is ambiguous for whoever has only ticks.
UNSEEN_WRAP_S = 30.0
# Host time against board time: lines arrive in bunches, but not later than this.
HOST_SLACK_S = 1.0
# Inside an interval of these the timestamps broke, so that it continues nothing, and nothing continues it.
_BROKEN_INSIDE = records.FLAG_STALL | records.FLAG_OVERRUN
_BREAKS = records.FLAG_NEW_TIME_BASE | _BROKEN_INSIDE


class TimeBase:
    """Feed intervals in the order received; `time_us` is the first edge of the latest one.

    Attributes after advance(): time_us; start: the latest interval does not continue the one before (also the very
    first); bridged: its time needed uptime or host time; silent_from_us: with `start`, where the readings before it
    ended (None for the very first); step: by how much the sequence went on, 0 where that is unknown; rate: edges per
    tick between the mean of the interval before and that of this one (readings.frequency.two_averages), 0 at a start;
    reason: of a start, in words.
    """

    def __init__(self, clock_hz: int, tick_cycles: int) -> None:
        self.time_us = 0
        self.start = True
        self.bridged = False
        self.silent_from_us: int | None = None
        self.step = 0
        self.rate = 0.0
        self.begun = False
        self.restarted = False  # the board has started anew since the latest interval
        self.reason = ""
        self._broken = 0  # the flags of _BROKEN_INSIDE of the latest interval
        self._sequence = self._first_edge = self._t_first = 0
        self._n = self._s = 0
        self._period = 0.0  # ticks
        self._host_s = 0.0
        self._base_us = 0  # time of tick 0 of this run
        self._ticks = 0  # of this run, unwrapped
        self._anchor: tuple[int, float, int] | None = None  # (uptime_ms, host_s, time_us) near the latest interval
        self._uptime: tuple[int, float] | None = None  # (uptime_ms, host_s), the latest
        self._numerator = self._denominator = 1
        self.set_clock(clock_hz, tick_cycles)

    def set_clock(self, clock_hz: int, tick_cycles: int) -> None:
        """What a tick is, from the board's hello: tick_cycles / clock_hz seconds."""
        if clock_hz < 1 or tick_cycles < 1:
            raise ValueError("a clock without a rate")
        numerator = tick_cycles * 1_000_000
        if (numerator, clock_hz) != (self._numerator, self._denominator):
            self._base_us = self.time_us
            self._ticks = 0
            self._numerator = numerator
            self._denominator = clock_hz

    @property
    def tick_s(self) -> float:
        """One tick in s."""
        return self._numerator / self._denominator / 1e6

    def advance(self, record: records.Interval, host_s: float) -> bool:
        """Takes one interval; returns True where it continues the one before (records between may be lost)."""
        sequence, first_edge, n, t_first, s, _, _, _, flags = record
        ticks = (t_first - self._t_first) & MASK_32
        step = (sequence - self._sequence) & MASK_16
        edges = (first_edge - self._first_edge) & MASK_32
        expected = edges * self._period
        if (
            0 < step <= MOST_STEPS
            and -ticks <= 8.0 * (ticks - expected) <= ticks
            and not flags & _BREAKS
            and not self.restarted
            and not self._broken
            and n > 1
            and self._n
        ):
            before = self._n
            self.rate = (edges + 0.5 * (n - before)) / (ticks + s / n - self._s / before)
            self._ticks += ticks
            self.time_us = self._base_us + self._ticks * self._numerator // self._denominator
            self.step = step
            self.start = self.bridged = False
        else:
            self._new_start(record, host_s, step, ticks, expected)
        self._sequence = sequence
        self._first_edge = first_edge
        self._t_first = t_first
        self._host_s = host_s
        self._broken = flags & _BROKEN_INSIDE
        if n > 1:
            self._n = n
            self._s = s
            # The mean of (t - t_first) over n edges is half of (n - 1) periods.
            self._period = 2.0 * s / (n * (n - 1))
        else:
            self._n = self._s = 0
        return not self.start

    def at_host(self, host_s: float) -> int:
        """The time in us at which a line received at host_s was sent; 0 before the first interval."""
        if not self.begun:
            return 0
        return self._end_us() + max(0, _us(host_s) - _us(self._host_s))

    def seen_uptime(self, uptime_ms: int, host_s: float) -> bool:
        """Any record that carries the board's uptime; True where it went back, which is a restart."""
        back = self._uptime is not None and (uptime_ms - self._uptime[0]) & MASK_32 > MASK_32 >> 1
        if back:
            self.restart()
        self._uptime = (uptime_ms, host_s)
        if self._anchor is None or _us(self._host_s) > _us(self._anchor[1]):
            self._anchor = (uptime_ms, host_s, self.at_host(host_s))
        return back

    def restart(self) -> None:
        """The board has started anew: neither its ticks nor its uptime continue."""
        self.restarted = self.begun
        self._uptime = self._anchor = None

    def _new_start(self, record: records.Interval, host_s: float, step: int, ticks: int, expected: float) -> None:
        self.start = True
        self.bridged = False
        self.step = 0
        self.rate = 0.0
        if not self.begun:
            self.begun = True
            return
        self.silent_from_us = self._end_us()
        silence_us = max(0, self._estimate_us(record, host_s) - self.time_us)
        ticks_us = ticks * self._numerator // self._denominator
        same_run = not (self.restarted or self._broken or record.flags & _BREAKS)
        in_pace = step > 0 and abs(ticks - expected) * 8 <= ticks
        near = abs(ticks_us - silence_us) <= HOST_SLACK_S * 1e6
        if same_run and silence_us < UNSEEN_WRAP_S * 1e6 and (in_pace or (near and 0 < step <= MOST_STEPS)):
            # The board's clock counted through it: records were lost, or the oscillator stood still.
            self.step = step
            elapsed_us = ticks_us
            self.reason = "records lost" if step > 1 else "no edges"
        else:
            elapsed_us = silence_us
            self.bridged = True
            self.reason = "board restarted" if self.restarted else "new time base"
            if same_run and silence_us >= UNSEEN_WRAP_S * 1e6:
                elapsed_us = self._with_wraps(ticks, silence_us)
        earliest_us = self.time_us if self.step else self.silent_from_us
        self.time_us = max(earliest_us, self.time_us + elapsed_us)
        self._base_us = self.time_us
        self._ticks = 0
        self.restarted = False

    def _with_wraps(self, ticks: int, silence_us: int) -> int:
        """ticks and as many unseen wraps as come nearest to silence_us, in us; silence_us where none comes near."""
        silence_ticks = silence_us * self._denominator // self._numerator
        wraps = max(0, round((silence_ticks - ticks) / records.U32))
        candidate_us = (ticks + wraps * records.U32) * self._numerator // self._denominator
        return candidate_us if abs(candidate_us - silence_us) <= HOST_SLACK_S * 1e6 else silence_us

    def _estimate_us(self, record: records.Interval, host_s: float) -> int:
        """Time of the record's first edge by the board's uptime as far as it reaches, else by host time."""
        end_us = self.at_host(host_s)
        if self._anchor is not None and self._uptime is not None and _us(self._uptime[1]) > _us(self._host_s):
            passed_us = 1000 * ((self._uptime[0] - self._anchor[0]) & MASK_32)
            end_us = self._anchor[2] + passed_us + max(0, _us(host_s) - _us(self._uptime[1]))
        return end_us - self._length_us(record.n, record.s)

    def _end_us(self) -> int:
        return self.time_us + self._length_us(self._n, self._s)

    def _length_us(self, n: int, s: int) -> int:
        """How long n edges with sum s take, from the first edge to the one after the last."""
        return int(2 * s * self._numerator / ((n - 1) * self._denominator)) if n > 1 else 0


def _us(host_s: float) -> int:
    """Whole microseconds, which is what a capture keeps: so live and replay reckon with the same numbers."""
    return round(1e6 * host_s)
