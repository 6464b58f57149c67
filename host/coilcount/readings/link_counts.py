"""Counts of the link between board and host: what arrived, what is missing, and how fast."""

from collections import Counter
from collections.abc import Mapping

from coilwire import records

from coilcount.readings.decode import Decoder

_RATE_OVER_S = 1.0  # the rate is measured over about this long; chosen by hand
# What each fault means and where to look.  Reported once for each fault.
_MEANING = {
    "double edge": "an edge was counted twice; check the comparator's hysteresis, and its input for noise",
    "lost edge": "an edge was missed, or the coil stood still; check its amplitude and the comparator's threshold",
    "stall": "edges came faster than they could be read out; intervals are missing, and a new time base starts",
    "overrun": "edges were overwritten before they were summed; intervals are missing, and later times stay exact",
}


class LinkCounts:
    """What a person wants to see of the link.  The intake keeps it up to date.

    records: interval records or imported readings that were used.
    lost: records that are missing by their sequence numbers, or after an overrun by their edge numbers.  Records that
        were damaged or dropped are included.
    dropped: records that the board reports to have dropped itself, since its first status.
    refused: sound entries that could not be used, for example an imported reading that goes back in time.
    rate_hz: records a second of host time, over the last second or more.
    faults: intervals that the board flagged, by the words of coilwire.records.FAULTS.
    """

    def __init__(self, decoder: Decoder) -> None:
        self.records = 0
        self.lost = 0
        self.dropped = 0
        self.rate_hz = 0.0
        self.refused = 0
        self.faults: Counter[str] = Counter()
        self._decoder = decoder
        self._dropped_seen: int | None = None
        self._since_s: float | None = None
        self._since_records = 0

    @property
    def damaged(self) -> int:
        """Number of lines or readings that were meant for coilcount and could not be used."""
        return self._decoder.damaged + self.refused

    @property
    def text(self) -> int:
        """Number of lines that were not meant as a record."""
        return self._decoder.text

    @property
    def kinds(self) -> Mapping[str, int]:
        """Number of sound records, by the letters of their kind."""
        return self._decoder.kinds

    def seen_status(self, dropped: int, host_s: float) -> None:
        """Take the board's own count of dropped records, modulo 2^32.  It comes once a second and updates rate_hz."""
        if self._dropped_seen is not None:
            self.dropped += (dropped - self._dropped_seen) % records.U32
        self._dropped_seen = dropped
        if self._since_s is None:
            self._since_s, self._since_records = host_s, self.records
        elif host_s - self._since_s >= 0.9 * _RATE_OVER_S:
            self.rate_hz = (self.records - self._since_records) / (host_s - self._since_s)
            self._since_s, self._since_records = host_s, self.records

    def seen_faults(self, flags: int) -> list[str]:
        """Count the faults of an interval, flags out of FAULT_BITS.  Returns a warning for each that is new."""
        words = records.faults(flags)
        first = [f"{word}: {_MEANING[word]}" for word in words if not self.faults[word]]
        self.faults.update(words)
        return first

    def restarted(self) -> None:
        """The board has started again, and its own count with it."""
        self._dropped_seen = None
        self._since_s = None  # no rate over the time in which it was away
        self.rate_hz = 0.0
