"""The interface of a counter, and the limit on the length of an interval.

A counter timestamps every rising edge in ticks of `tick_cycles` clock cycles.  It adds up the edges of an interval
exactly, in integers.  The results are the fields of an interval record (see coilwire.records).  It loses no edge
between two intervals, and it never waits.
"""

from array import array

# A clock of this firmware counts milliseconds modulo 2^30, so that times and their differences are small integers on a
# 32-bit chip.  A difference is taken by this mask and must be below 12 days.
MS_MASK = 0x3FFFFFFF

# Results of poll().
IDLE = 0  # nothing new
COUNTED = 1  # the counter looked for edges; the interval is still open
CLOSED = 2  # an interval ended; its values are in `sums`

# Indices in `sums`: the fields of an interval record after its sequence number.
FIRST_EDGE = 0
N = 1
T_FIRST = 2
S = 3
SHORTEST = 4
LONGEST = 5
AMPLITUDE = 6
FLAGS = 7
SUMS = 8  # length of `sums`

HIGHEST_HZ = 200_000  # Hz; the highest frequency that a counter must follow.  Chosen by hand.
# A new interval leaves room for a frequency that is 11/10 of the present one.  No target raises the frequency by
# 10 %.  Chosen by hand.
HEADROOM_NUM = 11
HEADROOM_DEN = 10


class Counter:
    """The methods of a counter.

    An interval without an edge gives no record; silent_ms() reports the silence.  FLAG_NEW_TIME_BASE is set on the
    first interval after start(), and on the first one after a silence in which the 32-bit timestamp could have wrapped
    unnoticed.

    clock_hz: clock of the timestamps in Hz; tick_cycles: clock cycles in a tick; behind: True if edges wait that the
    last poll() did not take, so that the next one should follow at once.
    """

    clock_hz = 0
    tick_cycles = 0
    behind = False

    def __init__(self):
        self.sums = array("I", [0] * SUMS)  # filled by poll(), valid until the next poll()

    def start(self, interval_ms):
        """Start counting, with a new time base.  interval_ms: length of an interval in ms."""
        raise NotImplementedError

    def stop(self):
        """Stop all hardware.  Harmless if it does not run."""
        raise NotImplementedError

    def set_interval(self, interval_ms):
        """End each interval after `interval_ms` ms from now on.  The change loses no edge."""
        raise NotImplementedError

    def poll(self):
        """Return IDLE, COUNTED or CLOSED.  At most one interval ends in a call."""
        raise NotImplementedError

    def silent_ms(self):
        """Return the milliseconds since the last edge, or since start() if there was no edge yet (int).

        After 12 days it stays at MS_MASK.
        """
        raise NotImplementedError


# What the loop costs on an RP2040 at 125 MHz, for the rule in PROTOCOL.md.  Estimates, to be compared with
# tests/bench/chip_load.py on an image.  An edge takes 1.0 to 1.3 us in machine code alone (emulation,
# tests/bench/cycles.py).  The rest was estimated by hand, with some reserve.
EDGE_NS = 1500  # ns for each edge
POLLS_PERMILLE = 200  # of the CPU, for looking at the ring, the link and the clock
INTERVAL_US = 2000  # us for each interval: to end it, to format its line and to send it
MOST_PERMILLE = 800  # of the CPU that may be used; the rest is for commands and garbage collections


def why_not(interval_ms, period_ticks, clock_hz, tick_cycles):
    """Return "" if a board can count with this interval, else the reason why not (str).  Parameters as in fits()."""
    known = "for this frequency" if period_ticks else "before the frequency is known"
    if not fits(interval_ms, period_ticks, clock_hz, tick_cycles):
        return "interval_ms %d is too long %s: its sums would not fit" % (interval_ms, known)
    if not keeps_up(interval_ms, period_ticks, clock_hz, tick_cycles):
        return "interval_ms %d is too short %s: the board could not keep up" % (interval_ms, known)
    return ""


def keeps_up(interval_ms, period_ticks, clock_hz, tick_cycles):
    """Return True if the loop has time for the edges and the records.  Parameters as in fits()."""
    hertz = clock_hz // tick_cycles // period_ticks if period_ticks else HIGHEST_HZ
    edges_permille = hertz * HEADROOM_NUM // HEADROOM_DEN * EDGE_NS // 1_000_000
    return edges_permille + POLLS_PERMILLE + INTERVAL_US // interval_ms <= MOST_PERMILLE


def fits(interval_ms, period_ticks, clock_hz, tick_cycles):
    """Return True if the sums of an interval fit into their fields: S below 2^32 and N below 2^16.

    interval_ms: length of the interval in ms; period_ticks: the present period in ticks, or 0 if it is unknown, and
    then HIGHEST_HZ is assumed; clock_hz, tick_cycles: as in Counter.

    S, the sum of (t - t_first) over n evenly spaced edges in an interval of T ticks, is n T / 2.
    """
    ticks = interval_ms * (clock_hz // tick_cycles) // 1000
    period = period_ticks or clock_hz // tick_cycles // HIGHEST_HZ
    n = ticks * HEADROOM_NUM // (HEADROOM_DEN * period) + 1
    return n < 65536 and n * ticks // 2 < 4294967296
