"""Drives the loop of firmware/sums.py through a ring.  Runs under CPython and MicroPython."""

from array import array


def intervals(sums, ring, count, ticks, start, sizes, step):
    """Return [FIRST, N, T_FIRST, S, SHORTEST, LONGEST] of each interval in `count` words from number `start` on.

    sums: the module, or an object with the same names; ring: array of words; ticks: length of an interval; sizes: words
    in each call, in turn; step: ticks missed for each word.
    """
    state = array("I", [0] * sums.STATE)
    state[sums.NEXT] = start
    state[sums.OFFSET] = start * step & 0xFFFFFFFF
    state[sums.STEP] = step
    state[sums.TICKS] = ticks
    out = []
    left = count
    turn = 0
    while left:
        words = min(left, sizes[turn % len(sizes)])
        turn += 1
        left -= sums.add(0, 0, 0, ring, len(ring) - 1, state, words)
        if state[sums.CLOSED] or not left:
            out.append([state[k] for k in (sums.FIRST, sums.N, sums.T_FIRST, sums.S, sums.SHORTEST, sums.LONGEST)])
            state[sums.N] = 0
    return out
