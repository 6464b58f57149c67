"""Counts the readings of a recording that the tracker would mend.

Only the tracker's decoding, repair and spike filter run here, not its baseline or its filter bank.
"""

from coilwire import records

from coilcount.model import Operator, Output
from coilcount.readings.timebase import TimeBase
from coilcount.tracker.defaults import DEFAULTS
from coilcount.tracker.series import BROKEN, Decoder, Repair
from coilcount.tracker.spikes import Spikes
from coilcount.tracker.tracker import LONGEST_INTERVAL_S, SHORTEST_INTERVAL_S

_NOTHING: list[Output] = []


class Mended:
    """A readings.intake.Taker that counts mended readings.  Call finish() after the last reading.

    mended: number of readings that jumped further than a pass of the default widths can.
    repaired: number of miscounted edges that were removed from raw sums.
    Both numbers equal those in the Summary of a replay with default settings.
    """

    def __init__(self) -> None:
        self.mended = self.repaired = 0
        self._decoder: Decoder | None = None
        self._certain: list[int] = []

    def begin(self, interval_s: float) -> str:
        """Start a run of readings that are interval_s apart.  The text that is returned is always empty.

        If the tracker refuses this spacing, nothing is mended.
        """
        self.finish()
        if SHORTEST_INTERVAL_S <= interval_s <= LONGEST_INTERVAL_S:
            interval_us = int(interval_s * 1e6 + 0.5)
            self._decoder = Decoder(interval_us)
            self._repair = Repair()
            self._spikes = Spikes(interval_us, round(1e6 * DEFAULTS["widths_s"][0]))
        return ""

    def interval(self, record: records.Interval, middle_us: int, step: int, base: TimeBase) -> list[Output]:
        """Take one interval of the board."""
        if self._decoder is not None:
            self._decoded(self._decoder.interval(*record[:5]))
        return _NOTHING

    def reading(self, middle_us: int, frequency_hz: float, step: int) -> list[Output]:
        """Take one imported reading."""
        if self._decoder is not None:
            steps = self._decoder.reading(middle_us, frequency_hz)
            self._decoded(steps)
            if steps == BROKEN:
                self._decoded(1)
        return _NOTHING

    def gap(self, end_us: int) -> list[Output]:
        """Note that the next reading does not continue the earlier ones."""
        if self._decoder is not None:
            self._decoder.forget()
            self._flush()
        return _NOTHING

    def operate(self, entry: Operator) -> str:
        """Ignore an action of the operator, because it changes no reading."""
        return ""

    def finish(self) -> None:
        """Count the readings that still wait, because no more follow at this spacing."""
        if self._decoder is not None:
            self._flush()
            self.mended += self._spikes.mended
            self.repaired += self._repair.repaired
            self._decoder = None

    def _decoded(self, steps: int) -> None:
        if steps == BROKEN:
            self._flush()
        elif steps > 0:
            repaired: list[int] = []
            self._repair.push(self._decoder.y, self._decoder.edge, repaired)
            last = len(repaired) - 1
            for i, y in enumerate(repaired):
                self._spikes.push(y, steps if i == last else 1, self._certain)
            self._certain.clear()

    def _flush(self) -> None:
        repaired: list[int] = []
        self._repair.flush(repaired)
        for y in repaired:
            self._spikes.push(y, 1, self._certain)
        self._spikes.flush(self._certain)
        self._certain.clear()
