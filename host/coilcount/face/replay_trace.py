"""What the picture of a replay shows, and how a long recording is cut into rows and thinned out.  Draws nothing."""

import bisect
from array import array
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

from coilcount.model import Alert, Hold, Label, MarkMade, Silence

# Seconds that one row may show.  The shortest is taken with which all of the recording fits into MOST_ROWS.
ROW_LENGTHS_S = (60, 120, 300, 600, 900, 1800, 3600, 7200, 14_400, 28_800, 86_400)
MOST_ROWS = 6
SPARE_S = 0.1  # s; a recording that is longer by so little gets no row for it


@dataclass
class Trace:
    """What the picture shows.  Times are seconds on the board's time base, shifts are in ppm.

    time_s, shift_ppm: one value for each reading, but for those of the warm-up, which are in warm_up_s and warm_up_ppm.
    slow_s, rise_ppm, fall_ppm (the thresholds), baseline_hz, temperature_c: about one value a second, nan if unknown.
    frozen: the times (start, end) in which the operator had frozen the baseline.
    """

    name: str
    simulated: bool = False
    start_utc: str = ""
    start_s: float = 0.0
    end_s: float = 0.0
    time_s: array = field(default_factory=lambda: array("d"))
    shift_ppm: array = field(default_factory=lambda: array("d"))
    warm_up_s: array = field(default_factory=lambda: array("d"))
    warm_up_ppm: array = field(default_factory=lambda: array("d"))
    slow_s: array = field(default_factory=lambda: array("d"))
    rise_ppm: array = field(default_factory=lambda: array("d"))
    fall_ppm: array = field(default_factory=lambda: array("d"))
    baseline_hz: array = field(default_factory=lambda: array("d"))
    temperature_c: array = field(default_factory=lambda: array("d"))
    alerts: list[Alert] = field(default_factory=list)
    holds: list[Hold] = field(default_factory=list)
    silences: list[Silence] = field(default_factory=list)
    marks: list[MarkMade] = field(default_factory=list)
    frozen: list[tuple[float, float]] = field(default_factory=list)
    labels: list[Label] = field(default_factory=list)


def row_length_s(duration_s: float) -> float:
    """How many seconds a row shows, for a recording of this length."""
    fitting = (row_s for row_s in ROW_LENGTHS_S if duration_s - SPARE_S <= MOST_ROWS * row_s)
    return next(fitting, duration_s / MOST_ROWS)


def decimated(
    times: Sequence[float], values: Sequence[float], start_s: float, end_s: float, columns: int
) -> tuple[list[float], list[float]]:
    """The values from start_s up to end_s: if there are many, the smallest and the largest one of each column.

    Both keep their time, so that a single high reading stays in the picture however long the recording is.
    """
    first, last = bisect.bisect_left(times, start_s), bisect.bisect_left(times, end_s)
    if last - first <= 2 * columns:
        return list(times[first:last]), list(values[first:last])
    x, y = [], []
    for column in range(columns):
        until_s = start_s + (column + 1) * (end_s - start_s) / columns
        after = last if column == columns - 1 else bisect.bisect_left(times, until_s, first, last)
        if after > first:
            part = values[first:after]
            low, high = min(part), max(part)
            for place in sorted({first + part.index(low), first + part.index(high)}):
                x.append(times[place])
                y.append(values[place])
        first = after
    return x, y


def within(things: Sequence[Any], start_s: float, end_s: float) -> list[Any]:
    """Those that have a part between the times; an end that is None lies behind everything."""
    return [thing for thing in things if thing.start_s < end_s and (thing.end_s is None or thing.end_s > start_s)]


def unbroken(trace: Trace, start_s: float, end_s: float) -> Iterator[tuple[float, float]]:
    """The times between the gaps: no line is drawn over a gap."""
    for silence in within(trace.silences, start_s, end_s):
        yield start_s, max(start_s, silence.start_s)
        start_s = silence.end_s
    if start_s < end_s:
        yield start_s, end_s


def over_the_edge_s(trace: Trace) -> float:
    """How far the line of a row runs on beside it, so that it also crosses the row's edge between two readings."""
    times = trace.time_s or trace.warm_up_s
    return 2 * (times[-1] - times[0]) / len(times)
