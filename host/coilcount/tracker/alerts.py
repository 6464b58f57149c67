"""The life of alerts: raised, sign settled, released, and final once the whole pass has been looked at.

The three boxes of a wide width answer an object three times: before its peak, with the other sign, when it is in the
newer box; at the peak; and after it, with the other sign, when it is in the older box.  What follows keeps the three
together.
Runs under both interpreters.
"""

from . import lobes
from .alert import MOST_RECENT, Pass

# From the detector study on simulated sweeps.
SETTLE_US = 200000  # the sign is taken this long after the raise
LONGEST = 4.0  # of the longest width, 2 s at the default: no alert is open for longer
RELEASE_READINGS = 5  # in a row below the release level
SHORT = 3  # readings of the short mean that an arrival's sign is taken from
# The rest was chosen on simulated sweeps, with the study's figures as the start.
# mean(newer) - mean(older) beyond this many |a|: an object in an outer box, or a step, not a peak in the centre box.
# (An object that fills one outer box alone gives 1.8 or 2.2.)
ARRIVAL = 1.4
USUAL = 3.0  # so many sigmas of a step are what the ground does all the time: nothing came and nothing left
# In widths from a peak: where the answer of another width is still that peak, and where it is a lobe of it.
SAME = 0.7
LOBE_FROM = 0.3
LOBE_TO = 2.1
# A filter wider than the pass answers beside it with up to so much of its height, the other way round.
WIDE_LOBE = 1.4
# And as far as its oldest box reaches and the pass is wide it answers once more, either way round, with up to so much.
FAR = 0.2
FAR_TO = 3.5
# An extreme of the other sign this strong (a share of the alert's own), and this far above the noise, leaves the sign
# open.
OPPOSITE = 0.85
SURE = 6.0
OTHER_SURE = 2.5  # sigmas of a lobe
JUDGED_OPPOSITE = 0.95  # the same for the late filters
# So much stronger, and it is the sign of the alert: what was taken for the peak was a lobe of the filter.
TURNED = 1.3
TURNED_SURE = 4.0
# Below this score the study has no figures.
WEAK = 3.6
MOST_WAITING = 6


class Alerts:
    """Turns the statistic into alerts.  step() once a reading, end() where the series ends or breaks."""

    def __init__(self, boxes, baseline, noise, interval_us, release_fraction, judge=None, reasons=()):
        self._boxes = boxes
        self._noise = noise
        self._judge = judge
        self._baseline = baseline
        self._interval_us = interval_us
        self._release = release_fraction
        self._widths_us = [width * 1e6 for width in boxes.widths_s]
        self._longest_us = int(LONGEST * boxes.widths_s[len(boxes.widths_s) - 1] * 1e6)
        self._number = 0
        self.open = None
        self.waiting = []  # released, not yet final
        self._recent = []
        self._held = False
        self._reasons = reasons  # why no alert can be more than uncertain

    def step(self, time_us, now_us, threshold, held, events):
        """time_us: middle of the newest reading; now_us: when it was known.  Appends to `events`.

        held: the baseline is held, by itself or by the operator.
        """
        self._held = held
        if self.open is not None:
            self._continue(self.open, time_us, now_us, threshold, events)
        if self.open is None:
            at = self._fresh(time_us, threshold)
            if at >= 0:
                self._raise(at, time_us, now_us, events)
        if self.waiting:
            self._look_back(now_us, held, events)

    def end(self, now_us, events):
        """The series ends here: nothing more will be known.  now_us None: the data just stop, open alerts stay open."""
        one = self.open
        if one is not None:
            self.open = None
            if now_us is not None:
                one.released_us = now_us
                events.append(one.event("released", self._boxes.widths_s))
            self.waiting.append(one)
        for one in self.waiting:
            self._finish(one, None, False, events)
        self.waiting = []
        self._recent.clear()

    # ------------------------------------------------------------ what the widths show

    def _peak_us(self, at, time_us):
        return time_us - int(self._boxes.lags[at] * self._interval_us)

    def _belongs(self, at, time_us, one):
        """0: no part of alert `one`; 1: the same peak in another width; -1: a lobe of it."""
        boxes = self._boxes
        z = boxes.zs[at]
        away = self._peak_us(at, time_us) - one.peak_us
        if away < 0:
            away = -away
        width_us = self._widths_us[at]
        a = z * boxes.used[at]
        share = -a / one.peak if one.peak else 1.0
        if (z > 0.0) == (one.peak > 0.0):
            if away <= SAME * width_us:
                return 1
        elif away < LOBE_FROM * width_us:
            return 0
        elif away <= LOBE_TO * width_us:
            return -1 if share < (WIDE_LOBE if at > one.width else 1.0) else 0
        return -1 if -FAR < share < FAR and away <= FAR_TO * width_us + self._widths_us[one.width] else 0

    def _fresh(self, time_us, least):
        """The width with the largest |z| from `least` on that is no part of a released alert; -1: none."""
        zs = self._boxes.zs
        found = -1
        for at in range(len(zs)):
            size = zs[at] if zs[at] >= 0.0 else -zs[at]
            if size < least:
                continue
            if not self._peaked(at) and self._leaving(at):
                continue
            if not self._part_of_released(at, time_us, size):
                least = size
                found = at
        return found

    def _part_of_released(self, at, time_us, size):
        """Whether width `at` shows an alert that was released; a larger |z| of the same peak is still its own."""
        for other in self.waiting:
            part = self._belongs(at, time_us, other)
            if part:
                if part > 0 and size > other.best:
                    self._take(other, at, time_us)
                return True
        return False

    def _step(self, at):
        """mean(newer box) - mean(older box) less what the baseline's slope makes of it, in 1e-9."""
        right, left, _, apart = self._boxes.sides(at)
        return right - left - self._baseline.slope_a_reading * apart

    def _peaked(self, at):
        right, left, a, apart = self._boxes.sides(at)
        step = right - left - self._baseline.slope_a_reading * apart
        most = ARRIVAL * (a if a >= 0.0 else -a)
        usual = USUAL * self._noise.step[at]
        if most < usual:
            most = usual
        return -most <= step <= most and (a > 0.0) == (self._boxes.zs[at] > 0.0)

    def _leaving(self, at):
        """Whether it is the older box that stands away from the baseline: something left, nothing came."""
        right, left, _, _ = self._boxes.sides(at)
        level = self._baseline.level
        return abs(left - level) > abs(right - level) + USUAL * self._noise.step[at]

    # ------------------------------------------------------------ the stages

    def _raise(self, at, time_us, now_us, events):
        self._number += 1
        recent = self._recent
        if len(recent) == MOST_RECENT:
            recent.pop(0)
        one = self.open = Pass(self._number, now_us, recent, self._reasons)
        recent.append(one)
        self._take(one, at, time_us)
        events.append(one.event("raised", self._boxes.widths_s))

    def _take(self, one, at, time_us):
        """What width `at` shows now is the extreme of `one`."""
        boxes = self._boxes
        z = boxes.zs[at]
        one.best = z if z >= 0.0 else -z
        if one.best > one.score:
            one.score = one.best
            one.best_at = boxes.count - int(boxes.lags[at] + 0.5)
        one.width = at
        one.scale = boxes.used[at]
        one.ground = self._noise.lobe[at]
        one.peaked = self._peaked(at)
        if one.peaked:
            one.peak_us = self._peak_us(at, time_us)
            one.peak_at = boxes.count - int(boxes.lags[at] + 0.5)
            one.peak = boxes.height(at)
            middle = int(boxes.lags[at])
            one.over = boxes.mean(middle - 1, middle + 1) - self._baseline.level if self._held else 0.0
        else:
            self._arrive(one, at, time_us)

    def _arrive(self, one, at, time_us):
        """Something is in the newer box of width `at` and has not peaked."""
        one.peak_us = time_us
        one.peak_at = self._boxes.count
        one.peak = self._step(at)

    def _continue(self, one, time_us, now_us, threshold, events):
        boxes = self._boxes
        zs = boxes.zs
        best = one.best if one.peaked else 0.0
        found = -1
        another = -1
        active = False
        release = self._release * threshold
        for at in range(len(zs)):
            size = zs[at] if zs[at] >= 0.0 else -zs[at]
            if size > one.score:
                one.score = size
                one.best_at = boxes.count - int(boxes.lags[at] + 0.5)
            if size < release:
                continue
            part = self._belongs(at, time_us, one) if one.peaked else 0
            if part == 0 and self._part_of_released(at, time_us, size):
                continue
            if part >= 0:
                active = True
            if part < 0:
                continue
            other_way = one.peaked and one.sign and (zs[at] > 0.0) != (one.sign > 0)
            if part == 0 and other_way and size >= threshold and self._peaked(at):
                # Another object, of the other kind.
                if another < 0 or size > abs(zs[another]):
                    another = at
                continue
            if size <= best:
                continue
            if self._peaked(at):
                found = at
                best = size
            elif one.peaked and part > 0 and at == one.width:
                # It only seemed to have peaked: more keeps arriving.
                one.peaked = False
                found = -1
                best = 0.0
                self._arrive(one, at, time_us)
        if another >= 0:
            self._close(one, now_us, events)
            self._raise(another, time_us, now_us, events)
            return
        if found >= 0:
            if one.peaked and (zs[found] > 0.0) != (one.peak > 0.0):
                one.opposite = one.best
            self._take(one, found, time_us)
        elif not one.peaked and not one.sign:
            self._arriving(one, time_us)
        if one.sign and one.peaked and one.sign != (1 if one.peak > 0.0 else -1):
            self._settle(one, now_us, events)
        elif not one.sign and now_us - one.raised_us >= SETTLE_US:
            self._settle(one, now_us, events)
        one.low = 0 if active else one.low + 1
        if one.sign and (one.low >= RELEASE_READINGS or now_us - one.raised_us >= self._longest_us):
            self._close(one, now_us, events)

    def _arriving(self, one, time_us):
        """Nothing has peaked yet: the largest short mean over the line of the baseline."""
        boxes = self._boxes
        value = boxes.mean(0, SHORT - 1) - self._baseline.level
        if value > one.peak > 0.0 or value < one.peak < 0.0:
            one.peak = value
            one.peak_us = time_us - SHORT // 2 * self._interval_us
            one.peak_at = boxes.count - SHORT // 2

    def _settle(self, one, now_us, events):
        one.sign = 1 if one.peak > 0.0 else -1
        one.settled_us = now_us
        events.append(one.event("settled", self._boxes.widths_s))

    def _close(self, one, now_us, events):
        one.released_us = now_us
        events.append(one.event("released", self._boxes.widths_s))
        self.open = None
        for other in self.waiting:
            reach = lobes.LOBE_TO * self._widths_us[one.width]
            if -reach < one.peak_us - other.peak_us < reach:
                other.neighbour = one.neighbour = True
        self.waiting.append(one)
        if len(self.waiting) > MOST_WAITING:
            self._finish(self.waiting.pop(0), None, False, events)

    def _look_back(self, now_us, held, events):
        boxes = self._boxes
        while self.waiting:
            one = self.waiting[0]
            back = boxes.count - one.peak_at
            if back < boxes.look_back:
                return
            self.waiting.pop(0)
            self._finish(one, self._measured(one), held, events, now_us)

    def _measured(self, one):
        boxes = self._boxes
        f = self._widths_us[one.width] / self._interval_us
        return lobes.measure(boxes, boxes.count - one.peak_at, f, self._baseline.slope_a_reading)

    def _contested(self, one, now_us, events):
        """Whether the frequency went as far the other way beside the peak; far more that way is the alert's sign."""
        boxes = self._boxes
        back = boxes.count - one.peak_at
        high, low, high_at, low_at = lobes.extremes(boxes, back, self._widths_us[one.width] / self._interval_us)
        own = high if one.sign > 0 else -low
        other = -low if one.sign > 0 else high
        sigma = self._noise.lobe[one.width]
        if other < SURE * one.scale or other < OTHER_SURE * sigma or other < OPPOSITE * own:
            return False
        if not one.peaked or other < TURNED * own or other < TURNED_SURE * sigma:
            return True
        self._move(one, back - (low_at if one.sign > 0 else high_at), -other if one.sign > 0 else other)
        self._settle(one, now_us, events)
        return False

    def _judged(self, one, now_us, events):
        """The same where the height says too little: by the late filters."""
        if not one.peaked:
            self._move(one, one.best_at - one.peak_at, one.peak)
        back = self._boxes.count - one.peak_at
        rise, fall = self._judge.look(back)
        best = rise if rise[0] > fall[0] else fall
        self._move(one, back - best[2], best[1])
        if (best[1] > 0.0) != (one.sign > 0):
            self._settle(one, now_us, events)
        return min(rise[0], fall[0]) > JUDGED_OPPOSITE * best[0]

    def _move(self, one, readings, peak):
        one.peak = peak
        one.peak_us += readings * self._interval_us
        one.peak_at += readings

    def _finish(self, one, measured, held, events, now_us=None):
        reasons = list(self._reasons)
        if one.sign == 0:
            reasons.append("not settled")
        if one.score < WEAK:
            reasons.append("too weak")
        if one.over * one.sign < 0.0:
            # Still on the other side of the held baseline: less of what the coil is over, not something else.
            reasons.append("moving over a held target")
        if measured is None and one.opposite > OPPOSITE * one.best:
            reasons.append("opposite lobe as strong")
        if measured is not None:
            sign = one.sign
            if self._judge is not None and (self._judge.unclear(one.peak, one.width) or not (one.peaked or held)):
                contested = self._judged(one, now_us, events)
            else:
                contested = self._contested(one, now_us, events)
            turned = one.sign != sign
            if contested or (turned and one.neighbour):
                reasons.append("opposite lobe as strong")
            if turned:
                measured = self._measured(one) or measured
            core, lobe, step = measured
            if not held and lobes.stayed(core, step, self._noise.step[one.width]):
                reasons.append("step in the ground")
            elif one.sign > 0 and lobes.flat_iron(core, lobe, self._noise.lobe[one.width]):
                reasons.append("two objects" if one.neighbour else "lobes of flat iron")
        one.reasons = tuple(reasons)
        events.append(one.event("final", self._boxes.widths_s))
