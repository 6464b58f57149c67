"""A ring of records between the counter and the link.  It never waits, and it counts the records that it lost.

All memory is allocated once.  A full ring drops its oldest record, because the newest one says what the coil reads
now.  The next interval that is sent reports the loss by its flags.
"""

from array import array

from coilwire import records
from line import copy_words

# Flags about what was before an interval.  If the interval is never sent, they hold for the next one that is sent.
CARRIED = records.FLAG_NEW_TIME_BASE | records.FLAG_STALL | records.FLAG_OVERRUN


class Ring:
    """A fixed number of records.

    slots: how many records fit; width: the most numbers in a record.  A record is a kind (1 to 255) and up to
    `width` numbers below 2^32.
    flag_kind: the kind of record that has flags, or 0; flag_index: the index of the flags in its numbers.
    """

    def __init__(self, slots, width, flag_kind=0, flag_index=0):
        self.slots = slots
        self.width = width
        self.count = 0  # records that wait
        self.high = 0  # most records that ever waited
        self.dropped = 0  # records lost since boot
        self.gap = False  # records were lost, and flag_first() has not reported it yet
        self.words = array("I", [0] * (slots * width))  # the numbers; those of the oldest record begin at `start`
        self.start = 0
        self._first = 0  # slot of the oldest record
        self._kinds = bytearray(slots)
        self._flag_kind = flag_kind
        self._flag_index = flag_index
        self._carried = 0  # CARRIED flags of records that were lost

    def push(self, kind, values):
        """Append a record with the numbers in `values` (array "I").  Allocates nothing."""
        if self.count == self.slots:
            flags = self._first_flags()
            self.drop_first()
            self.lose(flags)
        slot = (self._first + self.count) % self.slots
        self._kinds[slot] = kind
        copy_words(self.words, slot * self.width, values, 0, len(values))
        self.count += 1
        if self.count > self.high:
            self.high = self.count

    def first_kind(self):
        """Return the kind of the oldest record, or 0 if the ring is empty."""
        return self._kinds[self._first] if self.count else 0

    def drop_first(self):
        """Remove the oldest record.  There must be one.  Its numbers stay valid until the next push()."""
        self._first = (self._first + 1) % self.slots
        self.start = self._first * self.width
        self.count -= 1

    def lose(self, flags):
        """Count one record that will not reach the host.  flags: its CARRIED flags."""
        self.dropped += 1
        self.gap = True
        self._carried |= flags

    def flag_first(self):
        """If the oldest record has flags, add those that report earlier losses.  Return its CARRIED flags, or 0.

        There must be a record.
        """
        if self.first_kind() != self._flag_kind:
            return 0
        flags = self._carried
        if self.gap:
            flags |= records.FLAG_AFTER_DROP
        self.words[self.start + self._flag_index] |= flags
        self.gap = False
        self._carried = 0
        return self._first_flags()

    def _first_flags(self):
        """Return the CARRIED flags of the oldest record, or 0 if it has none."""
        if self.first_kind() != self._flag_kind:
            return 0
        return self.words[self.start + self._flag_index] & CARRIED
