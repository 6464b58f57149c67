"""The host's clock against the time axis: where on the axis something lies that is known by its arrival alone."""

from collections import deque

_RECENT = 60  # samples, one a second: short enough for two crystals 100 ppm apart to part by 6 ms at most
_FIRST = 10


class HostClock:
    """seen() about once a second, restart() where the axis goes on by host time, axis_us() to ask.

    A line arrives some milliseconds after it was sent, now and then much later: the least delay of the recent lines is
    the one that counts.  Where a board starts again, its first line alone says when; so the axis runs ahead by that
    line's delay.  How far is found from the lines that follow and taken back at the next restart, so that the delays
    of many restarts do not add up.
    """

    def __init__(self) -> None:
        self._recent: deque[int] = deque(maxlen=_RECENT)  # host minus axis, us
        self._first: list[int] = []  # of this run
        self._agreed: int | None = None  # host minus axis by which this run was placed

    def seen(self, host_us: int, axis_us: int) -> None:
        """A line that was complete at axis_us arrived at host_us."""
        offset = host_us - axis_us
        self._recent.append(offset)
        if len(self._first) < _FIRST:
            self._first.append(offset)

    def restart(self) -> None:
        """What comes next is placed by axis_us()."""
        self._agreed = self._offset() if self._recent else self._agreed
        self._recent.clear()
        self._first.clear()

    def axis_us(self, host_us: int) -> int:
        """Where on the axis a line lies that arrived at host_us; something must have been seen."""
        return host_us - self._offset()

    def _offset(self) -> int:
        if not self._recent:
            return self._agreed
        offset = min(self._recent)
        return offset if self._agreed is None else offset + self._agreed - min(self._first)
