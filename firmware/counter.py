"""What the application asks of a counter, and how long an interval its sums can hold.

A counter timestamps every rising edge in ticks of `tick_cycles` clock cycles and adds the edges of one
interval up, exactly and in integers: the figures of an interval record (see coilwire.records).
It loses no edge between intervals and never waits.
"""

IDLE = 0  # poll(): nothing new
COUNTED = 1  # poll(): time went on, the interval is still open
CLOSED = 2  # poll(): an interval closed; its figures are in `sums`

# Places in `sums`: the fields of an interval record after its sequence number.
FIRST_EDGE = 0
N = 1
T_FIRST = 2
S = 3
SHORTEST = 4
LONGEST = 5
AMPLITUDE = 6
FLAGS = 7
SUMS = 8

HIGHEST_HZ = 200_000  # the highest frequency that a counter must follow
# Room that a new interval leaves for the frequency to rise: 10 %, more than any target does.
HEADROOM_NUM = 11
HEADROOM_DEN = 10


class Counter:
    """The interface.  An interval without an edge gives no record; silent_ms() tells of it.

    The first interval after start() carries FLAG_NEW_TIME_BASE, and so does the first after a
    silence in which the 32-bit timestamp could have wrapped unseen.
    """

    clock_hz = 0
    tick_cycles = 0

    def __init__(self):
        self.sums = [0] * SUMS  # filled by poll(); valid until the next poll()

    def start(self, interval_ms):
        """Begin counting, with a new time base."""
        raise NotImplementedError

    def stop(self):
        """Stop all hardware; harmless when it does not run."""
        raise NotImplementedError

    def set_interval(self, interval_ms):
        """From now on close an interval as soon as it is this long; no edge is lost in the change."""
        raise NotImplementedError

    def poll(self):
        """IDLE, COUNTED or CLOSED.  At most one interval closes in a call."""
        raise NotImplementedError

    def silent_ms(self):
        """Milliseconds since the last edge, or since start() before the first."""
        raise NotImplementedError


def fits(interval_ms, period_ticks, clock_hz, tick_cycles):
    """Whether the sums of such an interval stay in their fields: S below 2^32 and N below 2^16.

    S = sum of (t - t_first) over n evenly spaced edges of an interval of T ticks is n T / 2.
    period_ticks: the present period, or 0 where it is not known; then HIGHEST_HZ is assumed.
    """
    ticks = interval_ms * (clock_hz // tick_cycles) // 1000
    period = period_ticks or clock_hz // tick_cycles // HIGHEST_HZ
    n = ticks * HEADROOM_NUM // (HEADROOM_DEN * period) + 1
    return n < 65536 and n * ticks // 2 < 4294967296
