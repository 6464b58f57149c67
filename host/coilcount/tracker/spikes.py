"""Mends readings that jump further than any pass can: away within one reading and back after one or two.

Why a pass cannot look like that: with the shape s(t) = (1 + (t / w)^2)^-3 (filters.py) a pass that peaks in one reading
of T seconds still has the share s(T / w) of its peak in the readings beside it.  The narrowest pass taken for possible
has a quarter of the narrowest width looked for.  At the default widths that is a coil of 9 cm radius at 3 m/s, twice
the fastest sweep of the test conditions.  Whole numbers throughout.  Runs under both interpreters.
"""

# Jumps up to this size in 1e-9 are left to the statistic; one edge too many at 25 kHz and 20 ms is 2,000,000.  Chosen
# by hand: above the steps of a log that is rounded to 1 Hz of 25 kHz (40 ppm).
LEAST_PPB = 50000
FASTEST = 4  # the narrowest width looked for over the narrowest pass taken for possible
# Shapes with lobes have less beside their peak than s(T / w): down to a sixth, over 36,000 computed passes of the
# objects in tests/bench/detection, 3 to 6 cm from the coil at 0.3 to 3 m/s (tests/bench/spikes.py --passes).  Half of
# that is what must be missing.
MARGIN = 12
# A larger jump in 1e-9 is impossible by its size: a steel plate of 100 mm 1 cm from the coil gives 27,000,000
# (computed).  The readings around it must agree within this share of that.
WIDEST_PPB = 30000000
BACK = 8
# What a log's rounding may hide of the readings around a sharp one, in 1e-9: 0.01 Hz of 25 kHz is 400.
ROUNDING_PPB = 1000
# From this ratio on (51 ms at the default widths, 34 ms for a spike of two readings) a fast pass may look like a spike:
# only the size counts.
MOST_SHARE = 500
# So many readings behind must agree with the three before.
AFTER = 2


class Spikes:
    """push() every reading that does not pass at once; those that are certain come out, in their order.

    interval_us: between readings; narrowest_us: the narrowest width of a pass looked for.
    mended: readings replaced so far; waiting: readings held back, lost ones too.

    A reading is held back only if it jumps by more than LEAST_PPB from the one before: until two, or for a pair three
    or four, more are there.  Spikes of one reading, and of two (one edge too many and then one too few, or one edge
    shared by both) are replaced by the line between their neighbours.
    """

    def __init__(self, interval_us, narrowest_us):
        w2 = (narrowest_us // FASTEST) ** 2
        self._shares = []
        # Of two readings the outer ones are 1.5 readings from the peak between them.
        for away2 in (interval_us * interval_us, 9 * interval_us * interval_us // 4):
            share = MARGIN * (w2 + away2) ** 3 // w2**3 + 1
            self._shares.append(share if share <= MOST_SHARE else 0)  # 0: such a spike cannot be told from a pass
        self.mended = 0
        self.forget()

    def forget(self):
        """What comes next does not continue what was."""
        self.waiting = 0
        self._pending = []
        self._counts = []
        self._last = self._second = self._third = None

    def passes(self, y):
        """Whether this reading, in 1e-9, may go its way at once; if not it must be pushed."""
        last = self._last
        if last is None or self.waiting or not -LEAST_PPB <= y - last <= LEAST_PPB:
            return False
        self._third = self._second
        self._second = last
        self._last = y
        return True

    def push(self, y, count, out):
        """Takes a reading in 1e-9 that stands for `count`: itself, and those lost before it.

        Appends to the list `out` y and count of every reading that is now certain, one after the other.
        """
        if self.passes(y):
            out.append(y)
            out.append(count)
            return
        self._pending.append(y)
        self._counts.append(count)
        self.waiting += count
        self._decide(out, False)

    def flush(self, out):
        """No more readings come: lets go what was held back."""
        self._decide(out, True)
        self.forget()

    def _decide(self, out, end):
        pending = self._pending
        while pending:
            last = self._last
            if last is None or not -LEAST_PPB <= pending[0] - last <= LEAST_PPB:
                size = 1
                while size < 3:
                    after = len(pending) - size
                    if after > AFTER:
                        after = AFTER
                    if after >= 0 and self._impossible(size, after):
                        if after == AFTER or (end and after):
                            self._mend(size)
                            break
                        if not end:
                            return
                    size += 1
            self._let_go(out)

    def _impossible(self, size, after):
        """Whether the first `size` readings are a spike, as far as the `after` ones behind them tell."""
        pending = self._pending
        low = high = last = self._last
        if last is None:
            # A start has nothing before it: what agrees behind must do.
            if size > 1 or not after:
                return size == 1
            low = high = last = pending[1]
        elif self._second is not None:
            low = min(last, self._second)
            high = max(last, self._second)
            if self._third is not None:
                low = min(low, self._third)
                high = max(high, self._third)
        for i in range(size, size + after):
            y = pending[i]
            if y < low:
                low = y
            elif y > high:
                high = y
        away = abs(pending[0] - last)
        if size == 2:
            away = min(away, abs(pending[1] - last))
        if away <= LEAST_PPB:
            return False
        room = high - low
        share = self._shares[size - 1]
        return (share and (room + ROUNDING_PPB) * share < away) or (away > WIDEST_PPB and room * BACK < WIDEST_PPB)

    def _mend(self, size):
        pending = self._pending
        right = pending[size]
        left = right if self._last is None else self._last
        for i in range(size):
            pending[i] = left + (right - left) * (i + 1) // (size + 1)
        self.mended += size

    def _let_go(self, out):
        self._third = self._second
        self._second = self._last
        self._last = self._pending.pop(0)
        count = self._counts.pop(0)
        self.waiting -= count
        out.append(self._last)
        out.append(count)
