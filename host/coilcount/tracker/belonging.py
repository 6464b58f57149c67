"""Does the answer of a width belong to a pass that raised an alert already?

A wide filter answers a narrow object several times: with the other sign before and after the peak, and once more while
the object is in its outer boxes.  Beside a strong object these answers reach the threshold.
Runs under both interpreters.
"""

from .pass_answers import PassAnswers, shape_of

# Chosen by hand on simulated sweeps.

# Widths from a peak.  Nearer than this, an answer of another width with the same sign is the same peak.
SAME_PEAK_WIDTHS = 0.7
# Widths from a peak.  Between the first and the second, a lower answer with the other sign is a lobe of it.
LOBE_FROM_WIDTHS = 0.3
LOBE_TO_WIDTHS = 2.1
# Shares of the peak.  A lobe is lower than the first, or than the second if the filter is wider than the pass.
LOBE_SHARE = 1.0
WIDER_LOBE_SHARE = 1.4
# If the score of an alert is more than this many times its highest peak, a step came and not a pass.  Lower answers of
# the other sign within so many widths are the step's: the oldest box reaches back so far.
STEP_SCORES = 1.5
STEP_WIDTHS = 3.5
# Widths of a pass after which its tail is gone.
PASS_WIDTHS = 2.0
# Released alerts that may still be in the boxes of a filter.  Bounds the memory.
MOST_PAST = 8
# What the alert is to the answer of a width.
SAME_PEAK = 1
PART = -1
NEITHER = 0


class Belonging:
    """Compares the newest answers of a bank with the passes of released alerts.

    `width` is the number of a width of the bank.  past: the released alerts that may still be in a filter's boxes.
    """

    def __init__(self, bank, baseline, interval_us):
        self._bank = bank
        self._widths_us = [width * 1e6 for width in bank.widths_s]
        self._lags_us = [int(lag * interval_us) for lag in bank.lags]  # from a reading back to the middle of a pass
        self._answers = PassAnswers(bank)
        self._baseline = baseline
        self._widths = [width * 1e6 / interval_us for width in bank.widths_s]  # readings
        self.past = []

    def peak_us(self, width, time_us):
        """Return the time of the pass whose peak is in the centre box of a width.  time_us: of the newest reading."""
        return time_us - self._lags_us[width]

    def add(self, alert):
        """Take an alert that was released."""
        if len(self.past) == MOST_PAST:
            self.past.pop(0)
        self.past.append(alert)

    def forget(self):
        """The series ended."""
        self.past.clear()

    def drop_old(self):
        """Forget the alerts whose passes have left all boxes."""
        past = self.past
        while past:
            middle, _, width = past[0].shape or self._shape(past[0])
            if self._bank.count - middle <= self._answers.longest + PASS_WIDTHS * width:
                return
            past.pop(0)

    def _shape(self, alert):
        """Return (index of the middle, height in 1e-9, width in readings) of an alert's pass.  It is found once."""
        if alert.shape is None:
            bank = self._bank
            back, height, width = shape_of(
                bank, bank.count - alert.peak_index, self._widths[alert.width], self._baseline.level, alert.height
            )
            alert.shape = (bank.count - back, height, width)
        return alert.shape

    def of(self, width, time_us, alert):
        """Return what the newest answer of a width is to one alert, by the distance of their peaks alone."""
        z = self._bank.zs[width]
        away_us = time_us - self._lags_us[width] - alert.peak_us
        if away_us < 0:
            away_us = -away_us
        width_us = self._widths_us[width]
        if (z > 0.0) == (alert.peak > 0.0):
            return SAME_PEAK if away_us <= SAME_PEAK_WIDTHS * width_us else NEITHER
        if alert.score > STEP_SCORES * alert.best:
            is_lower = (z if z >= 0.0 else -z) < alert.score
            return PART if is_lower and away_us <= STEP_WIDTHS * width_us else NEITHER
        if LOBE_FROM_WIDTHS * width_us <= away_us <= LOBE_TO_WIDTHS * width_us:
            most = WIDER_LOBE_SHARE if width > alert.width else LOBE_SHARE
            answer = z * self._bank.used[width]
            return PART if (answer if answer >= 0.0 else -answer) < most * abs(alert.peak) else NEITHER
        return NEITHER

    def is_explained(self, width, least, alert=None):
        """Return True if the passes of past alerts, and of `alert`, explain the newest answer of a width.

        least: in sigma.  So much of the answer must be left over, or it is explained.
        """
        past = self.past
        if not past and alert is None:
            return False
        bank = self._bank
        count = bank.count
        learner = bank.learner(width)
        answers = self._answers
        answers.start()
        for other in past:
            middle, height, pass_width = other.shape or self._shape(other)
            answers.add(learner, count - middle, height, pass_width)
        if alert is not None:
            middle, height, pass_width = alert.shape or self._shape(alert)
            answers.add(learner, count - middle, height, pass_width)
        rest = bank.zs[width] * bank.used[width] - answers.middle
        if rest < 0.0:
            rest = -rest
        return rest - answers.margin < least * bank.used[width]
