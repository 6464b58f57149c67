"""The second look at the sign of a pass: if its height says too little, the late filters decide.

On smooth, rich soil the height of a pass over the line beside it is mostly soil.  The filters of the statistic see
through that, but they look ahead by only a third of a second.  The late filters look as far ahead as back.  They are
asked once the whole pass is over.  They learn the soil as the filters of the statistic do.
Runs under both interpreters.
"""

from .bank import RESTLESS_STEPS
from .filters import LEAST_READINGS, late_edges
from .learner import Learner

# Sigmas of the soil's own heights.  A lower pass shows its sign no better than the late filters do.  Chosen on the
# tuning scenes of tests/bench/detection.
CLEAR = 2.5
# Seconds to either side of the peak in which the late filters look for the best answer.  Chosen on the tuning scenes of
# tests/bench/detection: of 1,712 isolated passes with d' of at least 12, 57, 54 and 60 have the wrong sign with 0.16,
# 0.2 and 0.3 s.
REACH_S = 0.2
# Samples of any width between two solutions for all late filters: 4 s.  Chosen by hand, for the cost.
SOLVE_SAMPLES = 20
# Samples after which the variance of the heights forgets as fast as it learns: two minutes.  Chosen by hand.
MOST_HEIGHTS = 150


class Judge:
    """Knows how high the soil alone stands, and asks the late filters.

    height_sigma: sigma of FilterBank.height() without an object, by width, in 1e-9.
    """

    def __init__(self, bank, interval_s, floor_ppb, noise_ppm_rthz=()):
        self._bank = bank
        self.learners = []
        for width in bank.widths_s:
            f = max(width / interval_s, LEAST_READINGS)
            self.learners.append(Learner(late_edges(f), f, interval_s, floor_ppb, noise_ppm_rthz))
        self._reach = int(REACH_S / interval_s + 0.5)
        # Blocks without an object nearby that the late filter of a width needs.
        self._blocks = [int(learner.lags[0] * interval_s / 0.1) + 2 for learner in self.learners]
        self.height_sigma = [floor_ppb] * len(self.learners)
        self._variances = [0.0] * len(self.learners)
        self._counts = [0] * len(self.learners)
        self._turn = 0
        self._rest = False
        self._blocks_heard = 0
        self._floor = floor_ppb

    def block(self):
        """Learn from the latest readings; call it at the end of each block of 0.1 s.

        The widths take turns, one every other block.
        """
        bank = self._bank
        if not bank.ready:
            return
        self._rest = not self._rest
        if self._rest:
            return
        turn = self._turn
        self._turn = turn + 1 if turn + 1 < len(self.learners) else 0
        learner = self.learners[turn]
        if not learner.known:
            learner.begin_like(bank.learner(turn))
        if bank.count < learner.lags[0]:
            return
        loud = bank.quiet < self._blocks[turn]
        learner.step(bank.ring, loud, bank.restless > RESTLESS_STEPS)
        self._blocks_heard += 1
        if self._blocks_heard % SOLVE_SAMPLES < len(self.learners):
            learner.solve()
        if loud:
            return
        height = bank.height(turn)
        if self._counts[turn] < MOST_HEIGHTS:
            self._counts[turn] += 1
        self._variances[turn] += (height * height - self._variances[turn]) / self._counts[turn]
        self._sigma(turn)

    def _sigma(self, width):
        sigma = self._variances[width] ** 0.5
        self.height_sigma[width] = sigma if sigma > self._floor else self._floor

    def restart(self):
        """The soil is another one."""
        for turn in range(len(self.learners)):
            self.learners[turn].restart()
            self._counts[turn] = 0

    def save(self, width, out):
        """Append what was learned for a width to the list `out`."""
        self.learners[width].save(out)
        out.append(float(self._counts[width]))
        out.append(float(self._variances[width]))

    def load(self, width, values, at):
        """Take what save() appended, from position `at` on, and return the position after it.  Raises ValueError."""
        at = self.learners[width].load(values, at)
        if at + 2 > len(values) or not 0 <= values[at] < 1e9 or not values[at + 1] >= 0.0:
            raise ValueError("what was learned has no heights at position %d" % at)
        self._counts[width] = min(int(values[at]), MOST_HEIGHTS)
        self._variances[width] = float(values[at + 1])
        self._sigma(width)
        return at + 2

    def unclear(self, height, width):
        """Return True if a height (1e-9) of width number `width` is too small to tell the sign by."""
        return -CLEAR * self.height_sigma[width] < height < CLEAR * self.height_sigma[width]

    def look(self, back):
        """Return the best rise and the best fall around the reading `back` readings ago.

        Each is (|z|, height in 1e-9, readings ago).  Call it only if lobes.measure() gives a result there.
        """
        rise = fall = (0.0, 0.0, back)
        for learner in self.learners:
            newest = learner.newest
            for middle in range(back - self._reach, back + self._reach + 1):
                a = self._bank.answer(learner.lags, learner.gains, middle - newest)
                z = a / learner.sigma
                if z > rise[0]:
                    rise = (z, a, middle)
                elif -z > fall[0]:
                    fall = (-z, a, middle)
        return rise, fall
