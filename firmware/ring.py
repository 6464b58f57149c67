"""A ring of records between the counter and the link: it never waits, and it counts what it lost.

Everything is allocated once.  A full ring lets its oldest record go, because the newest tells
where the coil is now; `gap` stays set until the reader has told the host.
"""

from array import array


class Ring:
    """`slots` records of a small kind number (1..255) and up to `width` numbers below 2^32."""

    def __init__(self, slots, width):
        self.slots = slots
        self.width = width
        self.count = 0  # records waiting
        self.high = 0  # most records that ever waited
        self.dropped = 0  # records lost since boot
        self.gap = False  # records were lost before the next one; the reader clears it
        self._first = 0
        self._kinds = bytearray(slots)
        self._values = array("I", [0] * (slots * width))

    def push(self, kind, values):
        """Append a record; allocates nothing (apart from numbers past 2^30 on a 32-bit chip)."""
        if self.count == self.slots:
            self._first = (self._first + 1) % self.slots
            self.count -= 1
            self.lose()
        at = (self._first + self.count) % self.slots
        self._kinds[at] = kind
        at *= self.width
        for i in range(len(values)):
            self._values[at + i] = values[i]
        self.count += 1
        if self.count > self.high:
            self.high = self.count

    def pop(self, out):
        """Move the oldest record's numbers into the list `out` (of `width`); its kind, or 0 when empty."""
        if self.count == 0:
            return 0
        at = self._first * self.width
        for i in range(self.width):
            out[i] = self._values[at + i]
        kind = self._kinds[self._first]
        self._first = (self._first + 1) % self.slots
        self.count -= 1
        return kind

    def lose(self):
        """Count a record that will not reach the host."""
        self.dropped = (self.dropped + 1) & 0xFFFFFFFF
        self.gap = True
