"""A ring of records between the counter and the link.  It never waits, and it counts the records that it lost.

All memory is allocated once.  A full ring drops its oldest record, because the newest one says what the coil reads
now.  `gap` then stays set until the reader has reported the loss to the host.
"""

from array import array


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
        self.dropped = 0  # records lost since boot, modulo 2^32
        self.gap = False  # records were lost before the next one; the reader clears this
        self._first = 0  # slot of the oldest record
        self._kinds = bytearray(slots)
        self._values = array("I", [0] * (slots * width))

    def push(self, kind, values):
        """Append a record.  Allocates nothing, except for numbers of 2^30 or more on a 32-bit chip."""
        if self.count == self.slots:
            self._first = (self._first + 1) % self.slots
            self.count -= 1
            self.lose()
        slot = (self._first + self.count) % self.slots
        self._kinds[slot] = kind
        start = slot * self.width
        for i in range(len(values)):
            self._values[start + i] = values[i]
        self.count += 1
        if self.count > self.high:
            self.high = self.count

    def pop(self, out):
        """Move the numbers of the oldest record into the list `out` (length `width`).

        Returns the record's kind, or 0 if the ring is empty.
        """
        if self.count == 0:
            return 0
        start = self._first * self.width
        for i in range(self.width):
            out[i] = self._values[start + i]
        kind = self._kinds[self._first]
        self._first = (self._first + 1) % self.slots
        self.count -= 1
        return kind

    def lose(self):
        """Count one record that will not reach the host."""
        self.dropped = (self.dropped + 1) & 0xFFFFFFFF
        self.gap = True
