"""Uptime on the chip, in small integers only."""

import time

from counter import MS_MASK


class Clock:
    """Milliseconds since this object was made.

    ticks_ms: the millisecond counter; time.ticks_ms if None.  On a chip it wraps at 2^30 ms.
    """

    def __init__(self, ticks_ms=None):
        self._ticks = ticks_ms or time.ticks_ms
        self._start = self._ticks()

    def uptime_ms(self):
        """Return the uptime in milliseconds, modulo 2^30, which is 12 days (int).  Allocates nothing."""
        # The difference has a sign, and the mask takes it modulo 2^30.
        return time.ticks_diff(self._ticks(), self._start) & MS_MASK
