"""How many readings of a recording the tracker mends, without running the tracker over it."""

from typing import Any

from coilwire import records

from coilcount.model import Gap, Header, Imported
from coilcount.readings.hello import TAKEN_FOR_GRANTED, hello_of
from coilcount.tracker.defaults import DEFAULTS
from coilcount.tracker.series import BROKEN, Decoder, Repair
from coilcount.tracker.spikes import Spikes


class Mended:
    """take() what survey() watches, then finish().

    mended: readings that jumped further than a pass of the default widths can; repaired: miscounted edges taken out of
    raw sums.  Both as the Summary of a replay with default settings has them.
    """

    def __init__(self) -> None:
        self.mended = self.repaired = 0
        self._interval_us = 0
        self._first: Imported | None = None  # until a second one tells the spacing
        self._last_us: int | None = None
        self._certain: list[int] = []

    def take(self, item: Any) -> None:
        """One Header, Hello, Interval, Imported or Gap, in their order."""
        kind = type(item)
        if kind is records.Interval:
            if not self._interval_us:
                self._begin(1000 * TAKEN_FOR_GRANTED.interval_ms)
            self._decoded(self._decoder.interval(*item[:5]))
        elif kind is Imported:
            self._imported(item)
        elif kind is Header:
            hello = hello_of(item.board)
            if hello is not None:
                self.take(hello)
            elif item.interval_s:
                self._begin(round(1e6 * item.interval_s))
        elif kind is records.Hello:
            if item.interval_ms and 1000 * item.interval_ms != self._interval_us:
                self._begin(1000 * item.interval_ms)
        elif kind is Gap and self._interval_us:
            self._decoder.forget()
            self._flush()

    def finish(self) -> None:
        """No more readings come."""
        if self._interval_us:
            self._flush()
            self.mended += self._spikes.mended
            self.repaired += self._repair.repaired
            self._interval_us = 0

    def _begin(self, interval_us: int) -> None:
        self.finish()
        self._interval_us = interval_us
        self._decoder = Decoder(interval_us)
        self._repair = Repair()
        self._spikes = Spikes(interval_us, round(1e6 * DEFAULTS["widths_s"][0]))

    def _imported(self, entry: Imported) -> None:
        time_us = round(1e6 * entry.time_s)
        if not entry.frequency_hz > 0 or (self._last_us is not None and time_us <= self._last_us):
            return
        if not self._interval_us:
            if self._first is None:
                self._first = entry
                return
            self._begin(round(1e6 * (entry.time_s - self._first.time_s)) or 1)
            self._imported(self._first)
        self._last_us = time_us
        steps = self._decoder.reading(time_us, entry.frequency_hz)
        self._decoded(steps)
        if steps == BROKEN:
            self._decoded(1)

    def _decoded(self, steps: int) -> None:
        if steps == BROKEN:
            self._flush()
        elif steps > 0:
            repaired: list[int] = []
            self._repair.push(self._decoder.y, self._decoder.edge, repaired)
            for y in repaired:
                self._spikes.push(y, 1, self._certain)
            self._certain.clear()

    def _flush(self) -> None:
        repaired: list[int] = []
        self._repair.flush(repaired)
        for y in repaired:
            self._spikes.push(y, 1, self._certain)
        self._spikes.flush(self._certain)
        self._certain.clear()
