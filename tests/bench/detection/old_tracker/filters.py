"""The filters of the statistic: for each width the best one against the noise that was learned, or, where none was, a
few, each the best one against a noise of its own colour.

A filter looks at the means of up to eight boxes beside and around the middle of a pass.  Level and slope vanish: only
bends of neighbouring boxes count, each mean less the line through the two beside it.  Against bends with the
covariance C the best weights for a pass with the bends s are C^-1 s; scaled here so that a pass answers with its
height.
Runs under both interpreters; only while a tracker is made.
"""

from math import cos, pi, sin

# The edges of the boxes in widths from the middle of the pass; newer ones are positive.  Chosen on the tuning scenes of
# tests/bench/detection: eight boxes with a learned noise find .92 to .93 of what the bound does, three .76.
OLDER = (0.4, 0.8, 1.5, 2.4, 3.5)
NEWER = (0.35, 0.7, 1.2, 1.9)
# The newer ones reach no farther than this, or one width: what comes later tells later.
LATEST_S = 0.28
LATEST_WIDTHS = 1.0
# The shape of a pass: (1 + (t / w)^2)^-3, w its width over this (the detector study).
SHAPE = 1.02
LEAST_READINGS = 2.0  # a pass shorter than that is taken for one of that
# The colours: (walk, bend), the structure functions walk |t| + bend |t|^3, t in s.  The first is an oscillator's slow
# wander, the last ground under a swaying coil, which is smooth.  Chosen on the same scenes; which of them is used is
# decided all the time by which is the quietest.
COLOURS = ((1.0, 0.0), (0.3, -3.0), (0.3, -30.0))


# A learned noise: its density in bands of a third of an octave, the lowest around 0.1 Hz, each sampled at so many
# frequencies.
LOWEST_HZ = 0.1
BANDS_A_DECADE = 10
SAMPLES = 8


def edges_of(f, interval_s):
    """Edges of the boxes for a width of `f` readings, rising whole readings from the middle of the pass."""
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


def both_sides(f):
    """The same for a filter that looks as far on as back: the edges of NEWER on either side."""
    out = [0]
    last = 0
    for x in NEWER:
        last = max(last + 1, int(x * f + 0.5))
        out.insert(0, -last)
        out.append(last)
    return out


def _integral(a, b, c, d, power):
    """Twice integrated |x - y|^(power - 2) over a..b and c..d, but for a constant: whole numbers, exact."""
    return abs(b - c) ** power - abs(b - d) ** power - abs(a - c) ** power + abs(a - d) ** power


def _colour_covariance(edges, bends, colour, interval_s):
    """Of the bends, for a structure function walk |t| + bend |t|^3; edges in readings."""
    n = len(edges) - 1
    k3 = -colour[0] * interval_s / 6.0
    k5 = -colour[1] * interval_s * interval_s * interval_s / 20.0
    boxes = []
    for i in range(n):
        a = edges[i]
        b = edges[i + 1]
        row = []
        for j in range(n):
            c = edges[j]
            d = edges[j + 1]
            under = (b - a) * (d - c)
            row.append((k3 * _integral(a, b, c, d, 3) + k5 * _integral(a, b, c, d, 5)) / under)
        boxes.append(row)
    half = [[_dot(row, column) for column in boxes] for row in bends]
    return [[_dot(left, row) for row in bends] for left in half]


def learned_covariance(edges, rows, noise_ppm_rthz, interval_s):
    """Of sums of gain * (the cumulative sum at each edge), in 1e-18 (ppb squared), for readings whose noise has so much
    ppm per root hertz (one-sided) in each band; beyond the last band it stays as there.

    rows: gains at the edges, each with a sum of nothing.  The sum of the readings before edge e answers a frequency
    w / interval with e^iwe / (e^iw - 1), but for what is the same for all edges.
    """
    m = len(rows)
    covariance = [[0.0] * m for _ in range(m)]
    ratio = 10.0 ** (1.0 / BANDS_A_DECADE)
    low_hz = LOWEST_HZ / ratio**0.5
    nyquist_hz = 0.5 / interval_s
    band = 0
    while low_hz < nyquist_hz:
        density = 1000.0 * noise_ppm_rthz[min(band, len(noise_ppm_rthz) - 1)]
        high_hz = min(low_hz * ratio, nyquist_hz)
        step_hz = (high_hz - low_hz) / SAMPLES
        for k in range(SAMPLES):
            w = 2.0 * pi * (low_hz + (k + 0.5) * step_hz) * interval_s
            half = 2.0 * sin(0.5 * w)
            power = density * density * step_hz / (half * half)
            real = [cos(w * edge) for edge in edges]
            imaginary = [sin(w * edge) for edge in edges]
            real = [_dot(row, real) for row in rows]
            imaginary = [_dot(row, imaginary) for row in rows]
            for i in range(m):
                row = covariance[i]
                for j in range(m):
                    row[j] += power * (real[i] * real[j] + imaginary[i] * imaginary[j])
        low_hz *= ratio
        band += 1
    return covariance


def at_edges(edges, weights):
    """Gains of the cumulative sums at the edges, for weights of the box means between them."""
    n = len(edges) - 1
    out = [0.0] * (n + 1)
    for i in range(n):
        each = weights[i] / (edges[i + 1] - edges[i])
        out[i] -= each
        out[i + 1] += each
    return out


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


def _shape(edges, f):
    """Box means of a pass of height 1, `f` readings at half its height."""
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


def _best(edges, bends, shape, covariance):
    """Gains of what the cumulative sum has grown by since each edge but the newest, and the standard deviation of an
    answer to noise of that covariance.
    """
    n = len(edges) - 1
    s = [_dot(row, shape) for row in bends]
    h = _solve(covariance, list(s))
    answer = _dot(h, s)
    weights = [sum([h[j] * bends[j][i] for j in range(n - 2)]) / answer for i in range(n)]
    return tuple([-gain for gain in at_edges(edges, weights)[:n]]), answer**-0.5


def taps(f, interval_s, noise_ppm_rthz=(), late=False):
    """(lags, gains of each filter, readings from now back to the middle of the pass, sigma) for `f` readings of width.

    An answer is the sum of gain * (the cumulative sum of y now, less what it was `lag` readings ago).  Without a
    learned noise a filter for each of COLOURS, and sigma 0.0; else one, and sigma of its answer in 1e-9.
    late: the filter looks as far on as it looks back.
    """
    if f < LEAST_READINGS:
        f = LEAST_READINGS
    edges = both_sides(f) if late else edges_of(f, interval_s)
    newest = edges[len(edges) - 1]
    lags = tuple([newest - edge for edge in edges[: len(edges) - 1]])  # falling
    bends = _bends(edges)
    shape = _shape(edges, f)
    if noise_ppm_rthz:
        covariance = learned_covariance(edges, [at_edges(edges, row) for row in bends], noise_ppm_rthz, interval_s)
        gains, sigma = _best(edges, bends, shape, covariance)
        return lags, (gains,), newest, sigma
    each = [_best(edges, bends, shape, _colour_covariance(edges, bends, colour, interval_s))[0] for colour in COLOURS]
    return lags, tuple(each), newest, 0.0
