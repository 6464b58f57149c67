"""Mends spikes: readings that jump further than any pass can, away within one reading and back after one or two.

Why a pass cannot look like that: its shape is s(t) = (1 + (t / w)^2)^-3 (filters.py).  Say that a pass peaks in one
reading, and that readings are T seconds apart.  Then the readings beside it still have the share s(T / w) of its peak.
The narrowest pass that is taken for possible has a quarter of the narrowest width looked for.  At the default widths
that is a coil of 9 cm radius at 3 m/s, twice the fastest sweep of the test conditions.
Whole numbers throughout.  Runs under both interpreters.
"""

# 1e-9.  Jumps up to this size are left to the statistic.  Chosen by hand: above the steps of a log that is rounded to
# 1 Hz of 25 kHz (40 ppm), and far below one edge too many at 25 kHz and 20 ms (2,000 ppm).
LEAST_PPB = 50000
# The narrowest width looked for over the narrowest pass that is taken for possible.  Chosen by hand.
FASTEST = 4
# A jump is a spike if the readings around it stay within s(T / w) / MARGIN of it.  Computed: passes with lobes have as
# little as a sixth of s(T / w) beside their peak, over 36,000 passes of the objects of tests/bench/detection, 3 to 6 cm
# from the coil at 0.3 to 3 m/s (tests/bench/spikes.py --passes).  Half of that is the limit.
MARGIN = 12
# 1e-9.  A larger jump is impossible by its size alone.  Chosen by hand: a steel plate of 100 mm gives 27,000,000 if it
# is 1 cm from the coil (computation).
WIDEST_PPB = 30000000
# For such a jump the readings around it must agree within WIDEST_PPB / BACK.  Chosen by hand.
BACK = 8
# 1e-9.  What the rounding of a log may hide of the differences between readings.  Chosen by hand: 0.01 Hz of 25 kHz is
# 400.
ROUNDING_PPB = 1000
# Ratio of jump to surroundings.  If the limit would be beyond this, a fast pass may look like a spike, and only
# WIDEST_PPB counts.  That is so from 51 ms between readings at the default widths, and from 34 ms for a spike of two
# readings.  Chosen by hand; tests/bench/spikes.py --passes prints the limits.
MOST_RATIO = 500
# Readings after a spike that must agree with the three before it.  Chosen by hand.
AFTER = 2


class Spikes:
    """Holds back readings that jump, and mends spikes among them.

    A reading is held back only if it jumps by more than LEAST_PPB from the one before.  It waits for two more readings,
    and for three or four if the spike may have two readings.  A spike has one reading, or two: one edge too many and
    then one too few, or one edge shared by both.  It is replaced by the line between its neighbours.

    Call passes() with each reading, and push() if it returns False.
    mended: readings replaced so far.  waiting: readings held back, lost ones included.
    """

    def __init__(self, interval_us, narrowest_us):
        """interval_us: time from reading to reading.  narrowest_us: narrowest width of a pass to look for."""
        w2 = (narrowest_us // FASTEST) ** 2
        self._ratios = []  # for a spike of one reading and of two
        # In a spike of two, the outer readings are 1.5 readings from the peak between the two.
        for away2 in (interval_us * interval_us, 9 * interval_us * interval_us // 4):
            ratio = MARGIN * (w2 + away2) ** 3 // w2**3 + 1
            self._ratios.append(ratio if ratio <= MOST_RATIO else 0)  # 0: it cannot be told from a pass
        self.mended = 0
        self.forget()

    def forget(self):
        """Start again: what comes next does not continue what came before."""
        self.waiting = 0
        self._pending = []
        self._counts = []
        self._last = self._second = self._third = None

    def passes(self, y):
        """Take a reading (1e-9) and return True if it may go on at once.  If not, push() it."""
        last = self._last
        if last is None or self.waiting or not -LEAST_PPB <= y - last <= LEAST_PPB:
            return False
        self._third = self._second
        self._second = last
        self._last = y
        return True

    def push(self, y, count, out):
        """Take a reading (1e-9) that stands for `count` readings: itself, and those that were lost before it.

        Appends y and count of each reading that is now certain to the list `out`, one after the other.
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
        """No more readings come: append those that were held back to the list `out`, as in push()."""
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
                    if after >= 0 and self._is_spike(size, after):
                        if after == AFTER or (end and after):
                            self._mend(size)
                            break
                        if not end:
                            return
                    size += 1
            self._release_first(out)

    def _is_spike(self, size, after):
        """Return True if the first `size` pending readings may be a spike, judged by `after` readings behind."""
        pending = self._pending
        low = high = last = self._last
        if last is None:
            # There is nothing before a start: only the readings behind can agree.
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
        spread = high - low
        ratio = self._ratios[size - 1]
        return (ratio and (spread + ROUNDING_PPB) * ratio < away) or (away > WIDEST_PPB and spread * BACK < WIDEST_PPB)

    def _mend(self, size):
        pending = self._pending
        right = pending[size]
        left = right if self._last is None else self._last
        for i in range(size):
            pending[i] = left + (right - left) * (i + 1) // (size + 1)
        self.mended += size

    def _release_first(self, out):
        self._third = self._second
        self._second = self._last
        self._last = self._pending.pop(0)
        count = self._counts.pop(0)
        self.waiting -= count
        out.append(self._last)
        out.append(count)
