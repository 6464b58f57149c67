"""From raw interval sums to the relative shift y, a whole number of 1e-9 for each reading.

`Decoder` forms y between the mean index and mean time of neighbouring intervals; `Repair` holds one
reading back to take miscounted edges out.  Runs under both interpreters; whole numbers throughout,
so that single precision floats lose nothing.
"""

from math import floor

MASK_16 = 0xFFFF
MASK_32 = 0xFFFFFFFF
PPB = 1000000000
# Lost records that are filled; more are a new start (two seconds at 50 a second).
MOST_STEPS = 100
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
        self.edges = 0  # edges in an interval, for the repair; 0 where unknown
        self.reference = None
        self.reference_hz = None
        self._interval_us = interval_us
        self.forget()

    def forget(self):
        """What comes next does not continue what was.  The reference stays."""
        self._n = 0
        self._ticks_each = 0  # ticks of one interval
        self._time_us = None

    def interval(self, sequence, first_edge, n, t_first, s):
        """Returns BROKEN, FIRST, or the number of readings (1 and the lost records) whose mean is `y`."""
        before = self._n
        if n < 2:  # the oscillator has stopped: nothing to take a mean of
            self.forget()
            return BROKEN if before else FIRST
        if not before:
            self._keep(sequence, first_edge, n, t_first, s)
            return FIRST
        step = (sequence - self._sequence) & MASK_16
        first_ticks = (t_first - self._t_first) & MASK_32
        each = self._ticks_each
        if each == 0:
            each = self._ticks_each = first_ticks // step if 0 < step <= MOST_STEPS else 0
        both = before * n
        # Twice the step of the mean index, and the step of the mean time in 1 / both of a tick.
        edges2 = 2 * ((first_edge - self._first_edge) & MASK_32) + n - before
        ticks = first_ticks * both + s * before - self._s * n
        self._keep(sequence, first_edge, n, t_first, s)
        # An eighth off the pace of the board: the time base or the pace has changed.
        if not 0 < step <= MOST_STEPS or ticks <= 0 or 8 * abs(first_ticks - step * each) > step * each:
            self._ticks_each = 0
            return BROKEN
        if self.reference is None:
            self.reference = ((REFERENCE_EDGES * 2 * ticks // (edges2 * both)) or 1, REFERENCE_EDGES)
        reference = self.reference
        under = 2 * ticks * reference[1]
        self.y = (2 * PPB * (edges2 * both * reference[0] - under) + under) // (2 * under)
        self.edges = n
        return step

    def reading(self, time_us, frequency_hz):
        """The same for an imported reading at `time_us`."""
        before = self._time_us
        self._time_us = time_us
        if self.reference_hz is None:
            self.reference_hz = frequency_hz
        self.y = floor((frequency_hz / self.reference_hz - 1.0) * 1e9 + 0.5)
        self.edges = 0
        if before is None:
            return 1
        step = (2 * (time_us - before) + self._interval_us) // (2 * self._interval_us)
        return step if 0 < step <= MOST_STEPS else BROKEN

    def _keep(self, sequence, first_edge, n, t_first, s):
        self._sequence = sequence
        self._first_edge = first_edge
        self._n = n
        self._t_first = t_first
        self._s = s


class Repair:
    """Takes whole edges out that were counted twice or missed.

    An edge too many raises the index for good: the excess of one edge is shared by the two readings that meet in that
    interval.  A record in which only the count is wrong shows an edge too many and the opposite next.  Either way the
    readings before and after agree, and their sum over the two is known exactly: each is given half of it.
    """

    # Edges: a jump of 0.3 (600 ppm at 500 edges) within one reading is no pass; from detector study, see tracker.py.
    SUSPECT = 0.3
    WHOLE = 0.15  # how near to a whole number of edges the excess must be
    QUIET = 0.15  # how still it must have been before

    def __init__(self):
        self.pending = []
        self.repaired = 0
        self.forget()

    def forget(self):
        self.pending = []
        self._last = None
        self._before = None

    def push(self, y, edges, out):
        """Takes one reading and appends to the list `out` those that are now certain."""
        pending = self.pending
        if not edges:
            out.append(y)
            return
        limit = 300000000 // edges  # SUSPECT in 1e-9
        pending.append(y)
        last = self._last
        if last is None:
            # A start needs two readings that agree; otherwise the first is let go.
            if len(pending) == 2:
                if -limit < pending[1] - pending[0] < limit:
                    self._before = self._last = pending[0]
                    out.append(pending.pop(0))
                else:
                    pending.pop(0)
            return
        while len(pending) > 1:
            last = self._last
            first = pending[0] - last
            second = pending[1] - last
            if not (-limit < first < limit and -limit < second < limit):
                if len(pending) < 3:
                    return
                if self._repair(last, edges, limit):
                    out.append(pending.pop(0))
            self._before = self._last
            self._last = pending.pop(0)
            out.append(self._last)

    def flush(self, out):
        """No more readings come: lets go what was held back."""
        for y in self.pending:
            out.append(y)
        self.forget()

    def _repair(self, last, edges, limit):
        pending = self.pending
        third = pending[2]
        if not -limit < third - last < limit or abs(last - self._before) * 2 > limit:
            return False
        excess = (pending[0] + pending[1] - last - third) * edges
        whole = (excess + PPB // 2) // PPB
        if 20 * abs(excess - whole * PPB) > 3 * PPB:  # WHOLE
            return False
        if whole == 0 and not (pending[0] - last > 2 * limit and pending[1] - last < -2 * limit) and not (
            pending[0] - last < -2 * limit and pending[1] - last > 2 * limit
        ):
            return False
        total = pending[0] + pending[1] - (whole * PPB + edges // 2) // edges
        pending[0] = total // 2
        pending[1] = total - pending[0]
        self.repaired += 1
        return True
