"""The intervals of the last second, and the best estimate of the coil's frequency from them."""

from collections import deque
from collections.abc import Iterable

from coilwire import records

from coilcount.readings.frequency import REGRESSION_AT_LEAST, Estimate, Sums, regression, two_averages

WINDOW_MS = 1000
_MASK_32 = records.U32 - 1


class Window:
    """push() each interval that continues the one before; cut() where the next one does not.

    interval_ms: how long one is.  At least five are kept, also where they are longer than a fifth of a second.
    """

    def __init__(self, interval_ms: int) -> None:
        self._intervals: deque[records.Interval] = deque(
            maxlen=max(REGRESSION_AT_LEAST, WINDOW_MS // max(1, interval_ms))
        )
        self.push = self._intervals.append
        self.cut = self._intervals.clear

    def estimate(self, tick_s: float) -> Estimate | None:
        """The regression over all; of two to four intervals two averages, the oldest left out where they are odd.

        None of fewer.  All the work is done here: nothing is reckoned for intervals that nobody asks about.
        """
        intervals = unwrapped(self._intervals)
        if len(intervals) >= REGRESSION_AT_LEAST:
            return regression(intervals, tick_s)
        if len(intervals) >= 2:
            return two_averages(intervals[len(intervals) % 2 :], tick_s)
        return None


def unwrapped(intervals: Iterable[records.Interval]) -> list[Sums]:
    """Edge numbers and ticks of neighbouring intervals, counted on past 2^32 from those of the first."""
    out: list[Sums] = []
    edge = tick = 0
    for one in intervals:
        edge += (one.first_edge - edge) & _MASK_32
        tick += (one.t_first - tick) & _MASK_32
        out.append(Sums(edge, one.n, tick, one.s))
    return out
