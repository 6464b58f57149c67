"""Received lines to wire records, and the counts of what could not be used."""

import re
from binascii import crc32
from collections import Counter

from coilwire import frame, records

# The hot path: an interval record with nothing in front of it.  One match and one CRC instead of a dozen calls;
# whatever does not match goes the long way through coilwire, which alone decides what is sound.
_NUMBER = rb"(0|[1-9][0-9]{0,9})"
_INTERVAL = re.compile(rb"@(I," + rb",".join([_NUMBER] * 9) + rb")\*([0-9A-F]{8})\r?", re.ASCII)
# Kinds that are counted by name: this version knows nine, and junk may pass for thousands.
_MOST_KINDS = 100
OTHER_KINDS = "others"
_U16, _U32 = records.U16, records.U32


class Decoder:
    """Lines in, wire records out; keeps the counts that tell how sound the link is.

    received: lines with a sound record; damaged: lines that were meant as a record and are not sound;
    text: lines in which no record was meant (a prompt, another program); kinds: sound records by the letters of their
    kind, beyond a hundred kinds as OTHER_KINDS; resynchronised: sound records found behind junk in their own line, or
    first after damage.
    """

    def __init__(self) -> None:
        self.received = 0
        self.damaged = 0
        self.text = 0
        self._others: Counter[str] = Counter()  # all but those that went the quick way
        self._quick = 0
        self.resynchronised = 0
        self._after_damage = False

    def line(self, data: bytes):
        """The record (a namedtuple of coilwire.records) in one line without its line feed, or None."""
        match = _INTERVAL.fullmatch(data)
        if match is not None and crc32(match[1]) == int(match[11], 16) and len(data) < frame.MAX_FRAME_BYTES:
            record = records.Interval._make(map(int, match.groups()[1:10]))
            sequence, first_edge, n, t_first, s, shortest, longest, amplitude, flags = record
            if (
                (sequence < _U16 and first_edge < _U32 and n < _U16 and t_first < _U32 and s < _U32)
                and (shortest < _U16 and longest < _U16 and amplitude < _U16 and flags < _U16)
            ):  # fmt: skip
                self.received += 1
                self._quick += 1
                if self._after_damage:
                    self._after_damage = False
                    self.resynchronised += 1
                return record
        return self._the_long_way(data)

    def _the_long_way(self, data: bytes):
        found = frame.parse(data)
        if found is None:
            if frame.why(data) == "text":
                if data.strip():
                    self.text += 1
            else:
                self.damaged += 1
                self._after_damage = True
            return None
        try:
            record = records.read(found)
        except ValueError:
            self.damaged += 1
            self._after_damage = True
            return None
        self.received += 1
        if self._after_damage or not data.startswith(b"@"):
            self._after_damage = False
            self.resynchronised += 1
        kind = found[0]
        self._others[kind if kind in self._others or len(self._others) < _MOST_KINDS else OTHER_KINDS] += 1
        return record

    @property
    def kinds(self) -> Counter[str]:
        """Sound records by kind."""
        return self._others + Counter({"I": self._quick})
