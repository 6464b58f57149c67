"""The life of alerts: raised, settled, released, and final once the whole pass has been seen.

A wide width of the filter bank answers a narrow object three times.  Before the peak, the object is in the newer box
and the answer has the other sign.  At the peak the answer is right.  After the peak, the object is in the older box and
the answer has the other sign again.  The code here keeps these three together as one alert.
Runs under both interpreters.
"""

from . import lobes
from .alert import MOST_RECENT, PendingAlert
from .final_look import FinalLook

# ---- From an earlier simulation study, not repeated here.

SETTLE_US = 200000  # microseconds from the raise until the sign settles
LONGEST_WIDTHS = 4.0  # an alert is open for at most this many of the longest width: 2 s at the default
RELEASE_READINGS = 5  # readings in a row below the release level that release an alert
SHORT_MEAN = 3  # readings of the mean that gives the sign of an arrival

# ---- Chosen by hand on simulated sweeps, starting from the figures of that study.

# Answers of a width.  If the newer and the older box differ by more than this, it is no peak in the centre box but an
# object in an outer box, or a step.  (An object that fills one outer box alone gives 1.8 or 2.2.)
ARRIVAL_RATIO = 1.4
# Sigma of a step.  The soil itself steps by less than this all the time: nothing came and nothing left.
USUAL_STEP = 3.0
# Widths from a peak.  Nearer than the first, an answer of another width with the same sign is the same peak.  Between
# the second and the third, an answer with the other sign is a lobe of it.
SAME_PEAK_WIDTHS = 0.7
LOBE_FROM_WIDTHS = 0.3
LOBE_TO_WIDTHS = 2.1
# Share of the peak.  A filter wider than the pass answers beside it with at most this height, and the other sign.
WIDER_LOBE_SHARE = 1.4
# While the oldest box still holds the pass, a width answers once more, with either sign and at most this share of the
# peak.  The oldest box reaches back this many widths.
FAR_LOBE_SHARE = 0.35
FAR_LOBE_WIDTHS = 3.5
# Alerts that may wait for their last look.  Bounds the memory.
MOST_WAITING = 6
# A count of readings that no series reaches.  It fits into a small integer of the board.
NEVER = (1 << 30) - 1


class Sides:
    """bank.sides(), computed once for each width and reading, however many thresholds ask for it."""

    def __init__(self, bank):
        self._bank = bank
        self._sides = [None] * len(bank.widths_s)
        self._counts = [-1] * len(bank.widths_s)  # the reading that each of them belongs to

    def forget(self):
        """The bank start again, and count their readings from 0."""
        for width in range(len(self._counts)):
            self._counts[width] = -1

    def of(self, width):
        """Return bank.sides(width) at the newest reading."""
        count = self._bank.count
        if self._counts[width] != count:
            self._counts[width] = count
            self._sides[width] = self._bank.sides(width)
        return self._sides[width]


class Alerts:
    """Turns the statistic into alerts.  Call step() for each reading, and end() if the series ends or breaks.

    Inside, `width` is the number of a width of the filter bank.
    """

    def __init__(self, bank, sides, counts, baseline, noise, interval_us, release_fraction, judge=None, reasons=()):
        """sides: a Sides of the bank.  counts: a noise_counts.NoiseCounts.  noise: a lobes.StepNoise.

        judge: the judge.Judge of a learned noise profile, or None.
        reasons: reasons that every alert gets.
        """
        self._bank = bank
        self._sides = sides
        self._counts = counts
        self._noise = noise
        self._baseline = baseline
        self._interval_us = interval_us
        self._release = release_fraction
        self._widths_us = [width * 1e6 for width in bank.widths_s]
        self._lags_us = [int(lag * interval_us) for lag in bank.lags]  # from a reading back to the middle of a pass
        self._longest_us = int(LONGEST_WIDTHS * bank.widths_s[len(bank.widths_s) - 1] * 1e6)
        self._number = 0
        self.open = None  # the alert that is raised and not released, or None
        self.waiting = []  # released, not yet final
        self._recent = []
        self._held = False
        self._reasons = reasons
        self._final_look = FinalLook(bank, baseline, noise, interval_us, judge, reasons)

    def step(self, time_us, now_us, rise, fall, held, events):
        """Take the latest statistic, and append what happened to the list `events`.

        time_us: middle of the newest reading.  now_us: when it was complete.
        rise, fall: thresholds of rises and dips in sigma, both positive.
        held: the baseline is held or frozen.
        """
        self._held = held
        if self.open is not None:
            self._continue(self.open, time_us, now_us, rise, fall, events)
        if self.open is None:
            width = self._new_width(time_us, rise, fall)
            if width >= 0:
                self._raise(width, time_us, now_us, events)
        if self.waiting:
            self._finish_waiting(now_us, held, events)

    def end(self, now_us, events):
        """End the series: every alert becomes final.

        now_us: None if the data stop here; an alert that is open then stays open in its record.
        """
        alert = self.open
        if alert is not None:
            self.open = None
            if now_us is not None:
                alert.released_us = now_us
                events.append(alert.event("released", self._bank.widths_s))
            self.waiting.append(alert)
        for alert in self.waiting:
            self._final_look.finish(alert, False, events)
        self.waiting = []
        self._recent.clear()

    def due(self):
        """Return the count of readings from which on step() must be called even if |z| is below the threshold.

        An open alert needs every reading.  One that waits needs that of its last look.  NEVER if there is neither.
        """
        if self.open is not None:
            return 0
        return self.waiting[0].peak_index + self._bank.look_back if self.waiting else NEVER

    # ------------------------------------------------------------ what the widths show

    def _peak_us(self, width, time_us):
        return time_us - self._lags_us[width]

    def _belongs(self, width, time_us, alert):
        """Return what the answer of a width is to an alert: 1 the same peak, -1 a lobe of it, 0 neither."""
        bank = self._bank
        z = bank.zs[width]
        away_us = time_us - self._lags_us[width] - alert.peak_us
        if away_us < 0:
            away_us = -away_us
        width_us = self._widths_us[width]
        answer = z * bank.used[width]
        share = -answer / alert.peak if alert.peak else 1.0
        if (z > 0.0) == (alert.peak > 0.0):
            if away_us <= SAME_PEAK_WIDTHS * width_us:
                return 1
        elif away_us < LOBE_FROM_WIDTHS * width_us:
            return 0
        elif away_us <= LOBE_TO_WIDTHS * width_us:
            return -1 if share < (WIDER_LOBE_SHARE if width > alert.width else 1.0) else 0
        far_us = FAR_LOBE_WIDTHS * width_us + self._widths_us[alert.width]
        return -1 if -FAR_LOBE_SHARE < share < FAR_LOBE_SHARE and away_us <= far_us else 0

    def _new_width(self, time_us, rise, fall):
        """Return the width with the largest |z| that reaches its threshold and is no part of a released alert.

        -1: none.
        """
        zs = self._bank.zs
        found = -1
        most = 0.0
        for width in range(len(zs)):
            z = zs[width]
            size = z if z >= 0.0 else -z
            if size < (rise if z >= 0.0 else fall) or size < most:
                continue
            if not self._has_peaked(width) and self._is_leaving(width):
                continue
            if not self._part_of_released(width, time_us, size):
                most = size
                found = width
        return found

    def _part_of_released(self, width, time_us, size):
        """Return True if a width shows an alert that was released.  The alert takes a larger |z| of its own peak."""
        for alert in self.waiting:
            part = self._belongs(width, time_us, alert)
            if part:
                if part > 0 and size > alert.best:
                    self._take(alert, width, time_us)
                return True
        return False

    def _step(self, width):
        """Return the mean of the newer box minus that of the older one, without the baseline's slope, in 1e-9."""
        right, left, _, apart = self._sides.of(width)
        return right - left - self._baseline.slope_a_reading * apart

    def _has_peaked(self, width):
        """Return True if the answer of a width is a peak in its centre box."""
        right, left, answer, apart = self._sides.of(width)
        step = right - left - self._baseline.slope_a_reading * apart
        most = ARRIVAL_RATIO * (answer if answer >= 0.0 else -answer)
        usual = USUAL_STEP * self._noise.step[width]
        if most < usual:
            most = usual
        return -most <= step <= most and (answer > 0.0) == (self._bank.zs[width] > 0.0)

    def _is_leaving(self, width):
        """Return True if the older box stands away from the baseline: something left, nothing came."""
        right, left, _, _ = self._sides.of(width)
        level = self._baseline.level
        return abs(left - level) > abs(right - level) + USUAL_STEP * self._noise.step[width]

    # ------------------------------------------------------------ the stages

    def _raise(self, width, time_us, now_us, events):
        self._number += 1
        recent = self._recent
        if len(recent) == MOST_RECENT:
            recent.pop(0)
        alert = self.open = PendingAlert(self._number, now_us, recent, self._counts.model(), self._reasons)
        recent.append(alert)
        self._take(alert, width, time_us)
        events.append(alert.event("raised", self._bank.widths_s))

    def _take(self, alert, width, time_us):
        """Take the present answer of a width as the best of the alert."""
        bank = self._bank
        z = bank.zs[width]
        alert.best = z if z >= 0.0 else -z
        if alert.best > alert.score:
            alert.score = alert.best
            alert.score_index = bank.count - int(bank.lags[width] + 0.5)
        alert.width = width
        alert.scale = bank.used[width]
        alert.lobe_sigma = self._noise.lobe[width]
        alert.peaked = self._has_peaked(width)
        if alert.peaked:
            alert.peak_us = self._peak_us(width, time_us)
            alert.peak_index = bank.count - int(bank.lags[width] + 0.5)
            alert.peak = bank.height(width)
            middle = int(bank.lags[width])
            alert.peak_over_held = bank.mean(middle - 1, middle + 1) - self._baseline.level if self._held else 0.0
        else:
            self._start_arrival(alert, width, time_us)

    def _start_arrival(self, alert, width, time_us):
        """Note that the shift rises in the newer box of a width and has not peaked yet."""
        alert.peak_us = time_us
        alert.peak_index = self._bank.count
        alert.peak = self._step(width)

    def _continue(self, alert, time_us, now_us, rise, fall, events):
        bank = self._bank
        zs = bank.zs
        best = alert.best if alert.peaked else 0.0
        found = -1
        another = -1
        active = False
        for width in range(len(zs)):
            z = zs[width]
            size = z if z >= 0.0 else -z
            threshold = rise if z >= 0.0 else fall
            if size > alert.score:
                alert.score = size
                alert.score_index = bank.count - int(bank.lags[width] + 0.5)
            if size < self._release * threshold:
                continue
            part = self._belongs(width, time_us, alert) if alert.peaked else 0
            if part == 0 and self._part_of_released(width, time_us, size):
                continue
            if part >= 0:
                active = True
            if part < 0:
                continue
            other_way = alert.peaked and alert.sign and (zs[width] > 0.0) != (alert.sign > 0)
            if part == 0 and other_way and size >= threshold and self._has_peaked(width):
                # Another object, of the other sign.
                if another < 0 or size > abs(zs[another]):
                    another = width
                continue
            if size <= best:
                continue
            if self._has_peaked(width):
                found = width
                best = size
            elif alert.peaked and part > 0 and width == alert.width:
                # It only seemed to have peaked: the signal is still growing.
                alert.peaked = False
                found = -1
                best = 0.0
                self._start_arrival(alert, width, time_us)
        if another >= 0:
            self._close(alert, now_us, events)
            self._raise(another, time_us, now_us, events)
            return
        if found >= 0:
            if alert.peaked and (zs[found] > 0.0) != (alert.peak > 0.0):
                alert.opposite = alert.best
            self._take(alert, found, time_us)
        elif not alert.peaked and not alert.sign:
            self._follow_arrival(alert, time_us)
        if alert.sign and alert.peaked and alert.sign != (1 if alert.peak > 0.0 else -1):
            alert.settle(now_us, bank.widths_s, events)
        elif not alert.sign and now_us - alert.raised_us >= SETTLE_US:
            alert.settle(now_us, bank.widths_s, events)
        alert.readings_below = 0 if active else alert.readings_below + 1
        if alert.sign and (
            alert.readings_below >= RELEASE_READINGS or now_us - alert.raised_us >= self._longest_us
        ):
            self._close(alert, now_us, events)

    def _follow_arrival(self, alert, time_us):
        """While nothing has peaked, the largest short mean over the baseline is the height."""
        bank = self._bank
        value = bank.mean(0, SHORT_MEAN - 1) - self._baseline.level
        if value > alert.peak > 0.0 or value < alert.peak < 0.0:
            alert.peak = value
            alert.peak_us = time_us - SHORT_MEAN // 2 * self._interval_us
            alert.peak_index = bank.count - SHORT_MEAN // 2

    def _close(self, alert, now_us, events):
        alert.released_us = now_us
        events.append(alert.event("released", self._bank.widths_s))
        self.open = None
        for other in self.waiting:
            reach_us = lobes.LOBE_TO * self._widths_us[alert.width]
            if -reach_us < alert.peak_us - other.peak_us < reach_us:
                other.has_neighbour = alert.has_neighbour = True
        self.waiting.append(alert)
        if len(self.waiting) > MOST_WAITING:
            self._final_look.finish(self.waiting.pop(0), False, events)

    def _finish_waiting(self, now_us, held, events):
        """Make every alert final whose whole pass has been seen."""
        bank = self._bank
        while self.waiting:
            if bank.count - self.waiting[0].peak_index < bank.look_back:
                return
            self._final_look.finish(self.waiting.pop(0), held, events, now_us)
