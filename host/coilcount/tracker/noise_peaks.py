"""Finds the peaks of the detection statistic, and has them counted.

A peak is the largest statistic of its sign for 0.6 s before and after it.  Dips that are broad (breadth.py) are not
counted, because they raise no alert.
Runs under both interpreters.
"""

from .bank import NEVER
from .noise_counts import LOWEST

# Seconds: peaks of one sign are at least this far apart.  From an earlier simulation study, not repeated here.
APART_S = 0.6


class NoisePeaks:
    """The peaks of one filter bank.

    Call take() if FilterBank.highest is above `rise`, if FilterBank.lowest is below `dip`, or if FilterBank.count has
    reached `due`.  Nothing happens at the other readings.
    """

    def __init__(self, bank, breadth, counts, interval_s):
        """counts: a NoiseCounts, which gets the peaks."""
        self._bank = bank
        self._breadth = breadth
        self._counts = counts
        self._apart = max(1, int(APART_S / interval_s + 0.5))
        self.restart()

    def restart(self):
        """What comes next does not continue what came before.  Peaks that are not certain are forgotten."""
        self.rise = LOWEST
        self.dip = -LOWEST
        self._rise_due = self._dip_due = self._judge_due = self.due = NEVER
        self._dip_at = 0  # reading of the dip's peak
        self._dip_width = 0
        self._dip_height = 0.0  # 1e-9
        self._broad = False

    def take(self):
        """Take the newest statistic."""
        bank = self._bank
        count = bank.count
        if bank.highest > self.rise:
            self.rise = bank.highest
            self._rise_due = count + self._apart
        elif count >= self._rise_due:
            self._counts.rises.add(self.rise)
            self.rise = LOWEST
            self._rise_due = NEVER
        if bank.lowest < self.dip:
            self.dip = bank.lowest
            self._dip_at = count
            self._dip_width = self._breadth.deepest_width()
            self._dip_height = -self.dip * bank.used[self._dip_width]
            self._judge_due = count + self._breadth.reach
            self._dip_due = count + max(self._apart, self._breadth.reach)
        elif count >= self._judge_due:
            self._broad = self._breadth.is_broad(self._dip_at, self._dip_width, self._dip_height)
            self._judge_due = NEVER
        if count >= self._dip_due:
            if not self._broad:
                self._counts.dips.add(-self.dip)
            self.dip = -LOWEST
            self._dip_due = NEVER
        self.due = min(self._rise_due, self._dip_due, self._judge_due)
