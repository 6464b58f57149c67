"""What the boxes beside a pass show: has the answer of a width peaked, or does something come or leave?

Runs under both interpreters.
"""

# Chosen by hand on simulated sweeps.

# Answers of a width.  If the newer and the older box differ by more than this, it is no peak in the centre box but an
# object in an outer box, or a step.  (An object that fills one outer box alone gives 1.8 or 2.2.)
ARRIVAL_RATIO = 1.4
# Sigma of a step.  The soil itself steps by less than this all the time: nothing came and nothing left.
USUAL_STEP = 3.0


class Sides:
    """bank.sides(), computed once for each width and reading, however many thresholds ask for it."""

    def __init__(self, bank):
        self._bank = bank
        self._sides = [None] * len(bank.widths_s)
        self._counts = [-1] * len(bank.widths_s)  # the reading that each of them belongs to

    def forget(self):
        """The bank starts again, and counts its readings from 0."""
        for width in range(len(self._counts)):
            self._counts[width] = -1

    def of(self, width):
        """Return bank.sides(width) at the newest reading."""
        count = self._bank.count
        if self._counts[width] != count:
            self._counts[width] = count
            self._sides[width] = self._bank.sides(width)
        return self._sides[width]


class Looks:
    """How the newest answer of a width looks to the decisions at one threshold.  `width` is the number of a width."""

    def __init__(self, bank, sides, baseline, noise):
        """sides: a Sides of the bank.  noise: a lobes.StepNoise."""
        self._bank = bank
        self._sides = sides
        self._baseline = baseline
        self._noise = noise

    def step(self, width):
        """Return the mean of the newer box minus that of the older one, without the baseline's slope, in 1e-9."""
        right, left, _, apart = self._sides.of(width)
        return right - left - self._baseline.slope_a_reading * apart

    def has_peaked(self, width):
        """Return True if the answer of a width is a peak in its centre box."""
        right, left, answer, apart = self._sides.of(width)
        step = right - left - self._baseline.slope_a_reading * apart
        most = ARRIVAL_RATIO * (answer if answer >= 0.0 else -answer)
        usual = USUAL_STEP * self._noise.step[width]
        if most < usual:
            most = usual
        return -most <= step <= most and (answer > 0.0) == (self._bank.zs[width] > 0.0)

    def is_leaving(self, width):
        """Return True if the older box stands away from the baseline: something left, nothing came."""
        right, left, _, _ = self._sides.of(width)
        level = self._baseline.level
        return abs(left - level) > abs(right - level) + USUAL_STEP * self._noise.step[width]
