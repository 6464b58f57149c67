"""Stores the tracker's input over a recording in little memory, so that other settings can be tried on it.

The chain runs once, with a Recorder as its tracker.  Every further run makes a new tracker and repeats the stored
calls.  So the further runs need no reading, parsing or time base.  The calls do not depend on the tracker's settings,
as long as the operator's changes of threshold and rate are ignored.
"""

import struct
import zlib
from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np

from coilcount.tracker import records
from coilcount.tracker.tracker import Tracker

_INTERVAL, _READING, _GAP, _FREEZE, _THAW, _BEGIN = range(6)
_COLUMNS = 7  # the kind of call, and up to six whole numbers
# Rows that are packed together.  Their differences compress well: from 56 bytes a row to about 3.  Chosen by hand.
_BLOCK = 8192
_FLOAT, _WHOLE = struct.Struct("<d"), struct.Struct("<q")


class Tape:
    """The tracker's calls in their order.  Memory: about 3 bytes a reading."""

    def __init__(self) -> None:
        self._packed: list[tuple[int, bytes]] = []  # rows, and their columns of differences
        self._rows: list[tuple[int, ...]] = []
        self.learned: list[tuple[float, ...]] = []  # of each tracker, what it began with

    def add(self, *row: int) -> None:
        """Store one call: its kind and its numbers."""
        self._rows.append(row)
        if len(self._rows) == _BLOCK:
            self._pack()

    def rows(self) -> Iterator[tuple[int, ...]]:
        """Iterate over all calls, each with _COLUMNS numbers."""
        self._pack()
        for count, packed in self._packed:
            steps = np.frombuffer(zlib.decompress(packed), "<i8").reshape(_COLUMNS, count)
            yield from zip(*np.cumsum(steps, axis=1).tolist(), strict=True)

    def _pack(self) -> None:
        if not self._rows:
            return
        table = np.zeros((_COLUMNS, len(self._rows)), "<i8")
        full = [row if len(row) == _COLUMNS else row + (0,) * (_COLUMNS - len(row)) for row in self._rows]
        table[:] = np.array(full, "<i8").T
        # The bits of a frequency may overflow here.  That does no harm: the cumulative sum in rows() wraps back.
        table[:, 1:] -= table[:, :-1].copy()
        self._packed.append((len(self._rows), zlib.compress(table.tobytes(), 1)))
        self._rows.clear()


class Recorder(Tracker):
    """A tracker that stores its inputs on a tape, and calls a Watch after each of them."""

    def __init__(
        self, tape: Tape, watch: "Watch", interval_s: float, learned: tuple[float, ...] = (), **settings: Any
    ) -> None:
        super().__init__(interval_s, learned, **settings)
        self.tape = tape
        self.watch = watch
        tape.add(_BEGIN, round(1e9 * interval_s), len(tape.learned))
        tape.learned.append(learned)

    def interval(self, *numbers):
        self.tape.add(_INTERVAL, *numbers)
        events = super().interval(*numbers)
        self.watch.look(self)
        return events

    def reading(self, time_us, frequency_hz):
        self.tape.add(_READING, time_us, _WHOLE.unpack(_FLOAT.pack(frequency_hz))[0])
        events = super().reading(time_us, frequency_hz)
        self.watch.look(self)
        return events

    def gap(self, time_us):
        self.tape.add(_GAP, time_us)
        events = super().gap(time_us)
        self.watch.look(self)
        return events

    def freeze(self):
        self.tape.add(_FREEZE)
        return super().freeze()

    def thaw(self):
        self.tape.add(_THAW)
        return super().thaw()

    def finish(self):
        events = super().finish()
        self.watch.look(self)
        return events


class Watch:
    """Counts the readings that have a statistic, and samples the scale of the statistic.

    every: number of readings from one sample to the next.
    """

    def __init__(self, every: int) -> None:
        self.ready = 0
        self.scales_ppm: list[float] = []
        self._every = every
        self._states: list[records.State] = []

    def look(self, tracker: Tracker) -> None:
        """Look at a tracker.  To be called after each of its inputs."""
        states = self._states
        if tracker.trace is not states:  # a new tracker, which has no states yet
            tracker.trace = states
        for state in states:
            if state.ready:
                self.ready += 1
                if self.ready % self._every == 0 and tracker.state.ready:
                    self.scales_ppm.append(tracker.least_scale_ppb / 1000)
        states.clear()


def rerun(
    tape: Tape, settings: Mapping[str, Any], watch: Watch | None = None
) -> Iterator[tuple[records.Alert, Tracker]]:
    """Run a tracker with other settings over a tape; yield its final alerts, each with the tracker."""
    tracker: Tracker | None = None
    interval = None
    for call, *values in tape.rows():
        if call == _INTERVAL:
            events = interval(*values)
        elif call == _READING:
            events = tracker.reading(values[0], _FLOAT.unpack(_WHOLE.pack(values[1]))[0])
        elif call == _GAP:
            events = tracker.gap(values[0])
        elif call == _FREEZE:
            events = tracker.freeze()
        elif call == _THAW:
            events = tracker.thaw()
        else:
            tracker = Tracker(values[0] / 1e9, tape.learned[values[1]], **settings)
            interval = tracker.interval
            if watch is not None:
                watch.look(tracker)
            continue
        if watch is not None:
            watch.look(tracker)
        if events:
            yield from ((event, tracker) for event in events if _is_final_alert(event))
    if tracker is not None:
        for event in tracker.finish():
            if _is_final_alert(event):
                yield event, tracker
        if watch is not None:
            watch.look(tracker)


def _is_final_alert(event: Any) -> bool:
    return type(event) is records.Alert and event.stage == "final"
