"""One alert while it can still change, and the record that it gives out at each stage.

Runs under both interpreters.
"""

from .noise_counts import rarity_min
from .records import Alert

RESPONSES = ("uncertain", "non-ferrous", "ferrous")  # by sign: 0, +1, and -1 (the last item)
BROAD = "soil, or the coil was lifted"  # the reason of a dip that is broader than any pass

# ---- Passes in a row: several passes over the same object.

# Microseconds.  An earlier pass counts as one of the row only if its peak is at most this long before.  Chosen by hand.
ROW_SPAN_US = 4000000
# Microseconds.  Two peaks nearer to each other than this belong to the same pass.  Chosen by hand.
ROW_APART_US = 400000
# Ratio of two heights.  A pass that is more than this many times as high as the other is over another object.  Chosen
# by hand.
ROW_HEIGHT_RATIO = 3.0
# Alerts that are remembered for the row.  Chosen by hand: more than fit into ROW_SPAN_US, and it bounds the memory.
MOST_RECENT = 8
# Passes.  From this many in a row on, the sign confidence is ROW_CONFIDENCE.  Source: tests/bench/detection, part
# `again`, tuning scenes.  Of the third and later passes 99.7 % had the right sign.  The second pass gained nothing.
ROW_LENGTH = 3
ROW_CONFIDENCE = 0.99
# Sigma of the soil.  A pass lower than this gains nothing by a row.  Chosen by hand.
ROW_LEAST_HEIGHT = 2.0

# ---- Sign confidence of one pass.

# Microseconds.  An alert of the other sign this shortly before may be a lobe of the same object.  Chosen by hand.
OPPOSITE_US = 2000000
# Rows of (least height of the pass in sigma of the soil, sign confidence, the same if something has the other sign).
# Source: shares of right signs among 4,900 true alerts of the tuning scenes of tests/bench/detection, warm and fresh.
# The height shows the sign better than the score does.
CONFIDENCES = ((8.0, 0.99, 0.98), (4.0, 0.98, 0.91), (2.0, 0.95, 0.84), (1.0, 0.9, 0.75), (0.0, 0.78, 0.6))


def confidence(height_sigma, opposite, in_row):
    """Return the sign confidence: the probability that the sign is right, given that something is there.

    height_sigma: height of the pass over the expected height of the soil's own lobes.
    opposite: True if an alert of the other sign came shortly before, or if the largest |z| has the other sign.
    in_row: number of passes in a row, this one included.
    """
    if in_row >= ROW_LENGTH and height_sigma >= ROW_LEAST_HEIGHT:
        return ROW_CONFIDENCE
    for least, alone, after_opposite in CONFIDENCES:
        if height_sigma >= least:
            return after_opposite if opposite else alone
    return 0.0


class PendingAlert:
    """An alert that is not final yet.

    An *index* is a reading, counted since the start of the series (FilterBank.count).  `width` is the number of a width
    of the filter bank, not a time.
    """

    def __init__(self, now_us, recent, reasons=()):
        """recent: the latest alerts in the order in which they were raised, this one included once it is raised."""
        self.number = 0
        self._recent = recent
        self._model = None
        self.start_us = now_us  # when its signal first reached the threshold
        self.raised_us = now_us
        self.is_raised = False  # False: it waits, because it may be a broad dip
        self.settled_us = None
        self.released_us = None
        self.sign = 0
        self.score = 0.0  # largest |z| of any width
        self.score_index = 0  # middle of the pass that would give that score
        self.score_reading = 0  # the reading at which it came
        self.score_width = 0  # the width that gave it
        self.score_height = 0.0  # its answer there, 1e-9
        self.best = 0.0  # |z| that peak_us, peak and width come from
        self.peaked = False  # True: best is a peak.  False: the signal has arrived and has not yet left
        self.opposite = 0.0  # largest |z| of a peak of the other sign
        self.lobe_sigma = 1.0  # expected size of the soil's own lobes beside a pass of this width, 1e-9
        self.height = 0.0  # of the same peak as its filter answers it, 1e-9
        self.shape = None  # (index of the middle, height in 1e-9, width in readings) of the pass, once it was asked for
        self.dip = 0.0  # largest -z of any width
        self.dip_index = 0  # the reading that gave it
        self.dip_width = 0  # the width that gave it
        self.dip_height = 0.0  # its answer there, 1e-9, positive
        self.dip_judged = True  # False: breadth.py must still judge that dip
        self.broad = False  # that dip is broader than any pass
        self.peak_over_held = 0.0  # level of the peak over a held baseline, 1e-9; 0.0 if the baseline is not held
        self.readings_below = 0  # readings in a row below the release level
        self.has_neighbour = False  # another alert's peak is within reach of this one's lobes
        self.reasons = reasons

    def raise_(self, number, now_us, model):
        """The alert is raised at now_us.  model: of the noise at that time, from NoiseCounts.model()."""
        self.number = number
        self.raised_us = now_us
        self._model = model
        self.is_raised = True

    def move(self, readings, peak, interval_us):
        """Put the peak `readings` readings later (earlier if negative), with the height `peak` in 1e-9."""
        self.peak = self.height = peak
        self.peak_us += readings * interval_us
        self.peak_index += readings
        self.shape = None

    def settle(self, now_us, widths_s, events):
        """Take the sign from the peak, and append the record to the list `events`."""
        self.sign = 1 if self.peak > 0.0 else -1
        self.settled_us = now_us
        events.append(self.event("settled", widths_s))

    def passes_in_row(self):
        """Return how many passes in a row had this sign and about this height, this one included.

        A pass of the other sign, or of a very different height, ends the row.  1 while the alert has no sign.
        """
        count = 1
        if not self.sign:
            return count
        last_us = self.peak_us
        height = self.peak if self.peak >= 0.0 else -self.peak
        for other in reversed(self._recent):
            if other.number >= self.number or not other.sign:
                continue
            if other.sign != self.sign or self.peak_us - other.peak_us > ROW_SPAN_US:
                break
            other_height = other.peak if other.peak >= 0.0 else -other.peak
            if other_height > ROW_HEIGHT_RATIO * height or height > ROW_HEIGHT_RATIO * other_height:
                break
            if last_us - other.peak_us >= ROW_APART_US:
                count += 1
                last_us = other.peak_us
        return count

    def _opposite_before(self):
        """Return True if the alert before this one had the other sign and came within OPPOSITE_US."""
        for other in reversed(self._recent):
            if other.number < self.number and other.sign:
                return other.sign != self.sign and self.peak_us - other.peak_us < OPPOSITE_US
        return False

    def event(self, stage, widths_s):
        """Return the records.Alert of what is known at this stage."""
        in_row = self.passes_in_row()
        reasons = self.reasons
        is_broad = self.broad and self.sign < 0
        if is_broad:
            reasons = (BROAD,) + reasons
        response = "uncertain" if reasons else RESPONSES[self.sign]
        # The largest |z| was that of the lobe beside the pass, which has the other sign.
        score_sign = 1 if self.score_height > 0.0 else -1
        has_turned = self.sign == -score_sign
        sign_confidence = None
        if self.sign and not reasons:
            height = self.peak if self.peak >= 0.0 else -self.peak
            sign_confidence = confidence(height / self.lobe_sigma, has_turned or self._opposite_before(), in_row)
        return Alert(
            stage, self.number, self.raised_us, self.settled_us, self.released_us, self.peak_us, self.sign, response,
            reasons, self.score, self.peak, sign_confidence, widths_s[self.width], in_row,
            # A broad dip is no noise of the readings, so the counts of the noise say nothing about it.
            None if is_broad else rarity_min(self._model, score_sign, self.score),
        )
