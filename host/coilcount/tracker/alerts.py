"""The life of alerts: raised, sign settled, released, and final once the whole pass has been looked at.

The three boxes of a wide width answer an object three times: before its peak, with the other sign, when it is in the
newer box; at the peak; and after it, with the other sign, when it is in the older box.  What follows keeps the three
together.
Runs under both interpreters.
"""

from . import lobes
from .alert import Pass

# From the detector study on simulated sweeps.
SETTLE_US = 200000  # the sign is taken this long after the raise
LONGEST_US = 2000000
RELEASE_READINGS = 5  # in a row below the release level
SHORT = 3  # readings of the short mean that an arrival's sign is taken from
# The rest was chosen on simulated sweeps, with the study's figures as the start.
# mean(newer) - mean(older) beyond this many |a|: an object in an outer box, or a step, not a peak in the centre box.
# (An object that fills one outer box alone gives 1.8 or 2.2.)
ARRIVAL = 1.4
# In widths from a peak: where the answer of another width is still that peak, and where it is a lobe of it.
SAME = 0.7
LOBE_FROM = 0.3
LOBE_TO = 2.1
# A wide pass bends the line of a narrow width as far as this many of that width and one of its own, but by little.
BEND_TO = 1.5
BEND = 0.25
# An extreme of the other sign this strong (a share of the alert's own), and this far above the noise, leaves the sign
# open.
OPPOSITE = 0.85
SURE = 6.0
# Below this score the study has no figures.
WEAK = 3.6
MOST_WAITING = 6


class Alerts:
    """Turns the statistic into alerts.  step() once a reading, end() where the series ends or breaks."""

    def __init__(self, boxes, baseline, interval_us, release_fraction):
        self._boxes = boxes
        self._baseline = baseline
        self._interval_us = interval_us
        self._release = release_fraction
        self._widths_us = [width * 1e6 for width in boxes.widths_s]
        self._number = 0
        self.open = None
        self.waiting = []  # released, not yet final

    def step(self, time_us, now_us, threshold, held, events):
        """time_us: middle of the newest reading; now_us: when it was known.  Appends to `events`.

        held: the baseline is held because the coil rests over something.
        """
        if self.open is not None:
            self._continue(self.open, time_us, now_us, threshold, events)
        if self.open is None:
            at = self._fresh(time_us, threshold)
            if at >= 0:
                self._raise(at, time_us, now_us, events)
        if self.waiting:
            self._look_back(held, events)

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
        if (z > 0.0) == (one.peak > 0.0):
            return 1 if away <= SAME * width_us else 0
        if away < LOBE_FROM * width_us:
            return 0
        a = z * boxes.used[at]
        share = -a / one.peak if one.peak else 1.0
        if away <= LOBE_TO * width_us:
            return -1 if share < 1.0 else 0
        return -1 if share < BEND and away <= BEND_TO * width_us + self._widths_us[one.width] else 0

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
        right, left, apart = self._boxes.sides(at)
        return right - left - self._baseline.slope_a_reading * apart

    def _peaked(self, at):
        step = self._step(at)
        a = self._boxes.zs[at] * self._boxes.used[at]
        most = ARRIVAL * (a if a >= 0.0 else -a)
        return -most <= step <= most

    def _leaving(self, at):
        """Whether it is the older box that stands away from the baseline: something left, nothing came."""
        right, left, _ = self._boxes.sides(at)
        level = self._baseline.level
        return abs(left - level) > abs(right - level)

    # ------------------------------------------------------------ the stages

    def _raise(self, at, time_us, now_us, events):
        self._number += 1
        one = self.open = Pass(self._number, now_us)
        self._take(one, at, time_us)
        events.append(one.event("raised", self._boxes.widths_s))

    def _take(self, one, at, time_us):
        """What width `at` shows now is the extreme of `one`."""
        boxes = self._boxes
        z = boxes.zs[at]
        one.best = z if z >= 0.0 else -z
        if one.best > one.score:
            one.score = one.best
        one.width = at
        one.scale = boxes.used[at]
        one.peaked = self._peaked(at)
        if one.peaked:
            one.peak_us = self._peak_us(at, time_us)
            one.peak_at = boxes.count - int(boxes.lags[at] + 0.5)
            one.peak = boxes.height(at)
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
            if size < release:
                continue
            part = self._belongs(at, time_us, one) if one.peaked else 0
            if part == 0 and self._part_of_released(at, time_us, size):
                continue
            if part >= 0:
                active = True
            if part < 0:
                continue
            if part == 0 and one.sign and size >= threshold and (zs[at] > 0.0) != (one.sign > 0) and self._peaked(at):
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
        if another >= 0 and one.peaked:
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
        if one.sign and (one.low >= RELEASE_READINGS or now_us - one.raised_us >= LONGEST_US):
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

    def _look_back(self, held, events):
        boxes = self._boxes
        while self.waiting:
            one = self.waiting[0]
            back = boxes.count - one.peak_at
            if back < boxes.look_back:
                return
            self.waiting.pop(0)
            f = self._widths_us[one.width] / self._interval_us
            measured = lobes.measure(boxes, back, f, self._baseline.slope_a_reading)
            self._finish(one, measured, held, events)

    def _contested(self, one):
        """Whether the frequency went as far the other way beside the peak."""
        boxes = self._boxes
        back = boxes.count - one.peak_at
        high, low = lobes.extremes(boxes, back, self._widths_us[one.width] / self._interval_us)
        own = high if one.sign > 0 else -low
        other = -low if one.sign > 0 else high
        return other > SURE * one.scale and other > OPPOSITE * own

    def _finish(self, one, measured, held, events):
        reasons = []
        if one.sign == 0:
            reasons.append("not settled")
        if one.score < WEAK:
            reasons.append("too weak")
        if measured is None and one.opposite > OPPOSITE * one.best:
            reasons.append("opposite lobe as strong")
        if measured is not None:
            core, lobe, step = measured
            if self._contested(one):
                reasons.append("opposite lobe as strong")
            if not held and lobes.stayed(core, step, one.scale):
                reasons.append("step in the ground")
            elif one.sign > 0 and lobes.flat_iron(core, lobe, one.scale):
                reasons.append("two objects" if one.neighbour else "lobes of flat iron")
        one.reasons = tuple(reasons)
        events.append(one.event("final", self._boxes.widths_s))
