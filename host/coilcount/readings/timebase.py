"""The time base: board ticks to microseconds since the first edge of the first interval.

Within a boot only the board's clock counts.  While records are lost, its edges go on counting, and they show how often
the ticks wrapped.  If neither can tell the time, the silence is bridged by the board's uptime, and if that is missing
by the host's clock.  The new start is then marked as bridged.  Time never goes backwards.
"""

from coilwire import records

from coilcount.readings.hostclock import HostClock
from coilcount.tracker.continuity import MASK_16, MASK_32, MOST_STEPS, steps

# Seconds.  In a longer silence the ticks alone do not tell the time.  Chosen by hand: the 32-bit timestamp wraps in
# 68.7 s at 16 ns, and this is less than half of it.
UNSEEN_WRAP_S = 30.0
# Seconds.  Board time and host time agree within this.  Chosen by hand: lines arrive in bunches, but not later.
HOST_SLACK_S = 1.0
# Edges.  A larger step means that the counter went back and started again.  (24 h without records at 25 kHz would look
# the same.)
_EDGES_BACK = records.U32 >> 1
# With one of these flags edges and ticks do not continue those before the interval.  A stall comes with a new time
# base; a board that sets it alone means the same.
_BREAKS = records.FLAG_NEW_TIME_BASE | records.FLAG_STALL
_OVERWRITTEN = "edges overwritten on the board"
_NONE = records.Interval(0, 0, 0, 0, 0, 0, 0, 0, 0)


class TimeBase:
    """Call advance() with each interval in the order received.  These attributes then describe the latest interval.

    time_us: time of its first edge.
    start: it does not continue the one before; True for the very first.
    bridged: its time comes from uptime or host time.
    silent_from_us: at a start, the end of the readings before; None for the very first.
    step: how many intervals it comes after the one before, 0 if unknown; step - 1 intervals were lost.
    rate: edges per tick from the mean of the interval before to its own mean, as in frequency.two_averages(); 0 at a
        start.
    reason: why there is a start, in words.
    begun: there was an interval.
    restarted: the board has started again since.
    """

    def __init__(self, clock_hz: int, tick_cycles: int) -> None:
        self.time_us = 0
        self.start = True
        self.bridged = False
        self.silent_from_us: int | None = None
        self.step = 0
        self.rate = 0.0
        self.begun = False
        self.restarted = False
        self.reason = ""
        self._last = _NONE
        self._host_s = 0.0
        self._base_us = 0  # time of tick 0 since the latest start
        self._ticks = 0  # since the latest start, unwrapped
        self._anchor: tuple[int, float, int] | None = None  # (uptime_ms, host_s, time_us) near the latest interval
        self._uptime: tuple[int, float] | None = None  # the latest (uptime_ms, host_s)
        self._behind_us = 0  # how far time_us is behind the uptime
        self._host_clock = HostClock()
        self._numerator = self._denominator = 1  # microseconds a tick, as a fraction
        self.set_clock(clock_hz, tick_cycles)

    def set_clock(self, clock_hz: int, tick_cycles: int) -> bool:
        """Set the length of a tick from the board's hello: tick_cycles / clock_hz seconds.

        Returns True if the length changed, which counts as a restart.  Raises ValueError if one of them is below 1.
        """
        if clock_hz < 1 or tick_cycles < 1:
            raise ValueError("the clock has no rate")
        numerator = tick_cycles * 1_000_000
        if (numerator, clock_hz) == (self._numerator, self._denominator):
            return False
        # The latest interval keeps the length that it had by the old clock.
        self.time_us = self._end_us()
        self._last = _NONE
        self.restart()
        self._numerator = numerator
        self._denominator = clock_hz
        return True

    @property
    def tick_s(self) -> float:
        """The length of a tick in s."""
        return self._numerator / self._denominator / 1e6

    def advance(self, record: records.Interval, host_s: float) -> bool:
        """Take one interval.  Returns True if it continues the one before, even if records between are lost."""
        last = self._last
        step = 0
        if not (record[8] & _BREAKS or self.restarted or self._behind_us):
            step = steps(last, record)
        if step:
            _, first_edge, n, t_first, s, _, _, _, _ = record
            _, edge_before, n_before, t_before, s_before, _, _, _, _ = last
            ticks = (t_first - t_before) & MASK_32
            edges = (first_edge - edge_before) & MASK_32
            self.rate = (edges + 0.5 * (n - n_before)) / (ticks + s / n - s_before / n_before)
            self._ticks += ticks
            self.time_us = self._base_us + self._ticks * self._numerator // self._denominator
            self.step = step
            self.start = self.bridged = False
        else:
            self._new_start(record, host_s)
        self._last = record
        self._host_s = host_s
        return not self.start

    def at_host(self, host_s: float) -> int:
        """Return the time in us at which a line that arrived at host_s was sent; 0 before the first interval."""
        if not self.begun:
            return 0
        end_us = self._end_us()
        if self.restarted:
            return max(end_us, self._host_clock.axis_us(_us(host_s)))
        return end_us + max(0, _us(host_s) - _us(self._host_s))

    def seen_uptime(self, uptime_ms: int, host_s: float) -> bool:
        """Take the uptime from any record that has it.  Returns True if it went back: the board has started again."""
        back = self._uptime is not None and (uptime_ms - self._uptime[0]) & MASK_32 > MASK_32 >> 1
        if back:
            self.restart()
        self._uptime = (uptime_ms, host_s)
        if not self.begun:
            return back  # the time axis begins with the first interval, however long after the board that is
        now_us = self.at_host(host_s)
        if not self.restarted:
            self._compare_clocks()
        if self._anchor is not None:
            # While the computer sleeps its clock stands still, but the board's clock goes on.
            passed_us = 1000 * ((uptime_ms - self._anchor[0]) & MASK_32)
            behind_us = passed_us - (now_us - self._anchor[2])
            slept_us = passed_us - (_us(host_s) - _us(self._anchor[1]))
            # A whole wrap of the ticks can pass unseen while the coil stands still.  Anything else that lies behind
            # while the host's clock agrees with the board's is late and will come.
            missed = min(behind_us, slept_us) > HOST_SLACK_S * 1e6 or behind_us > self._wrap_us() - HOST_SLACK_S * 1e6
            self._behind_us = behind_us if missed else 0
        if self._anchor is None or (_us(self._host_s) > _us(self._anchor[1]) and not self._behind_us):
            self._anchor = (uptime_ms, host_s, now_us)
        return back

    def restart(self) -> None:
        """The board has started again: its ticks and its uptime do not continue."""
        if self.begun and not self.restarted:
            self._compare_clocks()
        self.restarted = self.begun
        self._uptime = self._anchor = None
        self._behind_us = 0

    def _new_start(self, record: records.Interval, host_s: float) -> None:
        """Find the time of an interval that does not continue the one before."""
        self.start = True
        self.bridged = False
        self.step = 0
        self.rate = 0.0
        if not self.begun:
            self.begun = True
            return
        self.silent_from_us = self._end_us()
        silence_us = max(0, self._estimate_us(record, host_s) - self.time_us)
        counters_go_on = not (self.restarted or record.flags & _BREAKS)
        elapsed_us = self._counted_us(record, silence_us) if counters_go_on else None
        if elapsed_us is None:
            elapsed_us = silence_us
            self.bridged = True
            self.reason = "board restarted" if self.restarted else "new time base"
            if counters_go_on and silence_us >= UNSEEN_WRAP_S * 1e6:
                elapsed_us = self._with_wraps((record.t_first - self._last.t_first) & MASK_32, silence_us)
        elif self._behind_us:
            elapsed_us = max(elapsed_us, silence_us)
            self.bridged = True
            self.reason = "the computer slept"
        earliest_us = self.time_us if self.step else self.silent_from_us
        self.time_us = max(earliest_us, self.time_us + elapsed_us)
        self._base_us = self.time_us
        self._ticks = 0
        self._behind_us = 0
        self.restarted = False
        if self.bridged:
            self._host_clock.restart()

    def _counted_us(self, record: records.Interval, silence_us: int) -> int | None:
        """Return the time since the latest interval by the board's own counters, or None if they cannot tell.

        Sets `step` and `reason`.  silence_us: the same time by uptime or host time.
        """
        last = self._last
        ticks = (record.t_first - last.t_first) & MASK_32
        edges = (record.first_edge - last.first_edge) & MASK_32
        step = (record.sequence - last.sequence) & MASK_16
        overrun = record.flags & records.FLAG_OVERRUN
        if edges >= _EDGES_BACK:
            return None  # the counter started again, and the record that said so is lost
        if record.n > 1 and last.n > 1 and edges:
            # Records were lost, and the coil went on.  Its edges tell the time well enough to find the wraps of the
            # ticks.  They also give the number of intervals, which must agree with the sequence numbers.  Intervals
            # that the board itself overwrote have no sequence numbers.
            expected = 2 * edges * last.s // (last.n * (last.n - 1))
            counted = ticks + max(0, (expected - ticks + records.U32 // 2) // records.U32) * records.U32
            intervals = edges // last.n
            if overrun:
                step = max(1, intervals)
            step += max(0, (intervals - step + records.U16 // 2) // records.U16) * records.U16
            off = abs(counted - expected)
            # Within a sixteenth of a wrap, 4 s.  Chosen by hand: an hour of drift changes the time by far less.
            if 8 * off <= counted and off <= records.U32 // 16 and 8 * abs(step - intervals) <= intervals + 8 * 2:
                self.step = step
                self.reason = _OVERWRITTEN if overrun else "records lost" if step > 1 else "no edges"
                return counted * self._numerator // self._denominator
        ticks_us = ticks * self._numerator // self._denominator
        near = silence_us < UNSEEN_WRAP_S * 1e6 and abs(ticks_us - silence_us) <= HOST_SLACK_S * 1e6
        if near and 0 < step <= MOST_STEPS:
            # The oscillator stood still, but the board's clock went on.
            self.step = step
            self.reason = _OVERWRITTEN if overrun else "records lost" if step > 1 else "no edges"
            return ticks_us
        return None

    def _with_wraps(self, ticks: int, silence_us: int) -> int:
        """Return `ticks` in us, plus the whole wraps that bring them nearest to silence_us.

        Returns silence_us itself if that is not near.
        """
        silence_ticks = silence_us * self._denominator // self._numerator
        wraps = max(0, round((silence_ticks - ticks) / records.U32))
        candidate_us = (ticks + wraps * records.U32) * self._numerator // self._denominator
        return candidate_us if abs(candidate_us - silence_us) <= HOST_SLACK_S * 1e6 else silence_us

    def _estimate_us(self, record: records.Interval, host_s: float) -> int:
        """Return the time of the record's first edge by the board's uptime, and by host time after the last uptime."""
        end_us = self.at_host(host_s) + self._behind_us
        if self._anchor is not None and self._uptime is not None and _us(self._uptime[1]) > _us(self._host_s):
            passed_us = 1000 * ((self._uptime[0] - self._anchor[0]) & MASK_32)
            end_us = self._anchor[2] + passed_us + max(0, _us(host_s) - _us(self._uptime[1]))
        return end_us - self._length_us(record.n, record.s)

    def _compare_clocks(self) -> None:
        self._host_clock.seen(_us(self._host_s), self._end_us())

    def _wrap_us(self) -> int:
        return records.U32 * self._numerator // self._denominator

    def _end_us(self) -> int:
        return self.time_us + self._length_us(self._last.n, self._last.s)

    def _length_us(self, n: int, s: int) -> int:
        """Return how long n edges with the sum s take, from the first edge to the one after the last."""
        return 2 * s * self._numerator // ((n - 1) * self._denominator) if n > 1 else 0


def _us(host_s: float) -> int:
    """Return whole microseconds.  A capture keeps these, so live and replay compute with the same numbers."""
    return round(1e6 * host_s)
