"""Uptime on the chip.  MicroPython's own millisecond counter wraps at 2^30 ms, after 12 days; this one counts on."""

import time


class Clock:
    """Milliseconds since this object was made.

    ticks_ms: the millisecond counter; time.ticks_ms if None.  uptime_ms() must be called at least once in 6 days,
    because time.ticks_diff cannot measure a longer step.
    """

    def __init__(self, ticks_ms=None):
        self._ticks = ticks_ms or time.ticks_ms
        self._last = self._ticks()
        self._uptime = 0

    def uptime_ms(self):
        """Return the uptime in milliseconds, modulo 2^32 (int)."""
        now = self._ticks()
        self._uptime = (self._uptime + time.ticks_diff(now, self._last)) & 0xFFFFFFFF
        self._last = now
        return self._uptime
