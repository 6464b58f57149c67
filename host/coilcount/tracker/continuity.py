"""Does this reading continue the one before?  The one rule, for the time base, the tracker and all that ask them.

Runs under both interpreters; whole numbers throughout.
"""

MASK_16 = 0xFFFF
MASK_32 = 0xFFFFFFFF
# Up to so many intervals may be missing between two that still belong together (2 s at 50 a second).  Chosen by hand:
# the tracker fills what is missing with the mean, and over 2 s that is no longer what the coil did.
MOST_STEPS = 100


def steps(before, now):
    """How many intervals after `before` the interval `now` is: 1 is the next one, 2 says that one was lost, and so on.

    Both begin with (sequence, first_edge, n, t_first, s) as they are on the wire.  0 where `now` does not continue
    `before`: the sequence steps by 0 or by more than MOST_STEPS, or the edges that were counted, or the time that they
    took, are more than an eighth off the pace of `before`, or neither mean index nor mean time has moved on.
    """
    step = (now[0] - before[0]) & MASK_16
    n_before = before[2]
    n = now[2]
    if not 0 < step <= MOST_STEPS or n < 2 or n_before < 2:
        return 0
    edges = (now[1] - before[1]) & MASK_32
    # Intervals end at whole edges, so that each may have one more or less than the one before.
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
    """How many places `now_us` is after `before_us` for readings interval_us apart: at least 1; 0 for too many."""
    step = (2 * (now_us - before_us) + interval_us) // (2 * interval_us)
    if step > MOST_STEPS:
        return 0
    return step if step > 1 else 1
