"""One alert while it can still change: what it knows, and the record that it gives out at each stage.

Runs under both interpreters.
"""

from .records import Alert

WORDS = ("uncertain", "non-ferrous", "ferrous")  # by sign: 0, +1, -1


def confidence(score, contested):
    """Probability that the sign is right, by score: as on the tuning scenes of tests/bench/detection, true alerts only.

    contested: an extreme of the other sign above 0.6 of the score stood beside it.
    """
    if score < 8.0:
        return 0.92
    if score < 25.0:
        return 0.94 if contested else 0.975
    return 0.95 if contested else 0.985


class Pass:
    """One alert while it can still change."""

    def __init__(self, number, now_us):
        self.number = number
        self.raised_us = now_us
        self.settled_us = None
        self.released_us = None
        self.sign = 0
        self.score = 0.0  # largest |z| of any width
        self.best = 0.0  # |z| of what peak_us, peak and width were taken from
        self.peaked = False  # whether that was a peak; else something that has arrived and not yet left
        self.opposite = 0.0  # largest |z| of a peak of the other sign
        self.low = 0  # readings in a row below the release level
        self.neighbour = False
        self.reasons = ()

    def event(self, stage, widths_s):
        response = "uncertain" if self.reasons else WORDS[self.sign]
        sure = None
        if self.sign and not self.reasons:
            sure = confidence(self.score, self.opposite > 0.6 * self.best)
        return Alert(
            stage, self.number, self.raised_us, self.settled_us, self.released_us, self.peak_us, self.sign, response,
            self.reasons, self.score, self.peak, sure, widths_s[self.width],
        )
