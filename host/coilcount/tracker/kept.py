"""Packs what a tracker learned into a flat tuple of numbers, and unpacks it into a new one.

The next session can start with it, and a replay starts with what its recording started with.

Layout: version, interval in us, number of widths, the widths in us, the ten counts of the noise's peaks
(NoiseCounts.state), then for each width what its filter learned, and for each width what its late filter learned.  What
one filter learned: its samples, the number of its bends, and the lower triangle of their covariance in 1e-18 by rows.
A late filter has two numbers more: samples and variance of the heights.
Runs under both interpreters.
"""

VERSION = 1
COUNTS = 10


def pack(interval_us, bank, judge, counts):
    """Return what a filter bank, its judge and the counts of the noise learned; () if that is nothing yet."""
    if not bank.learner(0).known:
        return ()
    out = [float(VERSION), float(interval_us), float(len(bank.widths_s))]
    out.extend([_us(width) for width in bank.widths_s])
    out.extend(counts.state())
    for width in range(len(bank.widths_s)):
        bank.learner(width).save(out)
    for width in range(len(bank.widths_s)):
        judge.save(width, out)
    return tuple(out)


def unpack(values, interval_us, bank, judge, counts):
    """Make a new filter bank, its judge and the counts of the noise start with what `values` says.

    Return False, and change nothing, if that was learned with another interval or other widths.
    Raises ValueError if it is no such tuple.
    """
    n = len(values)
    for value in values:
        if isinstance(value, bool) or not isinstance(value, (int, float)) or not -1e30 < value < 1e30:
            raise ValueError("what was learned must be numbers, not %r" % (value,))
    if n < 4 or values[0] != VERSION or not 1 <= values[2] <= 8 or n < 3 + values[2]:
        raise ValueError("what was learned is not of version %d" % VERSION)
    widths = [_us(width) for width in bank.widths_s]
    if values[1] != interval_us or list(values[3 : 3 + int(values[2])]) != widths:
        return False
    at = 3 + len(widths)
    counts.restore(values[at : at + COUNTS])
    at += COUNTS
    for width in range(len(widths)):
        at = bank.learner(width).load(values, at)
    for width in range(len(widths)):
        at = judge.load(width, values, at)
    if at != n:
        raise ValueError("what was learned has %d numbers, not %d" % (n, at))
    bank.restart()
    return True


def _us(seconds):
    return float(int(seconds * 1e6 + 0.5))
