"""The intervals of the last second, and the best estimate of the coil's frequency from them."""

from collections import deque
from collections.abc import Iterable

from coilwire import records

from coilcount.readings.frequency import REGRESSION_AT_LEAST, Estimate, Sums, regression, two_averages

WINDOW_MS = 1000  # length of the window; chosen by hand


class Window:
    """Call push() with each interval that continues the one before, and cut() before one that does not.

    The window holds at least five intervals, even if these last longer than a second.
    """

    def __init__(self, interval_ms: int) -> None:
        """interval_ms: length of an interval."""
        self._intervals: deque[records.Interval] = deque(
            maxlen=max(REGRESSION_AT_LEAST, WINDOW_MS // max(1, interval_ms))
        )
        self.push = self._intervals.append
        self.cut = self._intervals.clear

    def estimate(self, tick_s: float) -> Estimate | None:
        """Return the estimate over the intervals in the window, or None for fewer than two.

        It is a regression for at least five intervals, and two averages for fewer; an odd one, the oldest, is left out.
        All the work is done here, so intervals that nobody asks about cost nothing.  tick_s: length of a tick.
        """
        intervals = unwrapped(self._intervals)
        if len(intervals) >= REGRESSION_AT_LEAST:
            return regression(intervals, tick_s)
        if len(intervals) >= 2:
            return two_averages(intervals[len(intervals) % 2 :], tick_s)
        return None


def unwrapped(intervals: Iterable[records.Interval]) -> list[Sums]:
    """Return the sums of neighbouring intervals, with edge numbers and ticks that go on past 2^32."""
    out: list[Sums] = []
    edge = tick = 0
    for interval in intervals:
        edge += (interval.first_edge - edge) & records.MASK32
        tick += (interval.t_first - tick) & records.MASK32
        out.append(Sums(edge, interval.n, tick, interval.s))
    return out
