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
# Passes in a row from which the row says more than the score of the last: of two it does not (again.py there).
ROW = 3
ROW_SURE = 0.99


def confidence(score, contested, seen):
    """Probability that the sign is right: as on the tuning scenes of tests/bench/detection, true alerts only.

    contested: an extreme of the other sign above 0.6 of the score stood beside it; seen: passes in a row.
    """
    if seen >= ROW:
        return ROW_SURE
    if score < 8.0:
        return 0.92
    if score < 25.0:
        return 0.94 if contested else 0.975
    return 0.95 if contested else 0.985


class Pass:
    """One alert while it can still change."""

    def __init__(self, number, now_us, recent):
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
        self.low = 0  # readings in a row below the release level
        self.neighbour = False
        self.reasons = ()

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

    def event(self, stage, widths_s):
        seen = self.seen()
        response = "uncertain" if self.reasons else WORDS[self.sign]
        sure = None
        if self.sign and not self.reasons:
            sure = confidence(self.score, self.opposite > 0.6 * self.best, seen)
        return Alert(
            stage, self.number, self.raised_us, self.settled_us, self.released_us, self.peak_us, self.sign, response,
            self.reasons, self.score, self.peak, sure, widths_s[self.width], seen,
        )
