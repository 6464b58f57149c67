"""The statistic over several widths of a pass, and its scale.

For each width F (full width at half maximum of a pass) the answer a of a filter (filters.py): a is the height of a pass
of that width, in 1e-9, and z = a / scale.  Where the noise was learned, filter and scale are known from the start, and
the scale only grows, where the ground is far rougher than what was learned: slowly, but quickly where the statistic
hardly ever comes to rest.  Else the filter is the quietest of its colours on this ground, and the scale follows the
ground.
The ring holds the cumulative sum of y, a whole number modulo 2^30: small integers on the board, and any box is
one difference.  Runs under both interpreters.
"""

from array import array

from .filters import taps

MODULUS = 1 << 30
HALF = 1 << 29
MASK = MODULUS - 1
# Three boxes for the life of an alert, in widths: a centre, and one on either side (the newer one shorter where less of
# what comes later is known).  From the detector study on simulated sweeps.
CENTRE = 0.95
GAP = 0.3
LEFT = 0.8
RIGHT = 0.4
# How far back the ring reaches, in widths: the lobe test needs 3 on either side of a peak.
REACH = 6.7
LOOK_BACK = 3.6
# The scale: median of |a| over .6745, a tracker in steps of a tenth of a second that forgets in FORGET_S.
MEDIAN_OF_ABS = 0.6745
FORGET_S = 15.0
STEP_S = 0.1
# A narrow width's scale is at least this share of the next wider one's: where the ground is smooth the narrow widths
# see little of it but its rare dips, which a median does not know.  Chosen, as FORGET_S and FREEZE, on the tuning
# scenes of tests/bench/detection: 0.35 finds a tenth more on mineral soil at one false alarm a minute, but needs 7.3
# sigma for it where other grounds need 4.5; with 0.5 one threshold does for both.
NARROW = 0.5
# With a learned noise: the scale is what was learned until the answers are larger than that by ROOM, over a longer
# time, so that objects and the ordinary ups and downs of one ground do not move it (on the same scenes a scale that
# follows the ground costs .06 of what is found).  What has shrunk below LEAST_SHARE of what was learned counts as that.
# The freeze is for |z| that ground of twice the noise does not reach.
LEARNED_FORGET_S = 20.0
LEARNED_FREEZE = 7.0
ROOM = 1.4
GROWTH = 1.5  # the scale grows by so much of what is beyond ROOM, until it is that of the ground
LEAST_SHARE = 0.5
# What was learned is not of this ground where |z| is hardly ever below FREEZE: between objects it is in six of ten
# steps, on garden soil with the noise of a bench in two.  A step without rest counts REST_LESS, one with it takes REST
# back; at RESTLESS, 6 s with no rest at all, the scales move as quickly as at the start.  On the same scenes.
REST_LESS = 2
REST = 3
RESTLESS = 120
# While |z| has lately been above FREEZE the scale stands still, but no longer than FREEZE_MOST_S: ground that is
# rougher than it was must be learned in the end.  Fixed levels, so that z does not depend on the threshold.
FREEZE = 4.0
FREEZE_S = 0.6
FREEZE_MOST_S = 1.0
# For so long after the boxes have filled the scales are 1.25 times the mean |a| (a Gaussian's sigma), and nothing is
# told.
SETTLE_S = 2.0
SIGMA_OF_MEAN = 1.2533
FIRST_STEPS = 300  # in which the scales move quicker


class Boxes:
    """push(y) moves on by one reading.

    z: of the width that answers most, `width` its number (0.0 while not ready); zs: z of every width; used: the scales
    that these were divided by, in 1e-9; lags: readings from the newest back to the middle of a pass of each width
    (floats); count: readings since the start.
    """

    def __init__(self, widths_s, interval_s, floor_ppb, noise_ppm_rthz=()):
        self.widths_s = widths_s
        longest = widths_s[len(widths_s) - 1] / interval_s
        filters = [taps(width / interval_s, interval_s, noise_ppm_rthz) for width in widths_s]
        self._lags = tuple([one[0] for one in filters])
        self._gains = tuple([one[1] for one in filters])
        self._fill = max([lags[0] for lags in self._lags])
        size = 16
        while size < REACH * longest + 16 or size <= self._fill:
            size *= 2
        self._mask = size - 1
        self.ring = array("i", [0] * size)
        # y beyond this is clipped, so that no sum passes half the modulus.
        self.limit = HALF // (self._fill + 3)
        plan = []
        for i in range(len(widths_s)):
            plan.append(_three_boxes(widths_s[i] / interval_s, filters[i][2]))
        self._plan = tuple(plan)
        self.lags = tuple([one[2] - 0.5 for one in filters])
        # Readings after a peak before the whole of it can be looked at: so many widths, and the longest counts.
        self.look_back = int(LOOK_BACK * longest + 0.5)
        self._step = max(1, int(STEP_S / interval_s + 0.5))
        self._settle = self._fill + int(SETTLE_S / interval_s + 0.5)
        # By width, empty where no noise was learned.
        self._learned = [max(one[3], floor_ppb) for one in filters] if noise_ppm_rthz else []
        self._floors = [LEAST_SHARE * sigma for sigma in self._learned] or [floor_ppb] * len(widths_s)
        self._eta_least = self._step * interval_s / (LEARNED_FORGET_S if self._learned else FORGET_S)
        self._freeze_from = LEARNED_FREEZE if self._learned else FREEZE
        self._freeze = int(FREEZE_S / interval_s + 0.5)
        self._freeze_most = int(FREEZE_MOST_S / interval_s + 0.5)
        # One for each colour of each width: the sums of the start, then the scales.
        self._scales = [[0.0] * len(gains) for gains in self._gains]
        self.used = [floor_ppb] * len(widths_s)
        self._filters = [[0.0, lags, gains[0]] for lags, gains in zip(self._lags, self._gains)]
        self._steps = 0  # of the scales, while these were free to move
        self.ready = False
        self._known = False
        self.restart()

    def restart(self, anew=False):
        """The boxes fill anew.  Scales that have settled once are kept (same coil, same ground), but for `anew`."""
        self._known = (self.ready or self._known) and not anew
        if not self._known:
            self._steps = 0
            self._scales = [[0.0] * len(gains) for gains in self._gains]
            if self._learned:
                self._known = True
                self._steps = FIRST_STEPS
                self._scales = [[sigma] for sigma in self._learned]
                self._choose()
        self.ready = False
        self.count = 0  # readings since the start
        self.clipped = 0  # readings that were beyond the limit; whoever looks sets it back
        self.at = 0
        self.ring[0] = 0
        self._sum = 0
        self._in_step = 0
        self._frozen = 0
        self._frozen_for = 0
        self._most = 0.0  # largest |z| of this step
        self._restless = 0
        self.z = 0.0
        self.width = 0
        self.zs = [0.0] * len(self.widths_s)

    def push(self, y):
        """Takes one reading in 1e-9."""
        limit = self.limit
        if y > limit:
            y = limit
            self.clipped += 1
        elif y < -limit:
            y = -limit
            self.clipped += 1
        ring = self.ring
        mask = self._mask
        newest = self._sum = (self._sum + y) & MASK
        at = self.at = (self.at + 1) & mask
        ring[at] = newest
        count = self.count = self.count + 1
        if count < self._fill:
            return
        self._in_step += 1
        if not self.ready:
            if not self._known:
                if self._in_step == self._step:
                    self._in_step = 0
                    self._begin()
                return
            self.ready = True
        zs = self.zs
        best = 0.0
        width = 0
        i = 0
        for scale, lags, gains in self._filters:
            a = 0.0
            j = 0
            for lag in lags:
                part = newest - ring[(at - lag) & mask]
                if part >= HALF:
                    part -= MODULUS
                elif part < -HALF:
                    part += MODULUS
                a += part * gains[j]
                j += 1
            z = zs[i] = a / scale
            if z > best or z < -best:
                best = z if z > 0.0 else -z
                width = i
            i += 1
        self.width = width
        self.z = zs[width]
        if best > self._most:
            self._most = best
        if self._in_step == self._step:
            self._in_step = 0
            self._end_step()

    def _answers(self, i):
        """|a| of width `i` in each colour."""
        ring = self.ring
        mask = self._mask
        at = self.at
        newest = self._sum
        parts = []
        for lag in self._lags[i]:
            part = newest - ring[(at - lag) & mask]
            if part >= HALF:
                part -= MODULUS
            elif part < -HALF:
                part += MODULUS
            parts.append(part)
        out = []
        for gains in self._gains[i]:
            a = 0.0
            for j in range(len(parts)):
                a += parts[j] * gains[j]
            out.append(a if a >= 0.0 else -a)
        return out

    def _begin(self):
        """A step of the start: the mean |a| of each filter."""
        self._steps += 1
        last = self.count >= self._settle
        for i in range(len(self._scales)):
            sums = self._scales[i]
            sizes = self._answers(i)
            for m in range(len(sums)):
                sums[m] += sizes[m]
                if last:
                    scale = SIGMA_OF_MEAN * sums[m] / self._steps
                    sums[m] = scale if scale > self._floors[i] else self._floors[i]
        if last:
            self._steps = 0
            self.ready = True
            self._choose()

    def _end_step(self):
        """The scales move, or stand still while something is there, but not for ever."""
        most = self._most
        self._most = 0.0
        if self._learned:
            self._restless = self._restless + REST_LESS if most > FREEZE else max(0, self._restless - REST)
            if self._restless >= RESTLESS:
                self._restless = 0
                self._steps = 0
        # Where the learned noise is another ground's, there is nothing to be frozen for.
        unlike = self._learned and self._steps < FIRST_STEPS
        if most > self._freeze_from and self._frozen_for < self._freeze_most and not unlike:
            self._frozen = self._freeze
        if self._frozen > 0:
            self._frozen -= self._step
            self._frozen_for += self._step
            return
        if most < self._freeze_from:
            self._frozen_for = 0
        self._steps += 1
        eta = self._eta_least
        if self._steps < FIRST_STEPS:
            first = 2.0 / (self._steps + 20)
            if first > eta:
                eta = first
        up = 1.0 + eta
        for i in range(len(self._scales)):
            scales = self._scales[i]
            sizes = self._answers(i)
            for m in range(len(scales)):
                scale = scales[m]
                if sizes[m] > MEDIAN_OF_ABS * scale:
                    scales[m] = scale * up
                else:
                    scale /= up
                    scales[m] = scale if scale > self._floors[i] else self._floors[i]
        self._choose()

    def _choose(self):
        """For each width the filter that is the quietest, and the scale that its answers are divided by."""
        used = self.used
        wider = 0.0
        for i in range(len(used) - 1, -1, -1):
            scales = self._scales[i]
            scale = min(scales)
            one = self._filters[i]
            one[2] = self._gains[i][scales.index(scale)]
            if self._learned:
                learned = self._learned[i]
                grown = learned + GROWTH * (scale - ROOM * learned)
                scale = max(learned, min(grown, scale))
                if scale < NARROW * wider:
                    scale = NARROW * wider
                # What was learned of this very ground tells more of the narrow widths than the next wider one.
                wider = scale if scale > ROOM * learned else 0.0
            else:
                if scale < NARROW * wider:
                    scale = NARROW * wider
                wider = scale
            one[0] = used[i] = scale

    @property
    def roughness(self):
        """The scales in use over the learned ones, the largest of any width; None where no noise was learned."""
        if not self._learned:
            return None
        return max([self.used[i] / self._learned[i] for i in range(len(self.used))])

    def mean(self, newest, oldest):
        """Mean of y over the readings `newest` .. `oldest` back (0 is the latest; oldest >= newest), in 1e-9."""
        ring = self.ring
        at = self.at
        total = ring[(at - newest) & self._mask] - ring[(at - oldest - 1) & self._mask]
        if total >= HALF:
            total -= MODULUS
        elif total < -HALF:
            total += MODULUS
        return total / (oldest - newest + 1)

    def sides(self, at):
        """mean(right), mean(left) and the answer of the three boxes of width number `at`, in 1e-9, and the readings
        between the middles of right and left.
        """
        right_new, right_old, centre_new, centre_old, left_new, left_old, share, apart = self._plan[at]
        right = self.mean(right_new, right_old)
        left = self.mean(left_new, left_old)
        centre = self.mean(centre_new, centre_old)
        return right, left, centre - share * left - (1.0 - share) * right, apart

    def answer(self, lags, gains, back):
        """Of a filter whose newest edge is `back` readings ago, in 1e-9."""
        ring = self.ring
        mask = self._mask
        at = self.at - back
        newest = ring[at & mask]
        a = 0.0
        for j in range(len(lags)):
            part = newest - ring[(at - lags[j]) & mask]
            if part >= HALF:
                part -= MODULUS
            elif part < -HALF:
                part += MODULUS
            a += part * gains[j]
        return a

    def height_boxes(self, at):
        """What height() of width number `at` is made of: readings back of the newest and the oldest, and the weight."""
        right_new, right_old, _, _, left_new, left_old, share, _ = self._plan[at]
        middle = int(self.lags[at])
        return (middle - 1, middle + 1, 1.0), (left_new, left_old, -share), (right_new, right_old, share - 1.0)

    def height(self, at):
        """The short mean in the middle of a pass of width number `at` over the line through both outer boxes, 1e-9."""
        a = 0.0
        for newest, oldest, weight in self.height_boxes(at):
            a += weight * self.mean(newest, oldest)
        return a


def _three_boxes(f, latest):
    """Readings back of the newest and the oldest of the right, centre and left box for a width of `f` readings whose
    middle is `latest` readings back, the share of the left one in the line, and the readings between right and left.
    """
    half = max(1, int(CENTRE * f / 2 + 0.5))
    gap = int(GAP * f + 0.5)
    right = max(1, min(int(RIGHT * f + 0.5), latest - half - gap))
    left = max(1, int(LEFT * f + 0.5))
    if latest - half - gap < 1:
        gap = max(0, latest - half - 1)
    right_new = max(0, latest - half - gap - right)
    right_old = right_new + right - 1
    centre_new = max(right_old + 1, latest - half)
    centre_old = latest + half - 1
    left_new = centre_old + 1 + gap
    left_old = left_new + left - 1
    middle = (centre_new + centre_old) / 2
    to_right = middle - (right_new + right_old) / 2
    to_left = (left_new + left_old) / 2 - middle
    apart = to_left + to_right
    return right_new, right_old, centre_new, centre_old, left_new, left_old, to_right / apart, apart
