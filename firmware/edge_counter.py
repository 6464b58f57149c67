"""The counter over a ring of timestamps.  It cuts the ring into intervals and reports each kind of fault by a flag.

It drives no hardware itself: the timestamps (chip_edges.ChipEdges), the clock and the amplitude channel are passed in.

Intervals damaged by a stall or overrun are discarded; the flag is set on the next good interval (PROTOCOL.md):

    STALL, with NEW_TIME_BASE   The state machine waited for room in its FIFO, so its time stood still.  The counter
                                restarts everything.
    OVERRUN                     The ring was overwritten before it was read.  Edge numbers and timestamps continue.
    NEW_TIME_BASE               The first interval, or the first after a silence in which the timestamp may have wrapped
                                unnoticed.
    DOUBLE_EDGE, LOST_EDGE      A period is below 0.7 times, or above 1.4 times, the median of periods sampled from
                                the interval.
"""

from array import array

import counter as counting
import sums
from coilwire import records

# ms between two looks at the ring.  It must be well below the shortest interval, 5 ms.  Chosen by hand.
POLL_MS = 2
# ms of silence, by the clock.  From here on the last period counts as unknown, because sums.add takes periods modulo
# 2^30 ticks, which is 17.2 s at 125 MHz and 14.3 s at 150 MHz.
LONG_SILENCE_MS = 10_000
MAX_PERIOD_FIELD = 0xFFFF  # ticks; the fields `shortest` and `longest` hold no larger period

# Periods sampled for the median: MEDIAN_OF of the last MEDIAN_SPAN periods of an interval.  Both were chosen by hand.
# The median costs about 1 % of the CPU (emulation, tests/bench/cycles.py).
MEDIAN_OF = 31
MEDIAN_SPAN = 1024
# An interval with fewer periods keeps the median of an earlier interval.  Chosen by hand.
MEDIAN_LEAST = 5


class EdgeCounter(counting.Counter):
    """The counter.

    edges: a chip_edges.ChipEdges, or an object with the same attributes: clock_hz, tick_cycles, missed_ticks (ticks
    missed for each word), ring (a buffer of ring_words words), start(), stop(), stalled() and moved() (words since
    start, modulo moved_modulo, a power of two); clock: an object with uptime_ms(); amplitude: adc.Amplitude or None.
    """

    def __init__(self, edges, clock, amplitude=None):
        super().__init__()
        self.clock_hz = edges.clock_hz
        self.tick_cycles = edges.tick_cycles
        self._edges = edges
        self._clock = clock
        self._amplitude = amplitude
        self._state = array("I", [0] * sums.STATE)
        self._sorted = array("I", [0] * MEDIAN_OF)
        self._mask = edges.ring_words - 1
        self._ticks_per_ms = self.clock_hz // self.tick_cycles // 1000
        # ms of half a turn of the 32-bit timestamp.
        self._ambiguous_ms = (1 << 31) // self._ticks_per_ms
        self._interval_ms = 0
        self._flags = 0  # flags for the next interval that ends
        self._median = 0  # median period in ticks, 0 while it is unknown
        self._was_silent = False  # a long silence preceded the open interval
        self._empty = False  # not even word 0 has come
        self.behind = False
        self._polled_ms = 0
        self._silent = 0  # ms without an edge

    def start(self, interval_ms):
        self.set_interval(interval_ms)
        self._silent = 0
        self._polled_ms = self._clock.uptime_ms()
        self._begin(records.FLAG_NEW_TIME_BASE)

    def stop(self):
        self._edges.stop()

    def set_interval(self, interval_ms):
        """End each interval after `interval_ms` ms from now on.

        Raises ValueError if the interval is too long for the arithmetic of sums.add.
        """
        ticks = interval_ms * self._ticks_per_ms
        if ticks > sums.MAX_TICKS:
            raise ValueError("interval_ms %d is too long at %d Hz" % (interval_ms, self.clock_hz))
        self._interval_ms = interval_ms
        self._state[sums.TICKS] = ticks

    def silent_ms(self):
        return self._silent

    def poll(self):
        now = self._clock.uptime_ms()
        gap = (now - self._polled_ms) & counting.MS_MASK
        if gap < POLL_MS and not self.behind:
            return counting.IDLE
        self._polled_ms = now
        edges = self._edges
        state = self._state
        moved = edges.moved()
        # This must come after moved(): if there was no stall until now, the words moved before are good.
        if edges.stalled():
            edges.stop()
            self._begin(self._flags | records.FLAG_NEW_TIME_BASE | records.FLAG_STALL)
            return counting.COUNTED
        if moved:
            self._empty = False
        words = 0 if self._empty else self._words(moved)
        if words == 0:
            self.behind = False
            self._silent = min(self._silent + gap, counting.MS_MASK)
            # All edges of the open interval are here.  The edge that would end it may never come.
            if state[sums.N] and self._silent > self._interval_ms + 1:
                return self._close(self._position())
            return counting.COUNTED
        quiet = self._silent + gap
        if state[sums.N] and quiet >= LONG_SILENCE_MS:
            # A silence with polls ends the interval earlier (above), so nobody polled for this long.
            # The new edges must not join the open interval.
            self._silent = quiet
            self.behind = True
            return self._close(self._position())
        self._after_silence(quiet)
        self._silent = 0
        if self._amplitude:
            self._amplitude.sample()
        if words > edges.ring_words:
            words = self._overrun(moved)
        oldest = self._position()
        closed = False
        while words and not closed:
            words -= sums.add(0, 0, 0, edges.ring, self._mask, state, min(words, sums.MAX_WORDS))
            closed = state[sums.CLOSED]
        self.behind = words > 0
        if closed:
            return self._close(oldest)
        self._check(oldest)
        return counting.COUNTED

    # ------------------------------------------------------------ the parts of a poll

    def _begin(self, flags):
        """Start again at edge 0, with a new time base."""
        state = self._state
        edges = self._edges
        state[sums.N] = state[sums.LINKED] = 0
        # Word 0 is pushed at the start and is no edge.
        state[sums.NEXT] = 1
        state[sums.OFFSET] = state[sums.STEP] = edges.missed_ticks
        self._flags = flags
        self._empty = True
        self.behind = False
        edges.start()

    def _words(self, moved):
        """Return the number of words that wait to be summed."""
        return (moved - self._position()) & (self._edges.moved_modulo - 1)

    def _position(self):
        """Return the number of the next word to sum, modulo moved_modulo."""
        return sums.position(self._state, self._edges.moved_modulo - 1)

    def _after_silence(self, quiet):
        """Handle the first edges after a silence of at most `quiet` ms.  Short silences need nothing."""
        if quiet < LONG_SILENCE_MS:
            return
        self._state[sums.LINKED] = 0
        if quiet > self._ambiguous_ms:
            self._flags |= records.FLAG_NEW_TIME_BASE
        else:
            self._was_silent = True

    def _overrun(self, moved):
        """Discard the words that were overwritten or soon may be.  Return the number of words that still wait."""
        state = self._state
        words = self._words(moved)
        keep = min(words, self._edges.ring_words // 2)
        skip = words - keep
        state[sums.NEXT] = (state[sums.NEXT] + skip) & records.MASK32
        state[sums.OFFSET] = (state[sums.OFFSET] + skip * state[sums.STEP]) & records.MASK32
        state[sums.N] = state[sums.LINKED] = 0
        self._flags |= records.FLAG_OVERRUN
        return keep

    def _check(self, oldest):
        """Return True if no word summed in this poll was overwritten meanwhile.  Else discard the open interval.

        oldest: number of the first word that this poll summed.
        """
        moved = self._edges.moved()
        if ((moved - oldest) & (self._edges.moved_modulo - 1)) <= self._edges.ring_words:
            return True
        self.behind = self._overrun(moved) > 0
        return False

    def _close(self, oldest):
        """Fill `sums` from the state and open the next interval.

        oldest: number of the first word that this poll summed.
        """
        state = self._state
        n = state[sums.N]
        median = self._find_median(n)
        if not self._check(oldest):
            return counting.COUNTED
        flags = self._flags
        shortest = state[sums.SHORTEST]
        longest = state[sums.LONGEST]
        if self._was_silent:
            longest = MAX_PERIOD_FIELD
            if shortest == sums.NO_PERIOD:
                shortest = MAX_PERIOD_FIELD
        if longest == 0:
            shortest = 0
        elif median:
            if shortest * 10 < median * 7:
                flags |= records.FLAG_DOUBLE_EDGE
            if longest * 10 > median * 14 or self._was_silent:
                flags |= records.FLAG_LOST_EDGE
        out = self.sums
        if self._amplitude:
            out[counting.AMPLITUDE] = self._amplitude.mean()
        else:
            flags |= records.FLAG_NO_AMPLITUDE
        # FIRST_EDGE, N, T_FIRST and S.  They are copied, because as Python integers they would need memory.
        sums.report(state, out)
        out[counting.SHORTEST] = min(shortest, MAX_PERIOD_FIELD)
        out[counting.LONGEST] = min(longest, MAX_PERIOD_FIELD)
        out[counting.FLAGS] = flags
        self._flags = 0
        self._was_silent = False
        state[sums.N] = 0
        return counting.CLOSED

    def _find_median(self, n):
        """Return the median period in ticks of the open interval, which has n edges.

        If it has too few, return the median of an earlier interval, or 0 if there is none.
        """
        periods = min(n - 1, MEDIAN_SPAN)
        if periods >= MEDIAN_LEAST:
            count = min(MEDIAN_OF, (periods - 1) | 1)
            last = self._position() - 1
            step = self._state[sums.STEP]
            # If the oldest words were overwritten, these are periods of later edges, which is good enough.
            self._median = sums.median_period(
                self._edges.ring, self._mask, last, periods // count, count, step, self._sorted
            )
        return self._median
