"""The filter bank: one filter for each width of a pass, and the detection statistic that it makes of each reading.

For each width F (full width at half maximum of a pass) the answer a of its filter is the height of a pass of that width
in 1e-9.  z = a / scale is the statistic.  Filters and scales follow what the learners (learner.py) hear of the soil.
They do not depend on any threshold.
Runs under both interpreters.
"""

from .filters import LEAST_READINGS, early_edges
from .learner import FEW, SAMPLE_S, Learner
from .ring import LIMIT, Ring

# Three averaging windows for the life of an alert, in widths: a centre, and one on either side.  The newer one is
# shorter if less of what comes later is known.  From an earlier simulation study, not repeated here.
CENTRE = 0.95
GAP = 0.3
LEFT = 0.8
RIGHT = 0.4
# How far back the ring reaches, in widths: the lobe test needs 3 on either side of a peak.
REACH = 6.7
LOOK_BACK = 3.6
# The scale of a narrow width is at least this share of the next wider one's: if the soil is smooth the narrow widths
# see little of it except its rare dips.  Chosen on the tuning scenes of tests/bench/detection.
NARROW = 0.3
# Seconds for which a new tracker only listens, after the filters have filled.  From an earlier simulation study, as
# STEP_S, LOUD and LOUD_STEPS are.
LISTEN_S = 2.0
# Samples between two solutions for the filter of one width: two seconds.  Chosen by hand, for the cost.
SOLVE_SAMPLES = 10
# Seconds in a step: the time in which |z| is either loud or not.
STEP_S = 0.1
# |z|.  Above it an object may be near: nothing is learned from this step and the next LOUD_STEPS.
LOUD = 4.0
LOUD_STEPS = 4
# So many steps in a row that are not loud are a rest.  After a rest in the last RESTLESS_STEPS the soil is not taken
# for rougher: it was objects that were heard.  Chosen on the tuning scenes of tests/bench/detection.
REST_STEPS = 10
RESTLESS_STEPS = 40
# A count of readings that no series reaches.  It fits into a small integer of the board.
NEVER = (1 << 30) - 1


class FilterBank:
    """push(y) moves on by one reading.

    zs: statistic z of every width (0.0 while not ready); highest, lowest: the largest and smallest of them, at least
    and at most 0.0; used: the scales that these were divided by, in 1e-9; lags: readings from the newest back to the
    middle of a pass of each width (floats); count: readings since the start; quiet: steps of 0.1 s in a row without a
    large |z|.
    """

    def __init__(self, widths_s, interval_s, floor_ppb, noise_ppm_rthz=()):
        self.widths_s = widths_s
        longest = widths_s[len(widths_s) - 1] / interval_s
        learners = []
        plan = []
        height_boxes = []
        lags = []
        fill = 0
        for width in widths_s:
            f = max(width / interval_s, LEAST_READINGS)
            edges = early_edges(f, interval_s)
            learners.append(Learner(edges, f, interval_s, floor_ppb, noise_ppm_rthz))
            latest = edges[len(edges) - 1]
            lags.append(latest - 0.5)
            plan.append(_three_boxes(width / interval_s, latest))
            height_boxes.append(_height_boxes(plan[len(plan) - 1], latest))
            fill = max(fill, latest - edges[0])
        self._learners = tuple(learners)
        self._plan = tuple(plan)
        self._height_boxes = tuple(height_boxes)
        self.lags = tuple(lags)
        self._fill = fill
        self.ring = Ring(max(int(REACH * longest + 16), fill))
        self.mean = self.ring.mean
        self.answer = self.ring.weighted
        # y beyond this is clipped, so that no stretch adds up to the ring's limit.
        self.limit = LIMIT // (fill + 3)
        # Readings after a peak before the whole of it can be looked at: so many widths, and the longest counts.
        self.look_back = int(LOOK_BACK * longest + 0.5)
        self._step = max(1, int(STEP_S / interval_s + 0.5))
        # Readings of a sample period: in each of the first `_sampled` a width takes its sample, or several do.
        period = max(2, int(SAMPLE_S / interval_s + 0.5))
        self._sampled = min(period - 1, len(widths_s))
        self._last_phase = period - 1
        self._listen = fill + int(LISTEN_S / interval_s + 0.5)
        self._floor = floor_ppb
        self._profile = bool(noise_ppm_rthz)
        self.used = [floor_ppb] * len(widths_s)
        self._filters = [[floor_ppb, ()] for _ in learners]  # by width: its scale, and (lag, gain) of each edge
        self.ready = False
        self.restart()

    def restart(self, new_noise=False):
        """The filters fill again.  What was learned is kept (same coil, same soil), unless new_noise."""
        if new_noise:
            for learner in self._learners:
                learner.restart()
        self._known = self._learners[0].known
        if self._known:
            self._rescale()
        self.ready = False
        self.ring.restart()
        self.count = 0  # readings since the start
        self.clipped = 0  # readings that were beyond the limit; whoever looks sets it back
        self._in_step = 0
        self._phase = 0  # readings since the last sample of the narrowest width
        self._samples = 0
        self._most = 0.0  # largest |z| of this step
        self.quiet = LOUD_STEPS  # steps in a row that were not loud
        self.restless = 0  # steps since the last rest
        self.highest = self.lowest = 0.0
        self.zs = [0.0] * len(self.widths_s)

    def push(self, y):
        """Take one reading in 1e-9."""
        limit = self.limit
        if y > limit:
            y = limit
            self.clipped += 1
        elif y < -limit:
            y = -limit
            self.clipped += 1
        ring = self.ring
        newest = ring.push(y)
        count = self.count = self.count + 1
        if count < self._fill:
            return
        if not self.ready:
            if not self._known:
                self._hear()
                return
            self.ready = True
        sums = ring.sums
        at = ring.at
        zs = self.zs
        highest = lowest = 0.0
        i = 0
        for scale, pairs in self._filters:
            a = 0.0
            for lag, gain in pairs:
                # A negative position counts from the end of the ring, as it should.
                a += (newest - sums[at - lag]) * gain
            z = zs[i] = a / scale
            if z > highest:
                highest = z
            elif z < lowest:
                lowest = z
            i += 1
        self.highest = highest
        self.lowest = lowest
        most = highest if highest >= -lowest else -lowest
        if most > self._most:
            self._most = most
        phase = self._phase
        self._phase = phase + 1
        if phase < self._sampled:
            self._learn(phase)
        elif phase == self._last_phase:
            self._phase = 0
            self._samples += 1
        self._in_step += 1
        if self._in_step == self._step:
            self._in_step = 0
            self.quiet = 0 if self._most > LOUD else self.quiet + 1
            self.restless = 0 if self.quiet >= REST_STEPS else self.restless + 1
            self._most = 0.0

    def _hear(self):
        """The first seconds of a new tracker: it only listens."""
        self._in_step += 1
        if self._in_step == self._step:
            self._in_step = 0
            for learner in self._learners:
                learner.hear(self.ring)
            if self.count >= self._listen:
                for learner in self._learners:
                    learner.begin()
                self._rescale()
                self._known = self.ready = True

    def _learn(self, phase):
        """Give the learners of this phase their sample: one width after the other, each once in SAMPLE_S."""
        loud = self._most > LOUD or self.quiet < LOUD_STEPS
        i = phase
        while i < len(self._learners):
            learner = self._learners[i]
            changed = learner.step(self.ring, loud, self.restless > RESTLESS_STEPS)
            if not changed and (self._samples + i) % SOLVE_SAMPLES == 0:
                learner.solve()
                changed = True
            if changed:
                self._rescale()
            i += self._sampled

    def _rescale(self):
        """Take the learners' filters, and find the scales that their answers are divided by."""
        used = self.used
        wider = 0.0
        for i in range(len(used) - 1, -1, -1):
            learner = self._learners[i]
            scale = learner.sigma * (1.0 + FEW / (learner.samples + 1))
            if scale < NARROW * wider:
                scale = NARROW * wider
            if scale < self._floor:
                scale = self._floor
            wider = used[i] = scale
            kept = self._filters[i]
            kept[0] = scale
            kept[1] = learner.pairs

    def learner(self, width):
        """Return the Learner of a width (its number)."""
        return self._learners[width]

    @property
    def z(self):
        """The statistic of the width that answers most, with its sign.  0.0 while not ready."""
        return self.highest if self.highest >= -self.lowest else self.lowest

    @property
    def width(self):
        """The number of that width."""
        return self.zs.index(self.z)

    @property
    def roughness(self):
        """The scales in use over those of the noise profile, the largest of any width, at least 1; None without one."""
        if not self._profile:
            return None
        most = 1.0
        for i in range(len(self.used)):
            most = max(most, self.used[i] / max(self._learners[i].prior_sigma, self._floor))
        return most

    def sides(self, width):
        """Return mean(right), mean(left) and the answer of the three windows of a width (its number), in 1e-9, and the
        readings between the middles of right and left.
        """
        right_new, right_old, centre_new, centre_old, left_new, left_old, share, apart = self._plan[width]
        right = self.mean(right_new, right_old)
        left = self.mean(left_new, left_old)
        centre = self.mean(centre_new, centre_old)
        return right, left, centre - share * left - (1.0 - share) * right, apart

    def height(self, width):
        """Return the short mean in the middle of a pass of a width over the line through both outer windows, 1e-9."""
        a = 0.0
        for newest, oldest, weight in self._height_boxes[width]:
            a += weight * self.mean(newest, oldest)
        return a


def _three_boxes(f, latest):
    """Return the readings back of the newest and the oldest of the right, centre and left window, the share of the left
    one in the line, and the readings between right and left.

    f: the width in readings.  latest: readings back to the middle of the pass.
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


def _height_boxes(three, latest):
    """Return what height() is made of: for each window the newest and the oldest reading, and its weight.

    three: from _three_boxes().  latest: readings back to the middle of the pass.
    """
    right_new, right_old, _, _, left_new, left_old, share, _ = three
    middle = latest - 1
    return (middle - 1, middle + 1, 1.0), (left_new, left_old, -share), (right_new, right_old, share - 1.0)
