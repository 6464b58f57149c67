"""The ring of cumulative sums: the sum of y over any stretch of the latest readings is one subtraction.

The sums are whole numbers, so that they never lose a digit, and small enough to be small integers on the board.
Runs under both interpreters.
"""

# No stretch of readings that is asked for may add up to this, in 1e-9.  Twice as much fits into a small integer of the
# board.
LIMIT = 1 << 29


class Ring:
    """The cumulative sum of y (1e-9) after each of the latest readings.

    sums: the ring itself.  mask: its size - 1, a power of two.  at: position of the newest sum.
    A list, because it is read much more often than written, and reading an array makes a number each time.
    """

    def __init__(self, readings):
        """readings: how many readings back it must reach."""
        size = 16
        while size <= readings:
            size *= 2
        self.mask = size - 1
        self.sums = [0] * size
        self.at = 0

    def restart(self):
        """Forget all readings."""
        self.at = 0
        self.sums[0] = 0

    def push(self, y):
        """Take one reading in 1e-9, and return the newest sum.

        The caller limits y: no stretch that is asked for may add up to LIMIT or more.
        """
        newest = self.sums[self.at] + y
        at = self.at = (self.at + 1) & self.mask
        self.sums[at] = newest
        if not -LIMIT < newest < LIMIT:
            newest = self._start_from_0()
        return newest

    def _start_from_0(self):
        """Subtract the newest sum from all, before it grows too large.  The differences stay.

        With y 100 ppm off the reference this happens every 5000 readings.
        """
        sums = self.sums
        newest = sums[self.at]
        for i in range(len(sums)):
            sums[i] -= newest
        return 0

    def mean(self, newest, oldest):
        """Return the mean of y over the readings `newest` to `oldest` back, in 1e-9.

        0 is the latest reading, and oldest >= newest.
        """
        sums = self.sums
        at = self.at
        mask = self.mask
        return (sums[(at - newest) & mask] - sums[(at - oldest - 1) & mask]) / (oldest - newest + 1)

    def weighted(self, lags, gains, back):
        """Return the answer of a filter whose newest edge is `back` readings ago, in 1e-9.

        lags: readings from that edge back to the other edges.  gains: of what the sum has grown by since each of them.
        """
        sums = self.sums
        mask = self.mask
        at = self.at - back
        newest = sums[at & mask]
        a = 0.0
        for j in range(len(lags)):
            a += (newest - sums[(at - lags[j]) & mask]) * gains[j]
        return a
