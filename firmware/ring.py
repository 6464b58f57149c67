"""A ring of records between the counter and the link.  It never waits, and it counts the records that it lost.

All memory is allocated once.  A full ring drops its oldest record, because the newest one says what the coil reads
now.  `gap` then stays set until the reader has reported the loss to the host.
"""

from array import array

from line import copy_words


class Ring:
    """A fixed number of records.

    slots: how many records fit; width: the most numbers in a record.  A record is a kind (1 to 255) and up to
    `width` numbers below 2^32.
    """

    def __init__(self, slots, width):
        self.slots = slots
        self.width = width
        self.count = 0  # records that wait
        self.high = 0  # most records that ever waited
        self.dropped = 0  # records lost since boot
        self.gap = False  # records were lost before the next one; the reader clears this
        self.words = array("I", [0] * (slots * width))  # the numbers; those of the oldest record begin at `start`
        self.start = 0
        self._first = 0  # slot of the oldest record
        self._kinds = bytearray(slots)

    def push(self, kind, values):
        """Append a record with the numbers in `values` (array "I").  Allocates nothing."""
        if self.count == self.slots:
            self.drop_first()
            self.lose()
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

    def lose(self):
        """Count one record that will not reach the host."""
        self.dropped += 1
        self.gap = True
