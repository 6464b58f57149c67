"""The self-test: a second counter, on a pin of its own, counts a square wave that the chip makes itself.

Wave and counter run from the same clock, so every period is known in ticks: the edges counted must be the periods
that lie in the time between the first and the last, and each period must be right to one tick, since the pin may be
sampled a cycle sooner or later.  The coil's pin, state machine and interval sums have no part in it; counting
goes on.  The crystal itself is not tested: both run from it.
"""

import counter as counting
from coilwire import records

# The clocks of the chips (125 and 150 MHz) are even multiples of it; no harmonic lies near the coil's 25 kHz.
WAVE_HZ = 20_000
PERIODS = 4000  # 200 ms
INTERVAL_MS = 10
# By then it has failed; a host asks again after a second.
LATEST_MS = 500
TOLERANCE_TICKS = 1

U32 = 0xFFFFFFFF


class SelfTest:
    """counter: counter.Counter on the pin of `wave`, which has start(hertz) and stop(); clock: uptime_ms()."""

    def __init__(self, counter, wave, clock, periods=PERIODS, interval_ms=INTERVAL_MS):
        self._counter = counter
        self._wave = wave
        self._clock = clock
        self._periods = periods
        self._interval_ms = interval_ms
        self._period = 0  # ticks
        self._began_ms = 0
        self._intervals = 0
        self._edges = 0
        self._edge = self._tick = 0  # the first that counts
        self._shortest = self._longest = 0
        self._flags = 0

    def start(self):
        """ "" where it runs now, else why it does not; then nothing runs."""
        hertz = self._counter.tick_cycles * WAVE_HZ
        if self._counter.clock_hz % hertz:
            return "no self-test: %d Hz is no multiple of %d Hz" % (self._counter.clock_hz, hertz)
        self._period = self._counter.clock_hz // hertz
        self._intervals = self._edges = self._flags = 0
        self._shortest = self._longest = self._period
        self._began_ms = self._clock.uptime_ms()
        try:
            self._counter.start(self._interval_ms)
            self._wave.start(WAVE_HZ)
        except (OSError, ValueError, MemoryError) as error:
            self.stop()
            return "busy: %s" % error
        return ""

    def stop(self):
        """Stop the wave and the counter, and let go of the pin; harmless when nothing runs."""
        try:
            self._wave.stop()
        finally:
            self._counter.stop()

    def poll(self):
        """(1 or 0, text) once it is over, and everything stopped; None while it runs.  Never waits."""
        result = None
        try:
            if self._counter.poll() == counting.CLOSED:
                result = self._interval(self._counter.sums)
            waited = (self._clock.uptime_ms() - self._began_ms) & U32
            if result is None and waited >= LATEST_MS:
                result = 0, "sent=%d counted=%d" % (waited * WAVE_HZ // 1000, self._edges)
        except BaseException:
            self.stop()
            raise
        if result is not None:
            self.stop()
        return result

    def _interval(self, sums):
        self._edges += sums[counting.N]
        self._intervals += 1
        # The wave began somewhere in the first interval.
        if self._intervals == 1:
            return None
        if self._intervals == 2:
            self._edge = sums[counting.FIRST_EDGE]
            self._tick = sums[counting.T_FIRST]
        ticks = (sums[counting.T_FIRST] - self._tick) & U32
        if ticks + TOLERANCE_TICKS < self._periods * self._period:
            self._shortest = min(self._shortest, sums[counting.SHORTEST])
            self._longest = max(self._longest, sums[counting.LONGEST])
            self._flags |= sums[counting.FLAGS] & ~records.FLAG_NO_AMPLITUDE
            return None
        sent = (ticks + self._period // 2) // self._period
        counted = (sums[counting.FIRST_EDGE] - self._edge) & U32
        text = "sent=%d counted=%d" % (sent, counted)
        worst = max(self._period - self._shortest, self._longest - self._period, abs(ticks - sent * self._period))
        if worst > TOLERANCE_TICKS or self._flags:
            return 0, "%s; a time wrong by %d ticks, flags=%d" % (text, worst, self._flags)
        return int(sent == counted), text
