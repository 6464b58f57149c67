"""Replay pacing.  The only module that sleeps."""

import time
from collections.abc import Callable


class Pacer:
    """wait_until() waits until an entry is due, `speed` times as fast as it was recorded.

    Deadlines are absolute, so that late sleeps do not add up.  Raises ValueError for a speed of 0 or less.
    """

    def __init__(
        self,
        speed: float,
        clock: Callable[[], float] = time.monotonic,
        sleep: Callable[[float], None] = time.sleep,
    ) -> None:
        if not speed > 0:
            raise ValueError("a speed is above 0")
        self._speed = speed
        self._clock = clock
        self._sleep = sleep
        self._zero: float | None = None  # clock at recorded time 0

    def wait_until(self, recorded_s: float) -> None:
        """Return when the entry of time `recorded_s` is due; the first one is due at once."""
        if self._zero is None:
            self._zero = self._clock() - recorded_s / self._speed
        left = self._zero + recorded_s / self._speed - self._clock()
        if left > 0:
            self._sleep(left)
