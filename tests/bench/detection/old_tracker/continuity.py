"""Does a reading continue the one before?  The one rule for the time base, the tracker and everything else that asks.

Runs under both interpreters.  Whole numbers throughout.
"""

MASK_16 = 0xFFFF
MASK_32 = 0xFFFFFFFF
# Intervals.  Two intervals belong together if the second comes at most this many after the first: 2 s at 50 a second.
# Chosen by hand.  The tracker fills the missing ones with the mean, and over more than 2 s the coil may have seen
# something else.
MOST_STEPS = 100


def steps(before, now):
    """Return how many intervals `now` comes after `before`: 1 is the next one, 2 means that one was lost.

    Both begin with (sequence, first_edge, n, t_first, s) as they are on the wire.  0 if `now` does not continue
    `before`, because of one of these:

    - the sequence steps by 0 or by more than MOST_STEPS;
    - an interval has fewer than two edges;
    - the edges, or the time that they took, are more than an eighth off the pace of `before`;
    - neither the mean index nor the mean time has moved on.
    """
    step = (now[0] - before[0]) & MASK_16
    n_before = before[2]
    n = now[2]
    if not 0 < step <= MOST_STEPS or n < 2 or n_before < 2:
        return 0
    edges = (now[1] - before[1]) & MASK_32
    # Intervals end at whole edges, so each may have one edge more or less than the one before.
    if 8 * abs(edges - step * n_before) > edges + 8 * step:
        return 0
    # In `before` an edge took s / (n (n - 1) / 2) ticks.
    ticks = (now[3] - before[3]) & MASK_32
    expected = 2 * edges * before[4]
    if 8 * abs(ticks * n_before * (n_before - 1) - expected) > expected:
        return 0
    if 2 * edges + n <= n_before or (ticks * n + now[4]) * n_before <= before[4] * n:
        return 0
    return step


def readings_apart(before_us, now_us, interval_us):
    """Return how many readings `now_us` comes after `before_us`, at least 1, or 0 for more than MOST_STEPS.

    interval_us: time from reading to reading.
    """
    step = (2 * (now_us - before_us) + interval_us) // (2 * interval_us)
    if step > MOST_STEPS:
        return 0
    return step if step > 1 else 1
