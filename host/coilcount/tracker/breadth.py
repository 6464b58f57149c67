"""Tells dips that are broader than any pass: the coil was lifted slowly over magnetic soil, or the soil itself waves.

A dip is a fall of the frequency.  A filter answers a pass of another width with less than the height of the pass.
With a slow wave it is otherwise: the wider the filter, the larger its answer.  So a dip is broad if the widest filter
answers it with much more than the filter that has the largest statistic, or if only the widest filter answers it.
No rise counts as broad.  Very large iron that passes slowly can be taken for soil.
Runs under both interpreters.
"""

# Seconds to either side of the peak in which the answers are compared, and readings from one that is compared to the
# next.  The first is from an earlier simulation study.  The second was chosen by hand: the answers of the wide filters
# change little in two readings.
REACH_S = 0.24
EVERY = 2
# The most that the widest filter may answer, in heights of the narrower filter with the largest statistic.  Rows of
# (widest width / narrower width up to which it holds, limit).  The first two limits are from an earlier simulation
# study.  The third was chosen on the tuning scenes of tests/bench/detection: 29 of 68 false dips of the narrowest
# filter are above it, all on mineral soil, and 3 of 271 passes.
LIMITS = ((2.0, 1.8), (3.2, 4.0), (1e9, 16.0))
# If the widest filter has the largest statistic, the next narrower one must answer with at least this share.  From an
# earlier simulation study, not repeated here.
LEAST_SHARE = 0.5
# Until the wide filters have seen all of a wave, it looks like a pass.  The growth of the widest filter's answer is
# that of GROWTH_READINGS, and it is taken to go on for AHEAD times as long.  If the widest filter has the largest
# statistic, its answer must have stopped growing: it grows by less than LEAST_GROWTH of itself.  If its answer has the
# other sign and is larger than OPPOSITE of the limit, it tells nothing yet.  All four were chosen on the tuning scenes
# of tests/bench/detection.  With at most one false alarm a minute allowed, beach has 1.9 a minute and mineral soil 1.1,
# and without them 5.0 and 5.4.  For that 16 % and 27 % of the alerts of passes are later than 0.3 s after the closest
# approach, instead of 10 % and 19 %.
GROWTH_READINGS = 2
AHEAD = 8.0
LEAST_GROWTH = 0.02
OPPOSITE = 0.5
NONE = -1


class Breadth:
    """The test of breadth on the dips of one filter bank.  Its results do not depend on any threshold.

    reach: readings after a dip's peak until it can be judged.
    """

    def __init__(self, bank, interval_s):
        self._bank = bank
        self.reach = max(1, int(REACH_S / interval_s + 0.5))
        last = len(bank.widths_s) - 1
        widest = bank.widths_s[last]
        self._limits = []  # by width: of the largest answer of the other filter, over the own one
        for width in bank.widths_s[:last]:
            for most, limit in LIMITS:
                if widest / width <= most:
                    self._limits.append(limit)
                    break
        self.restart()

    def restart(self):
        """The readings are counted from 0 again."""
        self._judged = (NONE, NONE, NONE)  # reading and width of the dip that was judged last, and the reading of then
        self._broad = False
        self._seen = (NONE, NONE, 0.0)  # reading, width and height that looks_broad() was asked for last
        self._looks = False
        self._foreseen = (NONE, NONE, 0.0)  # the same of may_become_broad()
        self._may_become = False

    def deepest_width(self):
        """Return the number of the width with the lowest statistic at the newest reading."""
        bank = self._bank
        return bank.zs.index(bank.lowest)

    def looks_broad(self, width, height):
        """Return True if a dip or a rise is broad, as far as it is known now.

        width: number of the width that answers it.  height: its answer in 1e-9, with its sign.
        """
        seen = (self._bank.count, width, height)
        if self._seen != seen:
            self._seen = seen
            self._looks = self._is_broad(width, height, 0, self.reach)
        return self._looks

    def may_become_broad(self, width, height):
        """Return True if a dip or a rise can still turn out to be broad.  width, height: as for looks_broad().

        It can if the widest filter's answer goes on as it does now and then passes the limit, and if it is still far on
        the other side.
        """
        if not self._limits:
            return False  # there is no wider filter
        bank = self._bank
        foreseen = (bank.count, width, height)
        if self._foreseen != foreseen:
            self._foreseen = foreseen
            last = len(self._limits)
            learner = bank.learner(last)
            wide = bank.zs[last] * bank.used[last]
            first = bank.count - learner.lags[0]
            before = bank.answer(learner.lags, learner.gains, min(GROWTH_READINGS, first))
            if height < 0.0:
                height, wide, before = -height, -wide, -before
            growth = wide - before
            if width == last:
                self._may_become = growth > LEAST_GROWTH * height
            else:
                limit = self._limits[width] * height
                self._may_become = wide < -OPPOSITE * limit or wide + AHEAD * growth > limit
        return self._may_become

    def is_broad(self, reading, width, height):
        """Return True if the dip that peaked at this reading is broad.  Ask it at least `reach` readings later.

        reading: its number, as FilterBank.count was.  width: number of the width with the lowest statistic there.
        height: of that filter's answer, 1e-9, positive.
        """
        judged = (reading, width, self._bank.count)
        if self._judged != judged:
            self._judged = judged
            back = self._bank.count - reading
            self._broad = self._is_broad(width, -height, max(0, back - self.reach), back + self.reach)
        return self._broad

    def _is_broad(self, width, height, newest, oldest):
        """The same, from the answers of the readings `newest` to `oldest` back.  height: with its sign."""
        last = len(self._limits)
        if not last:
            return False
        if width < last:
            return self._reaches(last, self._limits[width] * height, newest, oldest)
        return not self._reaches(last - 1, LEAST_SHARE * height, newest, oldest)

    def _reaches(self, width, height, newest, oldest):
        """Return True if a filter answers a reading with more than `height` of the same sign."""
        bank = self._bank
        learner = bank.learner(width)
        first = bank.count - learner.lags[0]  # the readings before it are of another series
        for back in range(newest, min(oldest, first) + 1, EVERY):
            a = bank.answer(learner.lags, learner.gains, back)
            if a > height > 0.0 or a < height < 0.0:
                return True
        return False
