"""Counts of the link between board and host: what arrived, what did not, and how fast."""

from collections import Counter
from collections.abc import Mapping

from coilwire import records

from coilcount.readings.decode import Decoder

_RATE_OVER_S = 1.0
# Told once of each, with what it means and where to look.
_MEANING = {
    "double edge": "an edge was counted twice; look at the comparator's hysteresis and at noise on its input",
    "lost edge": "an edge was missed, or the coil stood still; look at its amplitude and the comparator's threshold",
    "stall": "edges came faster than they were drained; the time base begins anew",
    "overrun": "edges were overwritten before they were summed; the time base begins anew",
    "re-armed": "the transfer of edges was started again; edges may be missing",
}


class LinkCounts:
    """What a person wants to see of the link; the chain keeps it up to date.

    records: interval records or imported readings taken; lost: records missing by their sequence numbers, whatever the
    cause (so damaged and dropped ones are among them); dropped: those that the board says it dropped itself since its
    first status; rate_hz: records a second of host time over the last second or more; faults: intervals that the board
    flagged, by the words of coilwire.records.FAULTS; the rest as in Decoder.
    """

    def __init__(self, decoder: Decoder) -> None:
        self.records = 0
        self.lost = 0
        self.dropped = 0
        self.rate_hz = 0.0
        self.refused = 0  # sound entries that could not be used: an imported reading that goes back in time, ...
        self.faults: Counter[str] = Counter()
        self._decoder = decoder
        self._dropped_seen: int | None = None
        self._since_s: float | None = None
        self._since_records = 0

    @property
    def damaged(self) -> int:
        """Lines or readings that were meant for us and could not be used."""
        return self._decoder.damaged + self.refused

    @property
    def received(self) -> int:
        """Lines with a sound record of any kind."""
        return self._decoder.received

    @property
    def text(self) -> int:
        """Lines in which no record was meant."""
        return self._decoder.text

    @property
    def kinds(self) -> Mapping[str, int]:
        """Sound records by the letters of their kind."""
        return self._decoder.kinds

    @property
    def resynchronised(self) -> int:
        """Sound records found behind junk in their own line, or first after damage."""
        return self._decoder.resynchronised

    def seen_status(self, dropped: int, host_s: float) -> None:
        """The board's own counter (modulo 2^32), once a second; also the beat of rate_hz."""
        if self._dropped_seen is not None:
            self.dropped += (dropped - self._dropped_seen) % (1 << 32)
        self._dropped_seen = dropped
        if self._since_s is None:
            self._since_s, self._since_records = host_s, self.records
        elif host_s - self._since_s >= 0.9 * _RATE_OVER_S:
            self.rate_hz = (self.records - self._since_records) / (host_s - self._since_s)
            self._since_s, self._since_records = host_s, self.records

    def seen_faults(self, flags: int) -> list[str]:
        """An interval with flags out of FAULT_BITS; returns what is to be said of those never seen before."""
        words = records.faults(flags)
        first = [f"{word}: {_MEANING[word]}" for word in words if not self.faults[word]]
        self.faults.update(words)
        return first

    def restarted(self) -> None:
        """The board's own counter began anew."""
        self._dropped_seen = None
        self._since_s = None  # no rate over the time that it was away
        self.rate_hz = 0.0
