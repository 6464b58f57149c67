"""The counter over a ring of timestamps: cuts it into intervals and says what went wrong, each by its own flag.

Pure policy: the silicon (chip_edges.ChipEdges), the clock and the amplitude channel are given to it.
What a stall or an overrun has spoilt is never told; the next interval carries the flag:

    STALL, with NEW_TIME_BASE   the state machine waited for room in its FIFO: its time stood still.  All is restarted.
    OVERRUN                     the ring was overwritten before it was read.  Time base and edge numbers run through.
    NEW_TIME_BASE               the first interval, or after a silence in which the timestamp may have turned unseen.
    DOUBLE_EDGE, LOST_EDGE      a period under 0.7 or over 1.4 of the median of periods sampled from the interval.

FLAG_REARMED is never set: the transfer needs no re-arming (see chip_edges).
"""

from array import array

import counter as counting
import sums
from coilwire import records

POLL_MS = 2  # of an interval of 5 ms or more
U32 = 0xFFFFFFFF
# Above this silence, by the clock, periods modulo 2^30 ticks (14 s and more) say nothing.
LONG_SILENCE_MS = 10_000
LONGEST_FIELD = 0xFFFF

# Periods sampled for the median, and the number of periods, to the end of an interval, that they are taken from.
MEDIAN_OF = 31
MEDIAN_SPAN = 1024
# Below so many periods the median of an earlier interval stands.
MEDIAN_LEAST = 5


class EdgeCounter(counting.Counter):
    """edges: has clock_hz, tick_cycles, missed_ticks (a word), ring (a buffer of ring_words words), start(), stop(),
    moved() (words since start, modulo moved_modulo, a power of two), stalled(); clock: uptime_ms();
    amplitude: adc.Amplitude or None.
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
        self._interval_ms = 0
        self._flags = 0  # for the next interval to close
        self._median = 0  # ticks; 0 while none is known
        self._was_silent = False  # long, before the open interval
        self._empty = False  # not even word 0 has come
        self._behind = False  # words wait that the last poll did not take
        self._polled_ms = 0
        self._silent = 0

    def start(self, interval_ms):
        self.set_interval(interval_ms)
        self._silent = 0
        self._polled_ms = self._clock.uptime_ms()
        self._begin(records.FLAG_NEW_TIME_BASE)

    def stop(self):
        self._edges.stop()

    def set_interval(self, interval_ms):
        """Raises ValueError where even the loop's own sums would not hold so long an interval."""
        ticks = interval_ms * self._ticks_per_ms
        if ticks > sums.MAX_TICKS:
            raise ValueError("interval_ms %d is too long at %d Hz" % (interval_ms, self.clock_hz))
        self._interval_ms = interval_ms
        self._state[sums.TICKS] = ticks

    def silent_ms(self):
        return self._silent

    def poll(self):
        now = self._clock.uptime_ms()
        gap = (now - self._polled_ms) & U32
        if gap < POLL_MS and not self._behind:
            return counting.IDLE
        self._polled_ms = now
        edges = self._edges
        state = self._state
        moved = edges.moved()
        # Asked after moved(): what was moved before a sound answer is sound.
        if edges.stalled():
            edges.stop()
            self._begin(self._flags | records.FLAG_NEW_TIME_BASE | records.FLAG_STALL)
            return counting.COUNTED
        if moved:
            self._empty = False
        words = 0 if self._empty else self._words(moved)
        if words == 0:
            self._behind = False
            self._silent += gap
            # Every edge of the open interval is here; one that closes it may never come.
            if state[sums.N] and self._silent > self._interval_ms + 1:
                return self._close(state[sums.AT])
            return counting.COUNTED
        quiet = self._silent + gap
        if state[sums.N] and quiet >= LONG_SILENCE_MS:
            # Not polled for so long: what comes now must not join the open interval.
            self._silent = quiet
            self._behind = True
            return self._close(state[sums.AT])
        self._after_silence(quiet)
        self._silent = 0
        if self._amplitude:
            self._amplitude.sample()
        if words > edges.ring_words:
            words = self._overrun(moved)
        begin = state[sums.AT]
        closed = False
        while words and not closed:
            words -= sums.add(0, 0, 0, edges.ring, self._mask, state, min(words, sums.MAX_WORDS))
            closed = state[sums.CLOSED]
        self._behind = words > 0
        if closed:
            return self._close(begin)
        self._check(begin)
        return counting.COUNTED

    # ------------------------------------------------------------ the parts of a poll

    def _begin(self, flags):
        """Everything from the start: edge 0, a new time base."""
        state = self._state
        edges = self._edges
        state[sums.N] = state[sums.LINKED] = 0
        # Word 0 is no edge.
        state[sums.AT] = 1
        state[sums.OFFSET] = state[sums.STEP] = edges.missed_ticks
        self._flags = flags
        self._empty = True
        self._behind = False
        edges.start()

    def _words(self, moved):
        """Words that wait to be summed."""
        return (moved - self._state[sums.AT]) & (self._edges.moved_modulo - 1)

    def _after_silence(self, quiet):
        """Edges have come again after at most `quiet` ms (which is the whole silence, where it is long)."""
        if quiet < LONG_SILENCE_MS:
            return
        self._state[sums.LINKED] = 0
        if quiet > (1 << 31) // self._ticks_per_ms:
            self._flags |= records.FLAG_NEW_TIME_BASE
        else:
            self._was_silent = True

    def _overrun(self, moved):
        """Let go of what was overwritten, or may be soon; returns the words that wait now."""
        state = self._state
        words = self._words(moved)
        keep = min(words, self._edges.ring_words // 2)
        skip = words - keep
        state[sums.AT] = (state[sums.AT] + skip) & U32
        state[sums.OFFSET] = (state[sums.OFFSET] + skip * state[sums.STEP]) & U32
        state[sums.N] = state[sums.LINKED] = 0
        self._flags |= records.FLAG_OVERRUN
        return keep

    def _check(self, oldest):
        """True where the words that this poll summed, `oldest` the first, were there all the while; else let go."""
        moved = self._edges.moved()
        if ((moved - oldest) & (self._edges.moved_modulo - 1)) <= self._edges.ring_words:
            return True
        self._behind = self._overrun(moved) > 0
        return False

    def _close(self, oldest):
        """Fill `sums` from the state and open the next interval; `oldest`: first word read in this poll."""
        state = self._state
        n = state[sums.N]
        median = self._find_median(n)
        if not self._check(oldest):
            return counting.COUNTED
        flags = self._flags
        shortest = state[sums.SHORTEST]
        longest = state[sums.LONGEST]
        if self._was_silent:
            longest = LONGEST_FIELD
            if shortest == sums.NO_PERIOD:
                shortest = LONGEST_FIELD
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
        out[counting.FIRST_EDGE] = (state[sums.FIRST] - 1) & U32
        out[counting.N] = n
        out[counting.T_FIRST] = state[sums.T_FIRST]
        out[counting.S] = state[sums.S]
        out[counting.SHORTEST] = min(shortest, LONGEST_FIELD)
        out[counting.LONGEST] = min(longest, LONGEST_FIELD)
        out[counting.FLAGS] = flags
        self._flags = 0
        self._was_silent = False
        state[sums.N] = 0
        return counting.CLOSED

    def _find_median(self, n):
        """The median period of the open interval of n edges, in ticks; of an earlier one where it has too few."""
        periods = min(n - 1, MEDIAN_SPAN)
        if periods >= MEDIAN_LEAST:
            count = min(MEDIAN_OF, (periods - 1) | 1)
            last = (self._state[sums.AT] - 1) & U32
            step = self._state[sums.STEP]
            # Where the oldest words are overwritten already, these are periods of later edges: near enough.
            self._median = sums.median_period(
                self._edges.ring, self._mask, last, periods // count, count, step, self._sorted
            )
        return self._median
