"""The host's clock beside the time axis: where an event lies on the axis if only its arrival time is known."""

from collections import deque

# Samples, one a second.  Chosen by hand: in this time two crystals 100 ppm apart move apart by at most 6 ms.
_RECENT = 60
# Samples from which the delay of a run's first line is found.  Chosen by hand.
_FIRST = 10


class HostClock:
    """Call seen() about once a second, and restart() before a part of the axis that is placed by host time.

    A line arrives some milliseconds after it was sent, and sometimes much later.  So the least delay of the recent
    lines counts.  After a restart of the board, only its first line tells the time, and the axis is ahead by the delay
    of that line.  The lines that follow show how much this was, and the next restart takes it back.  So the delays of
    many restarts do not add up.

    All times are in microseconds.  An offset is host time minus axis time.
    """

    def __init__(self) -> None:
        self._recent: deque[int] = deque(maxlen=_RECENT)  # offsets
        self._first: list[int] = []  # first offsets of this run
        self._agreed: int | None = None  # the offset by which this run was placed

    def seen(self, host_us: int, axis_us: int) -> None:
        """Take one sample: a line that was complete at axis_us arrived at host_us."""
        offset = host_us - axis_us
        self._recent.append(offset)
        if len(self._first) < _FIRST:
            self._first.append(offset)

    def restart(self) -> None:
        """Start a new run: what comes next is placed by axis_us()."""
        self._agreed = self._offset() if self._recent else self._agreed
        self._recent.clear()
        self._first.clear()

    def axis_us(self, host_us: int) -> int:
        """Return the axis time of a line that arrived at host_us.  Call it only after seen()."""
        return host_us - self._offset()

    def _offset(self) -> int:
        if not self._recent:
            return self._agreed
        offset = min(self._recent)
        return offset if self._agreed is None else offset + self._agreed - min(self._first)
