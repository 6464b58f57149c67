"""The noise that a new tracker assumes before it has heard the soil: three colours of noise, or a noise profile.

Runs under both interpreters.  Used only while a tracker is made.
"""

from math import cos, pi, sin

from .filters import at_edges, cholesky, dot, forward

# The colours: (walk, bend) of the structure function walk |t| + bend |t|^3, t in s.  The first is an oscillator's slow
# wander.  The last is soil under a swaying coil, which is smooth.  Chosen on the tuning scenes of
# tests/bench/detection.
COLOURS = ((1.0, 0.0), (0.3, -3.0), (0.3, -30.0))

# A noise profile has its density in bands of a third of an octave, the lowest around 0.1 Hz.  Each band is sampled at
# SAMPLES frequencies.
LOWEST_HZ = 0.1
BANDS_A_DECADE = 10
SAMPLES = 8


def prior(edges, bends, shape, noise_ppm_rthz, interval_s):
    """Return the covariance of the bends before anything was learned, as the rows of its lower triangle.

    shape: bends of a pass of height 1.  With a noise profile it is the covariance of that profile, in 1e-18 (ppb
    squared).  Without, it is the sum of those of the colours, each scaled so that its own filter has a sigma of 1.
    """
    m = len(bends)
    if noise_ppm_rthz:
        rows = [at_edges(edges, row) for row in bends]
        full = profile_covariance(edges, rows, noise_ppm_rthz, interval_s)
        return [full[i][: i + 1] for i in range(m)]
    total = [[0.0] * (i + 1) for i in range(m)]
    for colour in COLOURS:
        full = _colour_covariance(edges, bends, colour, interval_s)
        lower = [full[i][: i + 1] for i in range(m)]
        root = cholesky(lower)
        weight = forward(root, shape, [0.0] * m)  # s' C^-1 s
        for i in range(m):
            for j in range(i + 1):
                total[i][j] += weight * lower[i][j]
    return total


def profile_covariance(edges, rows, noise_ppm_rthz, interval_s):
    """Return the covariance, in 1e-18, of the sums of gain * (the cumulative sum at each edge).

    rows: for each of these sums its gains at the edges.  They add up to 0.
    noise_ppm_rthz: noise of the readings, one-sided, in ppm per root hertz in each band.  Beyond the last band it stays
    the same.
    The sum of the readings before edge e answers the frequency w / interval with e^iwe / (e^iw - 1), apart from a term
    that is the same for all edges.
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
            real = [dot(row, real) for row in rows]
            imaginary = [dot(row, imaginary) for row in rows]
            for i in range(m):
                row = covariance[i]
                for j in range(m):
                    row[j] += power * (real[i] * real[j] + imaginary[i] * imaginary[j])
        low_hz *= ratio
        band += 1
    return covariance


def _integral(a, b, c, d, power):
    """Integrate |x - y|^(power - 2) over a..b and c..d, up to a factor.  Whole numbers, so it is exact."""
    return abs(b - c) ** power - abs(b - d) ** power - abs(a - c) ** power + abs(a - d) ** power


def _colour_covariance(edges, bends, colour, interval_s):
    """Return the covariance of the bends for the structure function walk |t| + bend |t|^3.  edges: in readings."""
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
    half = [[dot(row, column) for column in boxes] for row in bends]
    return [[dot(left, row) for row in bends] for left in half]
