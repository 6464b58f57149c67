"""The shape of the filters: the boxes of each width, their bends, and a filter against a covariance of the bends.

A filter looks at the means of up to eight boxes beside and around the middle of a pass.  Level and slope must not
count.  So each filter sees only the *bends*: the mean of a box less the line through the means of the two boxes beside
it.  Against noise whose bends have the covariance C, the best weights for a pass with the bends s are C^-1 s (the
matched filter).  They are scaled so that the filter answers a pass with its height.
Runs under both interpreters.
"""

# Edges of the boxes, in widths from the middle of the pass.  NEWER are later than the middle.  Chosen on the tuning
# scenes of tests/bench/detection (simulation): eight boxes find .92 to .93 of what the bound does, three .76.
OLDER = (0.4, 0.8, 1.5, 2.4, 3.5)
NEWER = (0.35, 0.7, 1.2, 1.9)
# The newest edge is at most this many seconds, or this many widths, after the middle, because a filter that waits
# longer raises its alert later.  Chosen by hand for an alert within 0.3 s.
LATEST_S = 0.28
LATEST_WIDTHS = 1.0
# The shape of a pass is (1 + (t / w)^2)^-3 with w = width / SHAPE.  It has half its height at t = width / 2.
SHAPE = 1.02
LEAST_READINGS = 2.0  # a pass shorter than this is treated as one of this length


def early_edges(f, interval_s):
    """Return the edges of the boxes for a width of `f` readings: whole readings from the middle, in rising order."""
    latest = LATEST_S / interval_s
    if latest < LATEST_WIDTHS * f:
        latest = LATEST_WIDTHS * f
    out = []
    last = 0
    for x in OLDER:
        last = max(last + 1, int(x * f + 0.5))
        out.insert(0, -last)
    last = 0
    for x in NEWER:
        size = x * f
        if size > latest:
            size = latest
        size = int(size + 0.5)
        if size <= last:
            if len(out) > len(OLDER) + 1:
                break
            size = last + 1
        out.append(size)
        last = size
    return out


def late_edges(f):
    """Return the edges for a filter that looks as far on as back, with the edges of NEWER on either side."""
    out = [0]
    last = 0
    for x in NEWER:
        last = max(last + 1, int(x * f + 0.5))
        out.insert(0, -last)
        out.append(last)
    return out


def bends_of(edges):
    """Return the weights that make the bends from the box means: one row for each bend."""
    n = len(edges) - 1
    middles = [(edges[i] + edges[i + 1]) / 2 for i in range(n)]
    rows = []
    for j in range(n - 2):
        row = [0.0] * n
        share = (middles[j + 2] - middles[j + 1]) / (middles[j + 2] - middles[j])
        row[j] = -share
        row[j + 1] = 1.0
        row[j + 2] = share - 1.0
        rows.append(row)
    return rows


def pass_means(edges, f):
    """Return the box means of a pass of height 1 that is `f` readings wide at half its height."""
    scale = SHAPE / f
    out = []
    for i in range(len(edges) - 1):
        total = 0.0
        for k in range(edges[i], edges[i + 1]):
            t = (k + 0.5) * scale
            u = 1.0 + t * t
            total += 1.0 / (u * u * u)
        out.append(total / (edges[i + 1] - edges[i]))
    return out


def at_edges(edges, weights):
    """Return the gains of the cumulative sums at the edges, for weights of the box means between them."""
    n = len(edges) - 1
    out = [0.0] * (n + 1)
    for i in range(n):
        each = weights[i] / (edges[i + 1] - edges[i])
        out[i] -= each
        out[i + 1] += each
    return out


def dot(x, y):
    """Return the sum of the products of two lists."""
    total = 0.0
    for i in range(len(x)):
        total += x[i] * y[i]
    return total


def cholesky(matrix):
    """Return the lower triangle L with matrix = L L', as a list of rows; None if the matrix is not positive definite.

    matrix: a symmetric matrix as the list of the rows of its lower triangle.
    """
    out = []
    for i in range(len(matrix)):
        row = list(matrix[i])
        for j in range(i):
            other = out[j]
            total = row[j]
            for k in range(j):
                total -= row[k] * other[k]
            row[j] = total / other[j]
        total = row[i]
        for k in range(i):
            total -= row[k] * row[k]
        if not total > 0.0:
            return None
        row[i] = total**0.5
        out.append(row)
    return out


def forward(lower, x, out):
    """Put the solution v of L v = x into the list `out`, and return v.v."""
    size = 0.0
    for i in range(len(lower)):
        row = lower[i]
        total = x[i]
        for j in range(i):
            total -= row[j] * out[j]
        total /= row[i]
        out[i] = total
        size += total * total
    return size


def backward(lower, x):
    """Solve L' h = x in place, in the list x."""
    for i in range(len(lower) - 1, -1, -1):
        total = x[i] / lower[i][i]
        x[i] = total
        row = lower[i]
        for j in range(i):
            x[j] -= row[j] * total
