"""Learns how the soil scatters while the coil sweeps: the running covariance of the bends of one width, and the matched
filter against it.

The method, and the figures without a source of their own, are from a simulation study on the tuning scenes of
tests/bench/detection.  SAMPLE_S, ROUGHER, MOST_SIZE and FEW were chosen on these scenes with the present code: parts
detect and change.
Runs under both interpreters.
"""

from .filters import backward, bends_of, cholesky, dot, forward, pass_means
from .priors import prior

# Seconds between two samples of a covariance.  A sample every 0.1 s finds no more passes.
SAMPLE_S = 0.2
# Seconds.  Older samples fade from the covariance with this time constant.
MEMORY_S = 180.0
# Samples that the prior counts for, and most samples that count against it: a second, and three minutes.
PRIOR_SAMPLES = 5.0
MOST_SAMPLES = 900
# A noise profile, or a covariance that was kept, counts as this many samples: a minute.
KNOWN_SAMPLES = 300
# v.v of a sample v in units of its sigma.  For Gaussian noise its lower quartile is this much for each bend: that of
# chi-squared with 5, 6 and 7 degrees of freedom, .535, .576 and .608 for each.
QUARTILE = 0.57
# Factors by which the running lower quartile moves up and down at each sample: nearly one to three in logarithm, so
# that it rests near a quartile.
QUARTILE_UP = 1.0337
QUARTILE_DOWN = 1.1025
# The soil has changed if the quartile is more than ROUGHER times what is expected, or less than 1 / CALMER of it.
ROUGHER = 5.0
CALMER = 9.0
# The quartile is at most this many times what is expected while the statistic comes to rest now and then: what is
# larger is objects, one after the other.  Source: tuning scenes of tests/bench/detection with an object each second
# (junk), one false alarm a minute.  With 1.2, 1.4, 2.0 and 5.0 they gave .659, .674, .648 and .632 of the passes.
CALM_QUARTILE = 1.4
# After a change the covariance counts as this many samples, so that it is soon that of the new soil.  Tuning scenes of
# tests/bench/detection, bench to mineral soil: with 10, 5 and 3 there are 20.5, 17.9 and 17.4 false alarms in the first
# minute.
CHANGED_SAMPLES = 3
# Samples after a change in which no further change is seen (5 s), and the last of them, in which objects are left out
# again.
CHANGE_SAMPLES = 25
SELECT_SAMPLES = 20
# A sample whose v.v is more than this many times the quartile is an object and is left out.
OBJECT = 7.0
# In the first second after a change all samples count, because the soil looks like an object.  A sample counts at most
# as if its v.v were this many times what is expected, because it may be an object after all.
MOST_SIZE = 150.0
# An estimate from few samples is too small: the scale is sigma * (1 + FEW / (samples + 1)).  With 1.5 there were 1.3
# false alarms at 4.8 sigma in the first minute, with 4 there is 1.0, and as many passes are found.
FEW = 4.0


class Learner:
    """The covariance of the bends of one width, and its filter.

    lags, gains: of the filter, as Ring.weighted() wants them; pairs: the same, as (lag, gain); edges: pairs, and the
    newest edge with a gain of 0.
    sigma: of its answer to the noise, in 1e-9.
    samples: how many the covariance has.  known: it was learned, and is no bare prior.
    newest: readings from the middle of the pass on to the newest edge.
    prior_sigma: sigma by the noise profile; 0.0 without one.
    """

    def __init__(self, edges, f, interval_s, floor_ppb, noise_ppm_rthz=()):
        """edges: of the boxes in readings from the middle of the pass, rising.  f: the width in readings."""
        bends = bends_of(edges)
        self._shape = [dot(row, pass_means(edges, f)) for row in bends]
        newest = self.newest = edges[len(edges) - 1]
        self.lags = tuple([newest - edge for edge in edges[: len(edges) - 1]])  # falling
        self._floor = floor_ppb
        m = self._m = len(bends)
        # Box means to bends: the shares of the two neighbours.
        self._left = [-bends[j][j] for j in range(m)]
        self._right = [-bends[j][j + 2] for j in range(m)]
        self._later = self.lags[1:] + (0,)
        # One over the size of each box.  The first two are at the end, where the indices -2 and -1 find them.
        self._sizes = [edges[i + 1] - edges[i] for i in range(m + 2)]
        each = [1.0 / size for size in self._sizes]
        self._each = each[2:] + each[:2]
        self._expected = QUARTILE * m
        self._prior = prior(edges, bends, self._shape, noise_ppm_rthz, interval_s)
        self._covariance = [list(row) for row in self._prior]
        self._lower = None
        self._x = [0.0] * m
        self._v = [0.0] * m
        self.gains = (0.0,) * len(self.lags)
        self.pairs = self.edges = ()
        self.sigma = 1.0
        self._least_share = SAMPLE_S / MEMORY_S
        self.prior_sigma = 0.0
        self.restart()
        if noise_ppm_rthz:
            self.samples = KNOWN_SAMPLES
            self.known = True
            self.solve()
            self.prior_sigma = self.sigma

    def restart(self):
        """Forget the soil: back to the prior."""
        self.samples = 0
        self.known = False
        self._since = 0
        self._ratio = 1.0
        self._quartile = self._expected
        self._sum = 0.0
        self._count = 0
        self._lower = None
        self._covariance = [list(row) for row in self._prior]
        self._find_filter(self._prior)

    def hear(self, ring):
        """Take the answer of the prior's filter to the latest readings: one step of the first seconds."""
        a = ring.weighted(self.lags, self.gains, 0)
        self._sum += a if a >= 0.0 else -a
        self._count += 1

    def begin(self):
        """End the first seconds: the covariance is the prior, as large as what was heard."""
        heard = 1.2533 * self._sum / max(1, self._count)  # a Gaussian's sigma is 1.2533 times its mean size
        if heard < self._floor:
            heard = self._floor
        self._ratio = heard / self.sigma
        self._begin()

    def begin_like(self, other):
        """Begin with a noise that is as many times the prior's as that of another learner was at its begin."""
        self._ratio = other._ratio
        self._begin()

    def _begin(self):
        ratio = self._ratio * self._ratio
        for row in self._covariance:
            for j in range(len(row)):
                row[j] *= ratio
        self.known = True
        self.solve()

    def step(self, ring, loud, restless):
        """Take the latest bends as a sample.  loud: an object is near, or was just now.

        restless: the statistic has not come to rest for seconds, so the soil may have become rougher.

        Return True if the soil has changed, so that the filter is a new one.
        """
        m = self._m
        self._measure(ring)
        x = self._x
        size = forward(self._lower, x, self._v)
        expected = self._expected
        quartile = self._quartile
        if size > quartile:
            quartile *= QUARTILE_UP
        else:
            quartile /= QUARTILE_DOWN
            least = 0.1 * expected
            if self.sigma <= self._floor:
                least = expected
            if quartile < least:
                quartile = least
        changed = False
        if self._since > 0:
            self._since -= 1
        elif quartile > CALM_QUARTILE * expected and not restless:
            quartile = CALM_QUARTILE * expected
        elif quartile > ROUGHER * expected or (quartile < expected / CALMER and self.sigma > self._floor):
            ratio = quartile / expected
            self._scale(ratio)
            size /= ratio
            quartile = expected
            self._since = CHANGE_SAMPLES
            changed = True
        self._quartile = quartile
        if self._since <= SELECT_SAMPLES and (loud or size > OBJECT * quartile):
            if changed:
                self.solve()
            return changed
        self.samples += 1
        share = 1.0 / self.samples
        if share < self._least_share:
            share = self._least_share
        weight = 1.0
        if size > MOST_SIZE * expected:
            weight = MOST_SIZE * expected / size
        covariance = self._covariance
        for i in range(m):
            row = covariance[i]
            xi = weight * x[i]
            for j in range(i + 1):
                before = row[j]
                row[j] = before + share * (xi * x[j] - before)
        if changed:
            self.solve()
        return changed

    def solve(self):
        """Make the filter that is the best against what was learned so far."""
        m = self._m
        covariance = self._covariance
        prior = self._prior
        share = PRIOR_SAMPLES / (PRIOR_SAMPLES + min(self.samples, MOST_SAMPLES))
        ratio = 0.0
        for i in range(m):
            ratio += covariance[i][i] / prior[i][i]
        ratio *= share / m
        rest = 1.0 - share
        mixed = []
        for i in range(m):
            mixed.append([rest * learned + ratio * other for learned, other in zip(covariance[i], prior[i])])
        self._find_filter(mixed)

    def save(self, out):
        """Append what was learned to the list `out`: samples, number of bends, lower triangle of the covariance."""
        out.append(float(self.samples))
        out.append(float(self._m))
        for row in self._covariance:
            out.extend(row)

    def load(self, values, at):
        """Take what save() appended, from position `at` on, and return the position after it.

        Raises ValueError if it does not belong to this filter.
        """
        m = self._m
        after = at + 2 + m * (m + 1) // 2
        if after > len(values) or values[at + 1] != m or not 0 <= values[at] < 1e9:
            raise ValueError("what was learned does not have %d bends at position %d" % (m, at))
        rows = []
        position = at + 2
        for i in range(m):
            rows.append([float(value) for value in values[position : position + i + 1]])
            position += i + 1
        if cholesky(rows) is None:
            raise ValueError("what was learned is not a covariance at position %d" % at)
        self._covariance = rows
        self.samples = min(int(values[at]), KNOWN_SAMPLES)
        self.known = True
        self.solve()
        return after

    def _scale(self, ratio):
        for row in self._covariance:
            for j in range(len(row)):
                row[j] *= ratio
        if self.samples > CHANGED_SAMPLES:
            self.samples = CHANGED_SAMPLES

    def _measure(self, ring):
        """Put the latest bends into the list _x."""
        sums = ring.sums
        at = ring.at
        each = self._each
        x = self._x
        left = self._left
        right = self._right
        older = sums[at - self.lags[0]]  # a negative position counts from the end of the ring, as it should
        second = first = 0.0
        j = -2
        for lag in self._later:
            newer = sums[at - lag]
            mean = (newer - older) * each[j]
            older = newer
            if j >= 0:
                x[j] = second - left[j] * first - right[j] * mean
            first = second
            second = mean
            j += 1

    def _find_filter(self, covariance):
        """Make the filter against a covariance.  It stays as it is if the covariance is not positive definite."""
        lower = cholesky(covariance)
        if lower is None:
            return
        m = self._m
        h = [0.0] * m
        answer = forward(lower, self._shape, h)  # s' C^-1 s
        backward(lower, h)
        sigma = answer**-0.5
        if self.known and sigma < self._floor:
            ratio = self._floor / sigma
            for row in lower:
                for j in range(len(row)):
                    row[j] *= ratio
            sigma = self._floor
        self.sigma = sigma
        self._lower = lower
        left = self._left
        right = self._right
        weights = [0.0] * (m + 2)  # of the box means, times `answer`
        for j in range(m):
            weights[j] -= h[j] * left[j]
            weights[j + 1] += h[j]
            weights[j + 2] -= h[j] * right[j]
        sizes = self._sizes
        gains = []
        older = 0.0
        for i in range(m + 2):
            each = weights[i] / answer / sizes[i]
            gains.append(each - older)
            older = each
        self.gains = tuple(gains)
        self.pairs = tuple([(self.lags[i], gains[i]) for i in range(m + 2)])
        self.edges = self.pairs + ((0, 0.0),)
