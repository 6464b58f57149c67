"""From raw interval sums to the relative shift y of each reading, in whole 1e-9.

`Decoder` computes y from the mean index and mean time of neighbouring intervals.  `Repair` holds one reading back to
take out miscounted edges.
Runs under both interpreters.  Whole numbers throughout, so that single-precision floats lose nothing.
"""

from math import floor

from .continuity import MASK_32, readings_apart, steps

PPB = 1000000000
# Edges.  The reference is the period over this many edges, rounded to a tick.  Chosen by hand: any reference will do.
REFERENCE_EDGES = 4096

# Results of Decoder.interval() that are no number of readings.
BROKEN = -1  # this interval does not continue the one before: a new start
FIRST = 0  # there is no interval before to compare it with


class Decoder:
    """Turns raw intervals, or frequencies, into y.

    y = (dI / dT) / (edges / ticks) - 1.  I is the mean index of an interval and T = t_first + s / n its mean time; dI
    and dT are their steps from the interval before.

    y: of the latest reading, 1e-9.
    edge: what one edge more would add to y, 1e-9; 0 if unknown.
    reference: (ticks, edges): the reference frequency is edges / ticks of the board's tick rate.
    reference_hz: the reference frequency of imported readings.
    """

    def __init__(self, interval_us):
        self.y = 0
        self.edge = 0
        self.reference = None
        self.reference_hz = None
        self._interval_us = interval_us
        self.forget()

    def forget(self):
        """Start again: what comes next does not continue what came before.  The reference stays."""
        self._before = None
        self._time_us = None

    def interval(self, sequence, first_edge, n, t_first, s):
        """Take one interval as it was on the wire.

        Returns BROKEN, FIRST, or the number of readings whose mean is now `y`: 1, and one for each lost record.
        """
        before = self._before
        if n < 2:  # the oscillator has stopped: there is no mean
            self.forget()
            return FIRST if before is None else BROKEN
        now = self._before = (sequence, first_edge, n, t_first, s)
        if before is None:
            return FIRST
        step = steps(before, now)
        if not step:
            return BROKEN
        n_before = before[2]
        both = n_before * n
        # Twice the step of the mean index, and the step of the mean time in units of a tick / both.
        edges2 = 2 * ((first_edge - before[1]) & MASK_32) + n - n_before
        ticks = ((t_first - before[3]) & MASK_32) * both + s * n_before - before[4] * n
        if self.reference is None:
            self.reference = ((REFERENCE_EDGES * 2 * ticks // (edges2 * both)) or 1, REFERENCE_EDGES)
        reference = self.reference
        under = 2 * ticks * reference[1]
        self.y = (2 * PPB * (edges2 * both * reference[0] - under) + under) // (2 * under)
        self.edge = 2 * (PPB + self.y) // edges2 if step == 1 else 0
        return step

    def reading(self, time_us, frequency_hz):
        """Take an imported reading whose middle is `time_us`.  Returns the same as interval(), but never FIRST."""
        before = self._time_us
        self._time_us = time_us
        if self.reference_hz is None:
            self.reference_hz = frequency_hz
        self.y = floor((frequency_hz / self.reference_hz - 1.0) * 1e9 + 0.5)
        self.edge = 0
        if before is None:
            return 1
        return readings_apart(before, time_us, self._interval_us) or BROKEN


class Repair:
    """Takes out whole edges that were counted twice or missed.

    An edge too many raises the index for good.  The two readings that meet in that interval share the excess of one
    edge.  If only the count of a record is wrong, its reading has an edge too many and the next reading has one too
    few.  In both cases the readings before and after agree, and the sum of the excess is known.  Each damaged reading
    is given the mean that is left.

    pending: readings that are held back.  repaired: edges taken out so far.
    """

    # Hundredths of an edge.  All four were chosen by hand on simulated sweeps; the idea of the first is from an earlier
    # simulation study, not repeated here.
    SUSPECT = 30  # a jump beyond this within one reading is no pass: 600 ppm at 500 edges
    WHOLE = 15  # the excess must be this near to a whole number of edges
    QUIET = 15  # the two readings before must agree within this
    EDGE_ON = 2  # a smaller share of the edge cannot be told from noise

    def __init__(self):
        self.repaired = 0
        self.forget()

    def forget(self):
        """Start again: what comes next does not continue what came before."""
        self.pending = []
        self._edges = []  # what one edge more would add to each pending reading
        self._last = None
        self._before = None

    def push(self, y, edge, out):
        """Take one reading, and append the readings that are now certain to the list `out`.

        edge: what one edge more would add to y; 0: there is nothing to repair.
        """
        pending = self.pending
        if not edge:
            if pending:
                self.flush(out)
            self._last = None
            out.append(y)
            return
        limit = edge * self.SUSPECT // 100
        last = self._last
        if last is not None and len(pending) == 1:
            first = pending[0]
            if -limit < first - last < limit and -limit < y - last < limit:
                # As nearly always: it takes the place of the one that was held back.
                pending[0] = y
                self._edges[0] = edge
                self._before = last
                self._last = first
                out.append(first)
                return
        pending.append(y)
        self._edges.append(edge)
        if last is None:
            # A start needs two readings that agree.  If they do not, the first is dropped.
            if len(pending) == 2:
                if -limit < pending[1] - pending[0] < limit:
                    self._before = pending[0]
                    self._release_first(out)
                else:
                    pending.pop(0)
                    self._edges.pop(0)
            return
        while len(pending) > 1:
            last = self._last
            if not (-limit < pending[0] - last < limit and -limit < pending[1] - last < limit):
                if len(pending) < 3:
                    return
                if self._repair(last, limit):
                    self._release_first(out)
            self._release_first(out)

    def flush(self, out):
        """No more readings come: append those that were held back to the list `out`."""
        for y in self.pending:
            out.append(y)
        self.forget()

    def _release_first(self, out):
        self._before = self._last
        self._last = self.pending.pop(0)
        self._edges.pop(0)
        out.append(self._last)

    def _repair(self, last, limit):
        """Repair the first two or three pending readings.  Returns False if they show no miscounted edge."""
        pending = self.pending
        third = pending[2]
        before = last if self._before is None else self._before
        edge = self._edges[0]
        if not -limit < third - last < limit or 100 * abs(last - before) > self.QUIET * edge:
            return False
        # What the first and the second have above the line from the reading before to the third.
        first = pending[0] - (2 * last + third) // 3
        second = pending[1] - (last + 2 * third) // 3
        excess = first + second
        whole = (2 * excess + edge) // (2 * edge)
        if 100 * abs(excess - whole * edge) > self.WHOLE * edge:
            return False
        if whole == 0 and not (abs(first) > 2 * limit and abs(second) > 2 * limit):
            return False
        self.repaired += 1
        # If the first has nearly nothing, the excess may be in the second and the third instead: all three take part.
        count = 3 if whole and 100 * abs(pending[0] - last) < self.EDGE_ON * edge else 2
        total = shares = worth = 0
        for i in range(count):
            total += pending[i]
            shares += pending[i] - last
            worth += (pending[i] - last) * self._edges[i]
        if whole:
            # What an edge adds to y differs a little between readings.  So it is weighted by the share of each.
            total -= whole * worth // shares
        for i in range(count):
            pending[i] = total // (count - i)
            total -= pending[i]
        return True
