"""How often noise alone reaches a score: running counts of the peaks of the detection statistic, by sign.

Rises and dips are counted apart, because the dips of soil and hand have the heavier tail.  The counts do not depend on
any threshold.  From them come the threshold for an allowed rate of false alarms, and the rarity of an alert.

The model: peaks of noise become rarer exponentially in x = z^1.25.  Three bands of z of equal width in x are counted.
Objects give peaks too.  They are spread evenly over the logarithm of their strength, so the number of strong peaks
tells how many of the weak ones are objects.  The rest is noise, and its fall from band to band gives the slope.
The model and its constants are from an earlier simulation study, not repeated here.  How well it holds: README of
tests/bench/detection.
Runs under both interpreters.
"""

from math import sqrt

from .plain_math import exp, ln

LOWEST = 2.5  # sigma: lower peaks are not counted
# Sigma: upper ends of the three bands.  In z^1.25 they are equally wide.
BAND_ENDS = (3.020, 3.519, 4.0)
X_LOWEST = 3.1436  # LOWEST^1.25
X_STEP = 0.8378  # width of a band in z^1.25
FAR = (5.0, 8.0)  # sigma: peaks in this band are objects
# Peaks of objects in each band, as a share of those in the band FAR: ln(upper end / lower end) / ln(8 / 5).
OBJECT_SHARES = (0.402, 0.325, 0.273)
# At least this share of the peaks of each band is noise, however many objects there are.
LEAST_NOISE = (0.8, 0.5, 0.3)
# Peaks of noise in one minute of ordinary soil, by band.  They count as one minute heard before the start.
USUAL_RISES = (9.68, 2.89, 0.71)
USUAL_DIPS = (9.32, 3.53, 1.39)
KEEP = 0.9958420  # exp(-1 / 240): share of the counts that is kept from second to second, 4 minutes of memory
SECOND_MIN = 1.0 / 60.0
KNOWN_MIN = 1.574  # 4 (1 - exp(-2 / 4)) minutes: what is left of 2 minutes after forgetting
MOST_SLOPE = 0.95  # mean number of the band above the lowest: more is no exponential
# At a start the thresholds are higher by CAUTION, which falls to 0 in CAUTIOUS_MIN minutes.  Source: fresh trackers on
# the tuning scenes of tests/bench/detection without objects (garden, mineral soil, bench, hot sun).  At one false alarm
# a minute they gave 2.25 a minute in their first 30 s without it, and 0.8 to 0.9 afterwards.
CAUTION = 0.2
CAUTIOUS_MIN = 0.5
LEAST_THRESHOLD = 3.0  # sigma
MOST_THRESHOLD = 9.0  # sigma
RAREST_MIN = 10.0  # minutes: four minutes of counts cannot tell what is rarer


class SignCounts:
    """The counts of one sign: peaks in each of three bands, those in FAR, and the minutes heard."""

    def __init__(self, usual):
        """usual: peaks in one minute of ordinary soil, by band."""
        self._usual = usual
        self.bands = [0.0, 0.0, 0.0]
        self.far = 0.0
        self.minutes = 0.0
        self.fit()

    def add(self, z):
        """Count a peak of z sigma."""
        if z < BAND_ENDS[2]:
            if z >= LOWEST:
                self.bands[0 if z < BAND_ENDS[0] else 1 if z < BAND_ENDS[1] else 2] += 1.0
        elif FAR[0] <= z < FAR[1]:
            self.far += 1.0

    def second(self):
        """One more second was heard."""
        bands = self.bands
        for i in range(3):
            bands[i] *= KEEP
        self.far *= KEEP
        self.minutes = self.minutes * KEEP + SECOND_MIN
        self.fit()

    def fit(self):
        """Fit the model: `rate` peaks a minute of LOWEST and more, and `slope` in z^1.25.

        The slope has the largest likelihood of a geometric distribution that was cut after the third band.
        """
        total = 0.0
        above = 0.0
        for i in range(3):
            noise = self.bands[i] - OBJECT_SHARES[i] * self.far
            least = LEAST_NOISE[i] * self.bands[i]
            if noise < least:
                noise = least
            noise += self._usual[i]
            total += noise
            above += i * noise
        mean = above / total
        if mean > MOST_SLOPE:
            mean = MOST_SLOPE
        ratio = (mean - 1.0 + sqrt((1.0 - mean) * (1.0 - mean) + 4.0 * mean * (2.0 - mean))) / (2.0 * (2.0 - mean))
        self.slope = -ln(ratio) / X_STEP
        self.rate = total / (self.minutes + 1.0) / (1.0 - ratio * ratio * ratio)

    def threshold(self, false_alarms_per_minute):
        """Return the threshold in sigma.  Each sign gets half of the allowed false alarms."""
        x = X_LOWEST + ln(2.0 * self.rate / false_alarms_per_minute) / self.slope
        if x < 1.0:
            return LEAST_THRESHOLD
        z = exp(0.8 * ln(x))
        return LEAST_THRESHOLD if z < LEAST_THRESHOLD else MOST_THRESHOLD if z > MOST_THRESHOLD else z


def rarity_min(model, sign, score):
    """Return in how many minutes noise alone gives a peak of `score` sigma and more once, of either sign.

    model: from NoiseCounts.model().  sign: of the peak.  At most RAREST_MIN.  None if the model is None.
    """
    if model is None:
        return None
    rate, slope = model[0 if sign > 0 else 1]
    each = 2.0 * rate * exp(-slope * (score * sqrt(sqrt(score)) - X_LOWEST))
    return 1.0 / each if each * RAREST_MIN > 1.0 else RAREST_MIN


_usual = (SignCounts(USUAL_RISES), SignCounts(USUAL_DIPS))


def usual_thresholds(false_alarms_per_minute):
    """Return (rise, fall): the thresholds in sigma for ordinary soil, before anything was heard."""
    return _usual[0].threshold(false_alarms_per_minute), _usual[1].threshold(false_alarms_per_minute)


class NoiseCounts:
    """The counts of both signs.

    rises, dips: a SignCounts each.  The dips leave out those that are broader than any pass.
    """

    def __init__(self):
        self.rises = SignCounts(USUAL_RISES)
        self.dips = SignCounts(USUAL_DIPS)

    def second(self):
        """One more second was heard."""
        self.rises.second()
        self.dips.second()

    def thresholds(self, false_alarms_per_minute):
        """Return (rise, fall): the thresholds in sigma that allow this many false alarms a minute.

        In the first half minute they are higher, because the scale of the statistic is not known well.
        """
        rise = self.rises.threshold(false_alarms_per_minute)
        fall = self.dips.threshold(false_alarms_per_minute)
        heard = self.rises.minutes
        if heard >= CAUTIOUS_MIN:
            return rise, fall
        caution = 1.0 + CAUTION * (1.0 - heard / CAUTIOUS_MIN)
        return caution * rise, caution * fall

    def model(self):
        """Return ((rate, slope) of rises, the same of dips); None until two minutes have been heard."""
        rises, dips = self.rises, self.dips
        if rises.minutes < KNOWN_MIN:
            return None
        return (rises.rate, rises.slope), (dips.rate, dips.slope)

    def state(self):
        """Return what was counted, as a list of 10 floats: three bands, far and minutes, for rises and for dips."""
        out = []
        for counts in (self.rises, self.dips):
            out.extend(counts.bands)
            out.extend((counts.far, counts.minutes))
        return out

    def restore(self, state):
        """Go on from what state() returned.  Raises ValueError if it is no such list."""
        if len(state) != 10 or not all([0.0 <= value < 1e6 for value in state]):
            raise ValueError("the counts of the noise are 10 numbers from 0 to 1e6, not %r" % (state,))
        for i, counts in enumerate((self.rises, self.dips)):
            counts.bands = [float(value) for value in state[5 * i : 5 * i + 3]]
            counts.far = float(state[5 * i + 3])
            counts.minutes = float(state[5 * i + 4])
            counts.fit()
