"""The sums of an interval from the words of the edge ring.  This is the loop that handles every edge.

All arithmetic is modulo 2^32.  Viper has signed integers of 32 bits on the chip and of 64 bits on a PC, and the code
must work with both.  So it compares only differences, by one of their bits.  A store through ptr32 keeps the low 32
bits.
"""

# ruff: noqa: F821  (ptr32 is a type of the viper compiler)

import micropython
from micropython import const

# Indices in the state, an array of 32-bit words.  Times and periods are in ticks.
NEXT = const(0)  # number of the next word, modulo 2^32
OFFSET = const(1)  # NEXT times STEP: the ticks that X of the PIO program has missed until then
STEP = const(2)  # ticks that X misses for each word (see pio_program)
TICKS = const(3)  # length of an interval, at most MAX_TICKS
LINKED = const(4)  # 1 if LAST is the edge just before word NEXT, else 0
LAST = const(5)  # timestamp of the last edge
N = const(6)  # edges in the open interval; while it is 0 the next five values are not valid
FIRST = const(7)  # number of the interval's first word
T_FIRST = const(8)  # timestamp of its first edge
S = const(9)  # sum of (t - T_FIRST) over its edges
SHORTEST = const(10)  # its shortest period; NO_PERIOD if none is known, and then LONGEST is 0
LONGEST = const(11)  # its longest period
CLOSED = const(12)  # 1 if the interval ends before word NEXT, else 0
STATE = const(13)  # length of the state in words

# Limits that keep the sum which one call of add() adds below 2^31, because 256 (2^23 - 1) < 2^31.
MAX_WORDS = const(256)  # words in one call
MAX_TICKS = const(0x7FFFFF)  # ticks from the first edge of an interval to any other of it
# Periods are taken modulo 2^30 ticks (17 s at 125 MHz).  The caller detects longer silences by its clock.
NO_PERIOD = const(0x3FFFFFFF)


@micropython.viper
def add(number: int, d: int, s: int, ring, mask: int, state, words: int) -> int:
    """Add words of the ring to the open interval, starting at word NEXT.  Return how many were added (int).

    number, d, s: must be 0.  They are variables of the loop.  They are parameters because viper keeps the first
    parameters of a function in registers.
    ring: buffer of mask + 1 words of 32 bits, where mask + 1 is a power of two; state: an array with the indices above;
    words: how many to add, at most MAX_WORDS.

    CLOSED becomes 1 if the next word is TICKS or more after the first edge of the interval.  It also becomes 1 if S
    would pass 32 bits; then this call adds nothing.

    d is the time of an edge in ticks after the interval's first edge, and s is the sum of these times.
    """
    ring_words = ptr32(ring)
    fields = ptr32(state)
    fields[CLOSED] = 0
    if words == 0:
        return 0
    number = fields[NEXT]
    end = number + words
    base = fields[OFFSET]
    step = fields[STEP]
    if fields[N] == 0:
        d = base - ring_words[number & mask]
        fields[FIRST] = number
        fields[T_FIRST] = d
        fields[S] = 0
        fields[SHORTEST] = 0x3FFFFFFF
        fields[LONGEST] = 0
        if fields[LINKED]:
            s = (d - fields[LAST]) & 0x3FFFFFFF
            fields[SHORTEST] = s
            fields[LONGEST] = s
        fields[LAST] = d
        number = number + 1
        base = base + step
    # From here on times are relative to the first edge of the interval.
    base = base - fields[T_FIRST]
    last = fields[LAST] - fields[T_FIRST]
    top = fields[TICKS] - 1
    shortest = fields[SHORTEST]
    longest = fields[LONGEST]
    low30 = 0x3FFFFFFF
    s = 0
    while end - number:
        d = base - ring_words[number & mask]
        # This is d > top for unsigned numbers.  The next edge may come more than 2^31 ticks after the first.
        if (((top - d) | d) >> 31) & 1:
            fields[CLOSED] = 1
            break
        s = s + d
        period = (d - last) & low30
        last = d
        # One of the two is negative if the period is a new extreme.  That is rare, so one test covers both.
        if ((period - shortest) | (longest - period)) >> 31:
            if period < shortest:
                shortest = period
            if period > longest:
                longest = period
        number = number + 1
        base = base + step
    # The number added is below 2^31, so S passed 2^32 if and only if bit 31 went from 1 to 0.
    d = fields[S]
    s = d + s
    # `~s` is avoided: viper of MicroPython 1.28 then changes s itself if it is kept in a register.
    if ((d & (d ^ s)) >> 31) & 1:
        fields[CLOSED] = 1
        return 0
    words = number - fields[NEXT]
    fields[N] = fields[N] + words
    fields[S] = s
    fields[SHORTEST] = shortest
    fields[LONGEST] = longest
    fields[LAST] = last + fields[T_FIRST]
    fields[LINKED] = 1
    fields[OFFSET] = base + fields[T_FIRST]
    fields[NEXT] = number
    return words


@micropython.viper
def median_period(ring, mask: int, last: int, stride: int, count: int, step: int, sorted_) -> int:
    """Return the median of `count` periods in ticks (int).

    ring, mask: as in add(); last: number of the word at which the newest period ends; stride: words from one period to
    the next older one; count: an odd number; step: ticks that X misses for each word; sorted_: buffer of `count` words
    for the periods, which are sorted by insertion.
    """
    ring_words = ptr32(ring)
    out = ptr32(sorted_)
    i = 0
    while i < count:
        period = (ring_words[(last - 1) & mask] - ring_words[last & mask] + step) & 0x3FFFFFFF
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


@micropython.viper
def position(state, mask: int) -> int:
    """Return NEXT & mask (int).  mask: below 2^30, so that the result is a small integer on a chip."""
    fields = ptr32(state)
    return fields[NEXT] & mask


@micropython.viper
def report(state, out):
    """Copy the sums of the open interval: number of its first edge, N, T_FIRST and S, to out[0] to out[3].

    The number of an edge is one less than that of its word, because word 0 is no edge.
    """
    fields = ptr32(state)
    target = ptr32(out)
    target[0] = fields[FIRST] - 1
    target[1] = fields[N]
    target[2] = fields[T_FIRST]
    target[3] = fields[S]
