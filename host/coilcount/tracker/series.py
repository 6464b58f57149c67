"""From raw interval sums to the relative shift y, a whole number of 1e-9 for each reading.

`Decoder` forms y between the mean index and mean time of neighbouring intervals; `Repair` holds one
reading back to take miscounted edges out.  Runs under both interpreters; whole numbers throughout,
so that single precision floats lose nothing.
"""

from math import floor

from .continuity import MASK_32, readings_apart, steps

PPB = 1000000000
# The reference is the period over this many edges, rounded to a tick: any reference will do, a short one is quick.
REFERENCE_EDGES = 4096

BROKEN = -1  # this interval does not continue the one before: a new start
FIRST = 0  # nothing to compare it with


class Decoder:
    """Raw intervals, or frequencies, to y.  After a call that returns k > 0, `y` is the mean of k readings.

    y = (dI / dT) / (edges / ticks) - 1, I the mean index and T = t_first + S / n the mean time of an interval.
    `reference` is (ticks, edges): the reference frequency is edges / ticks of the board's tick rate.  `reference_hz`
    is the same for frequencies that were counted elsewhere.
    """

    def __init__(self, interval_us):
        self.y = 0
        self.edge = 0  # what one edge makes of `y`, in 1e-9, for the repair; 0 where unknown
        self.reference = None
        self.reference_hz = None
        self._interval_us = interval_us
        self.forget()

    def forget(self):
        """What comes next does not continue what was.  The reference stays."""
        self._before = None
        self._time_us = None

    def interval(self, sequence, first_edge, n, t_first, s):
        """Returns BROKEN, FIRST, or the number of readings (1 and the lost records) whose mean is `y`."""
        before = self._before
        if n < 2:  # the oscillator has stopped: nothing to take a mean of
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
        # Twice the step of the mean index, and the step of the mean time in 1 / both of a tick.
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
        """The same for an imported reading at `time_us`."""
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
    """Takes whole edges out that were counted twice or missed.

    An edge too many raises the index for good: the excess of one edge is shared by the two readings that meet in that
    interval.  A record in which only the count is wrong shows an edge too many and the opposite next.  Either way the
    readings before and after agree, and their sum is known: each is given its mean.

    Limits in hundredths of an edge.  A jump of SUSPECT (600 ppm at 500 edges) within one reading is no pass: the idea
    is the detector study's, these limits were chosen on simulated sweeps.
    """

    SUSPECT = 30
    WHOLE = 15  # how near to a whole number of edges the excess must be
    QUIET = 15  # how still it must have been before
    EDGE_ON = 2  # a share this small is not told from noise

    def __init__(self):
        self.repaired = 0
        self.forget()

    def forget(self):
        self.pending = []  # readings that are held back, and what one edge makes of each
        self._edges = []
        self._last = None
        self._before = None

    def push(self, y, edge, out):
        """Takes one reading and appends to the list `out` those that are now certain.  edge 0: nothing to repair."""
        pending = self.pending
        if not edge:
            if pending:
                self.flush(out)
            self._last = None
            out.append(y)
            return
        pending.append(y)
        self._edges.append(edge)
        limit = edge * self.SUSPECT // 100
        if self._last is None:
            # A start needs two readings that agree; otherwise the first is let go.
            if len(pending) == 2:
                if -limit < pending[1] - pending[0] < limit:
                    self._before = pending[0]
                    self._let_go(out)
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
                    self._let_go(out)
            self._let_go(out)

    def flush(self, out):
        """No more readings come: lets go what was held back."""
        for y in self.pending:
            out.append(y)
        self.forget()

    def _let_go(self, out):
        self._before = self._last
        self._last = self.pending.pop(0)
        self._edges.pop(0)
        out.append(self._last)

    def _repair(self, last, limit):
        pending = self.pending
        third = pending[2]
        before = last if self._before is None else self._before
        edge = self._edges[0]
        if not -limit < third - last < limit or 100 * abs(last - before) > self.QUIET * edge:
            return False
        # What each has too much, over the line from the reading before to the one after.
        first = pending[0] - (2 * last + third) // 3
        second = pending[1] - (last + 2 * third) // 3
        excess = first + second
        whole = (2 * excess + edge) // (2 * edge)
        if 100 * abs(excess - whole * edge) > self.WHOLE * edge:
            return False
        if whole == 0 and not (abs(first) > 2 * limit and abs(second) > 2 * limit):
            return False
        self.repaired += 1
        # Nearly all in the second: the rest may as well be in the third, so it takes part.
        count = 3 if whole and 100 * abs(pending[0] - last) < self.EDGE_ON * edge else 2
        total = shares = worth = 0
        for i in range(count):
            total += pending[i]
            shares += pending[i] - last
            worth += (pending[i] - last) * self._edges[i]
        if whole:
            # What an edge makes of y differs a little between them: weighted by the share that each shows.
            total -= whole * worth // shares
        for i in range(count):
            pending[i] = total // (count - i)
            total -= pending[i]
        return True
