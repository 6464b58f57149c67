"""One alert while it can still change: what it knows, and the record that it gives out at each stage.

Runs under both interpreters.
"""

from .records import Alert

WORDS = ("uncertain", "non-ferrous", "ferrous")  # by sign: 0, +1, -1
# Passes over one thing follow one another within so long; peaks nearer to each other than APART_US are of one pass.
AGAIN_US = 4000000
APART_US = 400000
ALIKE = 3.0  # what goes so many times as far as the other, or more, is another thing
MOST_RECENT = 8
# Passes in a row from which the row says more than the last alone: of two it does not (again.py there).
ROW = 3
ROW_SURE = 0.99
ROW_LEAST = 2.0
# What went the other way so shortly before may be this one's lobe, or this one its.
AGAINST_US = 2000000
# By height over the ground's sigma: from so much on, the share of right signs, and where something went against it.
# True alerts on the tuning scenes of tests/bench/detection, with and without a learned noise; the score says less.
SURE = ((8.0, 0.99, 0.97), (4.0, 0.98, 0.97), (2.0, 0.955, 0.88), (1.0, 0.92, 0.84), (0.0, 0.75, 0.7))


def confidence(clear, against, seen):
    """Probability that the sign is right.

    clear: height over the sigma of the ground's lobes; against: the other sign was told shortly before; seen: passes in
    a row.
    """
    if seen >= ROW and clear >= ROW_LEAST:
        return ROW_SURE
    for least, alone, after in SURE:
        if clear >= least:
            return after if against else alone
    return 0.0


class Pass:
    """One alert while it can still change."""

    def __init__(self, number, now_us, recent, reasons=()):
        self.number = number
        self._recent = recent  # alerts in the order in which they were raised, this one too, MOST_RECENT at the most
        self.raised_us = now_us
        self.settled_us = None
        self.released_us = None
        self.sign = 0
        self.score = 0.0  # largest |z| of any width
        self.best_at = 0  # the reading in the middle of the pass that would answer so
        self.best = 0.0  # |z| of what peak_us, peak and width were taken from
        self.peaked = False  # whether that was a peak; else something that has arrived and not yet left
        self.opposite = 0.0  # largest |z| of a peak of the other sign
        self.ground = 1.0  # sigma of the ground's lobes beside a pass of this width, 1e-9
        self.over = 0.0  # level of the peak over a baseline that is held, 1e-9; 0.0 where none is
        self.low = 0  # readings in a row below the release level
        self.neighbour = False
        self.reasons = reasons

    def seen(self):
        """How many passes in a row went this way and about as far: this one, and those within AGAIN_US before its peak.

        One that went the other way, or is not alike, ends the row.  1 while the sign is open.
        """
        count = 1
        if not self.sign:
            return count
        last_us = self.peak_us
        height = self.peak if self.peak >= 0.0 else -self.peak
        for other in reversed(self._recent):
            if other.number >= self.number or not other.sign:
                continue
            if other.sign != self.sign or self.peak_us - other.peak_us > AGAIN_US:
                break
            before = other.peak if other.peak >= 0.0 else -other.peak
            if before > ALIKE * height or height > ALIKE * before:
                break
            if last_us - other.peak_us >= APART_US:
                count += 1
                last_us = other.peak_us
        return count

    def _against(self):
        """Whether the alert before this one went the other way, within AGAINST_US."""
        for other in reversed(self._recent):
            if other.number < self.number and other.sign:
                return other.sign != self.sign and self.peak_us - other.peak_us < AGAINST_US
        return False

    def event(self, stage, widths_s):
        seen = self.seen()
        response = "uncertain" if self.reasons else WORDS[self.sign]
        sure = None
        if self.sign and not self.reasons:
            height = self.peak if self.peak >= 0.0 else -self.peak
            sure = confidence(height / self.ground, self._against(), seen)
        return Alert(
            stage, self.number, self.raised_us, self.settled_us, self.released_us, self.peak_us, self.sign, response,
            self.reasons, self.score, self.peak, sure, widths_s[self.width], seen,
        )
