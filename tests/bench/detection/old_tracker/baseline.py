"""The baseline: what y would be with no target, from the means of blocks of 0.1 s.

An alpha-beta tracker follows level and slope.  Errors are clipped, so that a pass moves it little.  While it is held it
goes on along its line, and the slope dies away.
Runs under both interpreters.
"""

# Sources: MEDIAN_OF_ABS is the normal distribution's.  The others were chosen by hand on simulated sweeps.

# Sigmas of a block.  An error beyond this is clipped.
CLIP = 2.5
# Blocks.  If the errors stay clipped on one side for longer than this, the clip doubles with every further block.  So
# a step of the soil is followed in the end.
STUBBORN = 10
# Median of |x| of a normal distribution, in sigma.
MEDIAN_OF_ABS = 0.6745
# Steps of the running median of |x|, as a share of the sigma.  With the first it forgets in about 5 s of blocks.  The
# second is for the first 4 s after a start.
ETA = 0.02
FIRST_ETA = 0.2
# Blocks: these 4 s.
FIRST = 40
# Share of the slope that is kept from block to block while the baseline is held.  It dies away in about 3 s: after that
# little is known of a drift.
SLOPE_KEEP = 0.97


def follow(sigma, size, count, floor):
    """Return the robust sigma after one more value: a running median, quick at first.

    sigma: the sigma so far.  size: |value|.  count: number of values, this one included.  floor: the least sigma.
    """
    eta = FIRST_ETA if count < FIRST else ETA
    if size > MEDIAN_OF_ABS * sigma:
        return sigma * (1.0 + eta)
    sigma /= 1.0 + eta
    return sigma if sigma > floor else floor


class Baseline:
    """Level and slope of the baseline.

    level: at the end of the latest block, 1e-9.  slope: 1e-9 a block.  slope_a_reading: 1e-9 a reading.
    sigma: robust sigma of a block around the baseline, 1e-9.  count: blocks since the start.
    """

    def __init__(self, blocks_tau, block, floor_ppb):
        """blocks_tau: time constant in blocks.  block: readings in a block.  floor_ppb: the least sigma."""
        self._block = block
        # No exp() here: two libraries may differ in its last digit, and both interpreters must agree to the last digit.
        theta = blocks_tau / (1.0 + blocks_tau)
        # Both poles of the filter are at theta, so that it settles without overshoot of its own.
        self._alpha = 1.0 - theta * theta
        self._beta = (1.0 - theta) * (1.0 - theta)
        self._floor = floor_ppb
        self.restart()

    def restart(self):
        """Forget everything: the next block gives a new level."""
        self.count = 0
        self.level = 0.0
        self.slope = 0.0
        self.slope_a_reading = 0.0
        self.sigma = self._floor
        self._side = 0  # blocks in a row that were clipped, negative below the baseline

    def block(self, mean, hold):
        """Take the mean of a block in 1e-9.  If `hold`, go on along the line, whose slope dies away."""
        count = self.count = self.count + 1
        if count == 1:
            self.level = mean
            return
        self.level += self.slope
        if hold:
            self.slope *= SLOPE_KEEP
            self.slope_a_reading = self.slope / self._block
            return
        error = mean - self.level
        size = error if error >= 0.0 else -error
        self.sigma = follow(self.sigma, size, count, self._floor)
        # At first the level is the plain mean.
        alpha = 1.0 / count
        if alpha < self._alpha:
            alpha = self._alpha
        if count > STUBBORN:
            clip = CLIP * self.sigma
            side = self._side
            if size <= clip:
                self._side = 0
            else:
                side = self._side = (side + 1 if side >= 0 else 1) if error > 0.0 else (side - 1 if side <= 0 else -1)
                over = (side if side > 0 else -side) - STUBBORN
                while over > 0 and clip < size:
                    clip *= 2.0
                    over -= 1
                if size > clip:
                    error = clip if error > 0.0 else -clip
            self.slope += self._beta * error
            self.slope_a_reading = self.slope / self._block
        self.level += alpha * error

    def line(self, level, slope):
        """Go on from another level (1e-9) with another slope (1e-9 a block)."""
        self.level = level
        self.slope = slope
        self.slope_a_reading = slope / self._block
        self._side = 0
