"""From received lines to wire records, with counts of the lines that could not be used."""

import re
from binascii import crc32
from collections import Counter

from coilwire import frame, records

# For speed: an interval record with nothing but spaces in front of it needs only one match and one CRC.  Every other
# line goes through coilwire, which alone decides what is sound.
_NUMBER = rb"(0|[1-9][0-9]{0,9})"
_INTERVAL = re.compile(rb" {0,15}@(I," + rb",".join([_NUMBER] * 9) + rb")\*([0-9A-F]{8})\r?", re.ASCII)
# Kinds that are counted by name.  Chosen by hand: this version knows nine, and junk may look like thousands.
_MOST_KINDS = 100
OTHER_KINDS = "others"
_U16, _U32 = records.U16, records.U32


class Decoder:
    """Turns lines into wire records, and counts them.

    damaged: lines that were meant as a record and are not sound.
    text: lines that were not meant as a record (a prompt, another program).
    """

    def __init__(self) -> None:
        self.damaged = 0
        self.text = 0
        self._quick = 0  # records that took the quick way
        self._others: Counter[str] = Counter()  # all others, by kind

    def line(self, data: bytes):
        """Return the record in one line, or None.

        data: the line without its line feed.  The record is a namedtuple of coilwire.records.
        """
        match = _INTERVAL.fullmatch(data)
        if match is not None and crc32(match[1]) == int(match[11], 16) and len(data) < frame.MAX_FRAME_BYTES:
            record = records.Interval._make(map(int, match.groups()[1:10]))
            sequence, first_edge, n, t_first, s, shortest, longest, amplitude, flags = record
            if (
                (sequence < _U16 and first_edge < _U32 and n < _U16 and t_first < _U32 and s < _U32)
                and (shortest < _U16 and longest < _U16 and amplitude < _U16 and flags < _U16)
            ):  # fmt: skip
                self._quick += 1
                return record
        return self._by_coilwire(data)

    def _by_coilwire(self, data: bytes):
        found = frame.parse(data)
        if found is None:
            if frame.why(data) == "text":
                if data.strip():
                    self.text += 1
            else:
                self.damaged += 1
            return None
        try:
            record = records.read(found)
        except ValueError:
            self.damaged += 1
            return None
        kind = found[0]
        self._others[kind if kind in self._others or len(self._others) < _MOST_KINDS else OTHER_KINDS] += 1
        return record

    @property
    def kinds(self) -> Counter[str]:
        """Number of sound records by the letters of their kind; after a hundred kinds new ones are OTHER_KINDS."""
        return self._others + Counter({"I": self._quick})
