"""The self-test: a second counter, on a pin of its own, counts a square wave that the chip makes itself.

Wave and counter run from the same clock, so the length of a period is known in ticks.  The number of edges must equal
the number of periods between the first and the last edge.  Each period must be right to one tick, because the pin may
be sampled a cycle earlier or later.

The self-test does not use the coil's pin, state machine or interval sums, and the coil is counted meanwhile.  It does
not test the crystal, because both wave and counter run from it.
"""

import counter as counting
from coilwire import records

# Hz.  The clocks of the chips (125 and 150 MHz) are even multiples of it, and none of its harmonics is near the coil's
# 25 kHz.
WAVE_HZ = 20_000
PERIODS = 4000  # periods to count, 200 ms; chosen by hand
INTERVAL_MS = 10  # length of an interval in ms; chosen by hand
# ms after which an unfinished test has failed.  Chosen by hand, below the second after which a host asks again.
LATEST_MS = 500
TOLERANCE_TICKS = 1  # the pin is sampled once a tick, so each time is right to one tick


class SelfTest:
    """The self-test.

    counter: counter.Counter on the pin of the wave; wave: chip_wave.ChipWave, or an object with start(hertz) and
    stop(); clock: an object with uptime_ms(); periods: how many to count; interval_ms: length of an interval in ms.
    """

    def __init__(self, counter, wave, clock, periods=PERIODS, interval_ms=INTERVAL_MS):
        self._counter = counter
        self._wave = wave
        self._clock = clock
        self._periods = periods
        self._interval_ms = interval_ms
        self._period = 0  # of the wave, in ticks
        self._start_ms = 0
        self._intervals = 0
        self._edges = 0
        self._first_edge = self._first_tick = 0  # where the second interval began
        self._shortest = self._longest = 0
        self._flags = 0

    def start(self):
        """Start the wave and the counter.  Return "" if they run.  Otherwise nothing runs; return the reason (str)."""
        hertz = self._counter.tick_cycles * WAVE_HZ
        if self._counter.clock_hz % hertz:
            return "no self-test: %d Hz is no multiple of %d Hz" % (self._counter.clock_hz, hertz)
        self._period = self._counter.clock_hz // hertz
        self._intervals = self._edges = self._flags = 0
        self._shortest = self._longest = self._period
        self._start_ms = self._clock.uptime_ms()
        try:
            self._counter.start(self._interval_ms)
            self._wave.start(WAVE_HZ)
        except (OSError, ValueError, MemoryError) as error:
            self.stop()
            return "busy: %s" % error
        return ""

    def stop(self):
        """Stop the wave and the counter, and make the pin an input again.  Harmless if nothing runs."""
        try:
            self._wave.stop()
        finally:
            self._counter.stop()

    def poll(self):
        """Return None while the test runs.  If it has ended, stop everything and return (1 or 0, text).  Never waits.

        1 means passed; PROTOCOL.md, "Self-test", says what the text contains.
        """
        result = None
        try:
            if self._counter.poll() == counting.CLOSED:
                result = self._add_interval(self._counter.sums)
            waited = (self._clock.uptime_ms() - self._start_ms) & counting.MS_MASK
            if result is None and waited >= LATEST_MS:
                result = 0, "sent=%d counted=%d" % (waited * WAVE_HZ // 1000, self._edges)
        except BaseException:
            self.stop()
            raise
        if result is not None:
            self.stop()
        return result

    def _add_interval(self, sums):
        self._edges += sums[counting.N]
        self._intervals += 1
        # The wave began somewhere inside the first interval, so that one is not used.
        if self._intervals == 1:
            return None
        if self._intervals == 2:
            self._first_edge = sums[counting.FIRST_EDGE]
            self._first_tick = sums[counting.T_FIRST]
        ticks = (sums[counting.T_FIRST] - self._first_tick) & records.MASK32
        if ticks + TOLERANCE_TICKS < self._periods * self._period:
            self._shortest = min(self._shortest, sums[counting.SHORTEST])
            self._longest = max(self._longest, sums[counting.LONGEST])
            self._flags |= sums[counting.FLAGS] & ~records.FLAG_NO_AMPLITUDE
            return None
        sent = (ticks + self._period // 2) // self._period
        counted = (sums[counting.FIRST_EDGE] - self._first_edge) & records.MASK32
        text = "sent=%d counted=%d" % (sent, counted)
        worst_ticks = max(self._period - self._shortest, self._longest - self._period, abs(ticks - sent * self._period))
        if worst_ticks > TOLERANCE_TICKS or self._flags:
            return 0, "%s; a time wrong by %d ticks, flags=%d" % (text, worst_ticks, self._flags)
        return int(sent == counted), text
