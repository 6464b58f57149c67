"""The filters of the statistic: for each width a few, each the best one against a noise of its own colour.

A filter looks at the means of up to seven boxes beside and around the middle of a pass.  Level and slope vanish: only
bends of neighbouring boxes count, each mean less the line through the two beside it.  Against bends with the
covariance C the best weights for a pass with the bends s are C^-1 s; scaled here so that a pass answers with its
height.
Runs under both interpreters; only while a tracker is made.
"""

# The edges of the boxes in widths from the middle of the pass; newer ones are positive.  Chosen on the tuning scenes of
# tests/bench/detection: seven boxes lose 0.5 dB less than three.
OLDER = (0.4, 0.8, 1.5, 2.4)
NEWER = (0.4, 0.8, 1.5, 2.2)
# The newer ones reach no farther than this, or one width: what comes later tells later.
LATEST_S = 0.28
# The shape of a pass: (1 + (t / w)^2)^-3, w its width over this (the detector study).
SHAPE = 1.02
LEAST_READINGS = 2.0  # a pass shorter than that is taken for one of that
# The colours: (walk, bend), the structure functions walk |t| + bend |t|^3, t in s.  The first is an oscillator's slow
# wander, the last ground under a swaying coil, which is smooth.  Chosen on the same scenes; which of them is used is
# decided all the time by which is the quietest.
COLOURS = ((1.0, 0.0), (0.3, -3.0), (0.3, -30.0))


def edges_of(f, interval_s):
    """Edges of the boxes for a width of `f` readings, rising whole readings from the middle of the pass."""
    latest = LATEST_S / interval_s
    if latest < f:
        latest = f
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


def _integral(a, b, c, d, power):
    """Twice integrated |x - y|^(power - 2) over a..b and c..d, but for a constant: whole numbers, exact."""
    return abs(b - c) ** power - abs(b - d) ** power - abs(a - c) ** power + abs(a - d) ** power


def _box_covariance(edges, walk, bend, interval_s):
    """Of the box means, but for what level and slope add; edges in readings."""
    n = len(edges) - 1
    k3 = -walk * interval_s / 6.0
    k5 = -bend * interval_s * interval_s * interval_s / 20.0
    rows = []
    for i in range(n):
        a = edges[i]
        b = edges[i + 1]
        row = []
        for j in range(n):
            c = edges[j]
            d = edges[j + 1]
            under = (b - a) * (d - c)
            row.append((k3 * _integral(a, b, c, d, 3) + k5 * _integral(a, b, c, d, 5)) / under)
        rows.append(row)
    return rows


def _bends(edges):
    """Weights that make the bends from the box means: each box less the line through its two neighbours."""
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


def _solve(matrix, vector):
    """x with matrix x = vector; the matrix is positive definite.  Gauss, in place."""
    n = len(vector)
    for i in range(n):
        for k in range(i + 1, n):
            factor = matrix[k][i] / matrix[i][i]
            for j in range(i, n):
                matrix[k][j] -= factor * matrix[i][j]
            vector[k] -= factor * vector[i]
    for i in range(n - 1, -1, -1):
        for j in range(i + 1, n):
            vector[i] -= matrix[i][j] * vector[j]
        vector[i] /= matrix[i][i]
    return vector


def _dot(x, y):
    return sum([x[i] * y[i] for i in range(len(x))])


def weights(edges, f, colour, interval_s):
    """Weights of the box means; a pass of `f` readings at half its height 1 answers with 1."""
    n = len(edges) - 1
    scale = SHAPE / f
    shape = []
    for i in range(n):
        total = 0.0
        for k in range(edges[i], edges[i + 1]):
            t = (k + 0.5) * scale
            u = 1.0 + t * t
            total += 1.0 / (u * u * u)
        shape.append(total / (edges[i + 1] - edges[i]))
    bends = _bends(edges)
    covariance = _box_covariance(edges, colour[0], colour[1], interval_s)
    s = [_dot(row, shape) for row in bends]
    half = [[_dot(row, column) for column in covariance] for row in bends]
    h = _solve([[_dot(left, row) for row in bends] for left in half], list(s))
    gain = _dot(h, s)
    return [sum([h[j] * bends[j][i] for j in range(n - 2)]) / gain for i in range(n)]


def taps(f, interval_s):
    """(lags, gains of each colour, readings from now back to the middle of the pass).

    An answer is the sum of gain * (the cumulative sum of y now, less what it was `lag` readings ago).
    """
    if f < LEAST_READINGS:
        f = LEAST_READINGS
    edges = edges_of(f, interval_s)
    newest = edges[len(edges) - 1]
    lags = [newest - edge for edge in edges]  # falling, the last is 0
    gains = []
    for colour in COLOURS:
        w = weights(edges, f, colour, interval_s)
        out = []
        for i in range(len(edges) - 1):
            each = w[i] / (edges[i + 1] - edges[i])
            before = w[i - 1] / (edges[i] - edges[i - 1]) if i else 0.0
            out.append(each - before)
        gains.append(tuple(out))
    return tuple(lags[: len(lags) - 1]), tuple(gains), newest
