"""The sums of an interval from the words of the edge ring: the loop that sees every edge.

All arithmetic is modulo 2^32 and holds in 32 bits, signed, which is what viper has on the chip; on a PC it has 64.
So only differences are compared, by one of their bits, and a store through ptr32 keeps the low 32 bits.
"""

# ruff: noqa: F821  (ptr32 is a type of the viper compiler)

import micropython
from micropython import const

# Places in the state, an array of 32-bit words.
AT = const(0)  # number of the next word, modulo 2^32
OFFSET = const(1)  # AT times STEP: the ticks that the counter in the PIO has missed
STEP = const(2)  # ticks that it misses for each word
TICKS = const(3)  # length of an interval, at most MAX_TICKS
LINKED = const(4)  # 1 where LAST is the edge just before word AT
LAST = const(5)  # timestamp of the last edge
N = const(6)  # edges in the open interval; while it is 0 the next five mean nothing
FIRST = const(7)  # number of its first word
T_FIRST = const(8)
S = const(9)
SHORTEST = const(10)  # NO_PERIOD where no period is known, and then LONGEST is 0
LONGEST = const(11)
CLOSED = const(12)  # 1: the interval ends before word AT
STATE = const(13)  # words of a state

# With at most so many words in a call, each less than MAX_TICKS after the first of its interval, the sum that a
# call adds stays below 2^31: 256 (2^23 - 1) < 2^31.
MAX_WORDS = const(256)
MAX_TICKS = const(0x7FFFFF)
# Periods are taken modulo 2^30 ticks (17 s); the caller knows of longer silences by its clock.
NO_PERIOD = const(0x3FFFFFFF)


@micropython.viper
def add(at: int, d: int, s: int, ring, mask: int, state, words: int) -> int:
    """Add up to `words` words (at most MAX_WORDS) to the open interval, from word AT on.

    ring: buffer of mask + 1 words of 32 bits, a power of two; state: as above.  Returns how many were taken.
    CLOSED becomes 1 where the next word lies TICKS or more after the first edge of the interval, or where S would
    pass 32 bits; then this call has taken nothing.  at, d and s: 0, they are the loop's own, and the first
    names of a viper function are the ones that live in registers.
    """
    w = ptr32(ring)
    z = ptr32(state)
    z[CLOSED] = 0
    if words == 0:
        return 0
    at = z[AT]
    end = at + words
    base = z[OFFSET]
    step = z[STEP]
    if z[N] == 0:
        d = base - w[at & mask]
        z[FIRST] = at
        z[T_FIRST] = d
        z[S] = 0
        z[SHORTEST] = 0x3FFFFFFF
        z[LONGEST] = 0
        if z[LINKED]:
            s = (d - z[LAST]) & 0x3FFFFFFF
            z[SHORTEST] = s
            z[LONGEST] = s
        z[LAST] = d
        at = at + 1
        base = base + step
    # From here on times are relative to the first edge of the interval.
    base = base - z[T_FIRST]
    last = z[LAST] - z[T_FIRST]
    top = z[TICKS] - 1
    shortest = z[SHORTEST]
    longest = z[LONGEST]
    low30 = 0x3FFFFFFF
    s = 0
    while end - at:
        d = base - w[at & mask]
        # d > top as numbers without a sign: the next edge may come more than half a turn of the timestamp later.
        if (((top - d) | d) >> 31) & 1:
            z[CLOSED] = 1
            break
        s = s + d
        period = (d - last) & low30
        last = d
        # Either is negative where the period lies outside, which is seldom: one test for both.
        if ((period - shortest) | (longest - period)) >> 31:
            if period < shortest:
                shortest = period
            if period > longest:
                longest = period
        at = at + 1
        base = base + step
    # A sum below 2^31 was added: it passed 2^32 if and only if bit 31 fell.
    d = z[S]
    s = d + s
    # (Not `~s`: in viper of MicroPython 1.28 that changes a local which lives in a register.)
    if ((d & (d ^ s)) >> 31) & 1:
        z[CLOSED] = 1
        return 0
    words = at - z[AT]
    z[N] = z[N] + words
    z[S] = s
    z[SHORTEST] = shortest
    z[LONGEST] = longest
    z[LAST] = last + z[T_FIRST]
    z[LINKED] = 1
    z[OFFSET] = base + z[T_FIRST]
    z[AT] = at
    return words


@micropython.viper
def median_period(ring, mask: int, last: int, stride: int, count: int, step: int, sorted_) -> int:
    """Median, in ticks, of `count` periods (odd): those that end at word `last`, last - stride, and so on back.

    sorted_: buffer of `count` words to work in.
    """
    w = ptr32(ring)
    out = ptr32(sorted_)
    i = 0
    while i < count:
        period = (w[(last - 1) & mask] - w[last & mask] + step) & 0x3FFFFFFF
        j = i
        while j > 0:
            if out[j - 1] <= period:
                break
            out[j] = out[j - 1]
            j -= 1
        out[j] = period
        last = last - stride
        i += 1
    return out[count >> 1]
