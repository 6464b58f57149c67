"""The life of an alert: raised, its sign settled, released, and final once the whole pass has been looked at.

Runs under both interpreters.
"""

from . import lobes
from .records import Alert

# From the detector study on simulated sweeps.
SETTLE_US = 200000  # the sign is that of the largest z this long after the raise
LONGEST_US = 2000000
RELEASE_READINGS = 5  # in a row below the release level
GUARD_US = 600000  # a weaker alert of the other sign within this is a side lobe
STEP_SCORE = 5.0  # below this a step is not told from noise
# In widths: the box that leads a peak has its middle this far before it, and it answers with the other sign.
LEAD = 1.3
SHORT = 3  # readings of the short mean that a step's sign is taken from
# An extreme of the other sign this strong leaves the sign open.  Chosen on simulated sweeps.
OPPOSITE = 0.85
# Below this score the study has no figures.
WEAK = 3.6
MOST_WAITING = 4

WORDS = ("uncertain", "non-ferrous", "ferrous")  # by sign: 0, +1, -1


def confidence(score, contested):
    """Probability that the sign is right, by score: first calibration, from the detector study's simulated sweeps.

    contested: an extreme of the other sign above 0.6 of the score stood beside it.
    """
    if score < 8.0:
        return 0.91
    if not contested:
        return 0.994 if score > 25.0 else (0.975 if score > 12.0 else 0.94)
    return 0.97 if score > 25.0 else 0.94


class Pass:
    """One alert while it can still change."""

    def __init__(self, number, now_us):
        self.number = number
        self.raised_us = now_us
        self.settled_us = None
        self.released_us = None
        self.sign = 0
        self.z = 0.0  # at the extreme
        self.opposite = 0.0  # largest |z| of the other sign since the raise
        self.low = 0  # readings in a row below the release level
        self.neighbour = False
        self.reasons = ()

    def take(self, z, boxes, time_us, interval_us):
        """This reading is the extreme so far."""
        width = boxes.width
        self.z = z
        self.a = boxes.a
        self.width = width
        self.scale = boxes.scales[width]
        lag = boxes.lags[width]
        self.peak_us = time_us - int(lag * interval_us)
        self.peak_at = boxes.count - int(lag + 0.5)
        self.seen_us = time_us
        self.sides = boxes.sides()

    def event(self, stage, widths_s):
        score = self.z if self.z >= 0.0 else -self.z
        sign = self.sign
        response = "uncertain" if self.reasons else WORDS[sign]
        peak = self.a if self.a >= 0.0 else -self.a
        sure = None
        if sign and not self.reasons:
            sure = confidence(score, self.opposite > 0.6 * score)
        return Alert(
            stage, self.number, self.raised_us, self.settled_us, self.released_us, self.peak_us, sign, response,
            self.reasons, score, peak * sign if sign else self.a, sure, widths_s[self.width],
        )


class Alerts:
    """Turns the statistic into alerts.  step() once a reading, end() where the series ends or breaks."""

    def __init__(self, boxes, baseline, interval_us, release_fraction):
        self._boxes = boxes
        self._baseline = baseline
        self._interval_us = interval_us
        self._release = release_fraction
        self._number = 0
        self.open = None
        self.waiting = []
        self._last = None  # the alert before, for the side-lobe guard

    def step(self, time_us, now_us, threshold, held, events):
        """time_us: middle of the newest reading; now_us: when it was known.  Appends to `events`.

        held: the baseline is held because the coil rests over something.
        """
        boxes = self._boxes
        z = boxes.z
        size = z if z >= 0.0 else -z
        one = self.open
        if one is None:
            if size >= threshold and not self._lobe(z, size, time_us):
                self._raise(z, time_us, now_us, events)
        else:
            self._continue(one, z, size, time_us, now_us, threshold, events)
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
        self._last = None

    def _lobe(self, z, size, time_us):
        last = self._last
        if last is None or (z > 0.0) == (last.sign > 0):
            return False
        score = last.z if last.z >= 0.0 else -last.z
        return size < score and time_us - last.seen_us <= GUARD_US

    def _raise(self, z, time_us, now_us, events):
        self._number += 1
        one = self.open = Pass(self._number, now_us)
        one.take(z, self._boxes, time_us, self._interval_us)
        events.append(one.event("raised", self._boxes.widths_s))

    def _continue(self, one, z, size, time_us, now_us, threshold, events):
        boxes = self._boxes
        score = one.z if one.z >= 0.0 else -one.z
        same = (z >= 0.0) == (one.z >= 0.0)
        if size > score:
            if not same:
                if one.sign and not self._leads(one, time_us):
                    # Another object, of the other kind.
                    self._close(one, now_us, events)
                    self._raise(z, time_us, now_us, events)
                    return
                one.opposite = score
            one.take(z, boxes, time_us, self._interval_us)
            if one.sign and not same:
                # What was raised was the lobe that leads this peak.
                self._settle(one, now_us, events)
            score = size
        elif not same and size > one.opposite:
            one.opposite = size
        if not one.sign and now_us - one.raised_us >= SETTLE_US:
            self._settle(one, now_us, events)
        release = self._release * threshold
        if size < release or not same:
            one.low += 1
        else:
            one.low = 0
        if one.sign and (one.low >= RELEASE_READINGS or now_us - one.raised_us >= LONGEST_US):
            self._close(one, now_us, events)

    def _leads(self, one, time_us):
        """Whether the open alert's extreme is the lobe that leads the peak now seen."""
        boxes = self._boxes
        peak_us = time_us - int(boxes.lags[boxes.width] * self._interval_us)
        return peak_us - one.peak_us <= LEAD * boxes.widths_s[boxes.width] * 1000000

    def _settle(self, one, now_us, events):
        one.sign = 1 if one.z >= 0.0 else -1
        right, left = one.sides
        step = right - left
        size = one.a if one.a >= 0.0 else -one.a
        if (step > size or step < -size) and (one.z > STEP_SCORE or one.z < -STEP_SCORE):
            one.sign = self._step_sign(now_us - one.raised_us)
        one.settled_us = now_us
        events.append(one.event("settled", self._boxes.widths_s))

    def _step_sign(self, since_us):
        """The sign of the largest short mean against the line that the baseline was left on."""
        boxes = self._boxes
        level = self._baseline.level
        best = 0.0
        for back in range(int((since_us + SETTLE_US) // self._interval_us)):
            value = boxes.mean(back, back + SHORT - 1) - level
            if value > best or value < -best:
                best = value if value >= 0.0 else -value
                sign = 1 if value >= 0.0 else -1
        return sign

    def _close(self, one, now_us, events):
        one.released_us = now_us
        events.append(one.event("released", self._boxes.widths_s))
        self.open = None
        self._last = one
        for other in self.waiting:
            if self._near(one, other):
                other.neighbour = one.neighbour = True
        self.waiting.append(one)
        if len(self.waiting) > MOST_WAITING:
            self._finish(self.waiting.pop(0), None, False, events)

    def _near(self, one, other):
        reach = (lobes.LOBE_TO * self._boxes.widths_s[one.width]) * 1000000
        return abs(one.peak_us - other.peak_us) < reach

    def _look_back(self, held, events):
        boxes = self._boxes
        while self.waiting:
            one = self.waiting[0]
            f = boxes.widths_s[one.width] * 1000000 / self._interval_us
            back = boxes.count - one.peak_at
            if back < int(lobes.WIDE_TO * f + 0.5):
                return
            self.waiting.pop(0)
            self._finish(one, lobes.measure(boxes, back, f), held, events)

    def _finish(self, one, measured, held, events):
        reasons = []
        score = one.z if one.z >= 0.0 else -one.z
        if one.sign == 0:
            one.sign = 1 if one.z >= 0.0 else -1
        if score < WEAK:
            reasons.append("too weak")
        if one.opposite > OPPOSITE * score:
            reasons.append("opposite lobe as strong")
        if measured is not None:
            core, lobe, step = measured
            if not held and lobes.stayed(core, step):
                reasons.append("step in the ground")
            elif one.sign > 0 and lobes.flat_iron(core, lobe, one.scale):
                reasons.append("two objects" if one.neighbour else "lobes of flat iron")
        one.reasons = tuple(reasons)
        events.append(one.event("final", self._boxes.widths_s))
