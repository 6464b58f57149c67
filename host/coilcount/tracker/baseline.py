"""The slow baseline: what y would be with nothing there, from block means of a tenth of a second.

An alpha-beta tracker (level and slope) with clipped errors; told to hold, it stands on its line, which levels off.
Runs under both interpreters.
"""

# Errors beyond CLIP sigmas are clipped; where they stay on one side the clip doubles with every further block after
# STUBBORN, so that a step of the ground is followed in the end.  Chosen on simulated sweeps.
CLIP = 2.5
STUBBORN = 10
MEDIAN_OF_ABS = 0.6745
# Steps of the median tracker of |error|: some 5 s of blocks, and the quick start of the first 4 s.
ETA = 0.02
FIRST_ETA = 0.2
FIRST = 40
# While it stands on its line, the slope dies away in some 3 s: what it knows of a drift is worth little after that.
SLOPE_KEEP = 0.97


def follow(sigma, size, count, floor):
    """The robust scale after one more |value| `size`, the `count`-th: a median tracker, quick at first."""
    eta = FIRST_ETA if count < FIRST else ETA
    if size > MEDIAN_OF_ABS * sigma:
        return sigma * (1.0 + eta)
    sigma /= 1.0 + eta
    return sigma if sigma > floor else floor


class Baseline:
    """level and slope (1e-9, and 1e-9 a block or a reading); sigma: robust scale of a block against the line, 1e-9."""

    def __init__(self, blocks_tau, block, floor_ppb):
        self._block = block
        # No exp() here: two libraries may differ in its last digit, and both interpreters must agree to the last.
        theta = blocks_tau / (1.0 + blocks_tau)
        self._alpha = 1.0 - theta * theta
        self._beta = (1.0 - theta) * (1.0 - theta)
        self._floor = floor_ppb
        self.restart()

    def restart(self):
        self.count = 0
        self.level = 0.0
        self.slope = 0.0
        self.slope_a_reading = 0.0
        self.sigma = self._floor
        self._side = 0

    def block(self, mean, hold):
        """Takes a block mean in 1e-9; `hold` leaves it on its line, which levels off."""
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
        """Stand on another line from here on."""
        self.level = level
        self.slope = slope
        self.slope_a_reading = slope / self._block
        self._side = 0
