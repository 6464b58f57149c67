"""The ring of cumulative sums: the mean of y over any stretch of the latest readings is one subtraction.

The sums are whole numbers modulo 2^30, so that they are small integers on the board and never lose a digit.
Runs under both interpreters.
"""

from array import array

MODULUS = 1 << 30
HALF = 1 << 29
MASK = MODULUS - 1


class Ring:
    """The cumulative sum of y (1e-9) after each of the latest readings.

    sums: the ring itself.  mask: its size - 1, a power of two.  at: position of the newest sum.
    """

    def __init__(self, readings):
        """readings: how many readings back it must reach."""
        size = 16
        while size <= readings:
            size *= 2
        self.mask = size - 1
        self.sums = array("i", [0] * size)
        self.at = 0

    def restart(self):
        """Forget all readings."""
        self.at = 0
        self.sums[0] = 0

    def push(self, y):
        """Take one reading in 1e-9, and return the newest sum.

        The caller limits y: no stretch that is asked for may add up to 2^29 or more.
        """
        newest = (self.sums[self.at] + y) & MASK
        at = self.at = (self.at + 1) & self.mask
        self.sums[at] = newest
        return newest

    def mean(self, newest, oldest):
        """Return the mean of y over the readings `newest` to `oldest` back, in 1e-9.

        0 is the latest reading, and oldest >= newest.
        """
        sums = self.sums
        total = sums[(self.at - newest) & self.mask] - sums[(self.at - oldest - 1) & self.mask]
        if total >= HALF:
            total -= MODULUS
        elif total < -HALF:
            total += MODULUS
        return total / (oldest - newest + 1)

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
            part = newest - sums[(at - lags[j]) & mask]
            if part >= HALF:
                part -= MODULUS
            elif part < -HALF:
                part += MODULUS
            a += part * gains[j]
        return a
