"""Waits between the entries of a replay: the only thing that does."""

import time
from collections.abc import Callable


class Pacer:
    """wait_until() the moment an entry came, speed times as fast as it did; deadlines are absolute and do not drift."""

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
        """Return when recorded_s is due; the first call is due at once."""
        if self._zero is None:
            self._zero = self._clock() - recorded_s / self._speed
        left = self._zero + recorded_s / self._speed - self._clock()
        if left > 0:
            self._sleep(left)
