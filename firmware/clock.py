"""Uptime on the chip, past the turn of its own millisecond counter (2^30 ms, 12 days)."""

import time


class Clock:
    """uptime_ms() since construction, modulo 2^32; it must be asked at least every 6 days."""

    def __init__(self, ticks_ms=None):
        self._ticks = ticks_ms or time.ticks_ms
        self._last = self._ticks()
        self._uptime = 0

    def uptime_ms(self):
        now = self._ticks()
        self._uptime = (self._uptime + time.ticks_diff(now, self._last)) & 0xFFFFFFFF
        self._last = now
        return self._uptime
