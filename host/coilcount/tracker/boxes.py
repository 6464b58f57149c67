"""The three-box statistic over several widths, and its adaptive scale.

For each width F (full width at half maximum of a pass) a centre box, a gap, a left (older) and a right (newer)
box; a = mean(centre) - wL mean(left) - wR mean(right), weighted so that level and slope vanish.  z = a / scale.
The ring holds the cumulative sum of y, a whole number modulo 2^30: small integers on the board, and any box is
one difference.  Runs under both interpreters.
"""

from array import array

MODULUS = 1 << 30
HALF = 1 << 29
MASK = MODULUS - 1
# Boxes in widths: from the detector study on simulated sweeps (look-ahead 1.2 widths costs 1.7 dB, 0.9 costs 3.2).
CENTRE = 0.95
GAP = 0.3
LEFT = 0.8
RIGHT = 0.4
# How far back the ring reaches, in widths: the lobe test needs 3 on either side of a peak.
REACH = 6.7
LOOK_BACK = 3.6
# The scale: median of |a| over .6745, a tracker that forgets in 30 s.  Same study.
MEDIAN_OF_ABS = 0.6745
# A narrow width's scale is at least this share of the next wider one's: where the ground is smooth the narrow widths
# see little of it but its rare dips, which a median does not know.  Chosen on simulated gardens, where it brought the
# threshold for one false alarm a minute from 4.2 to 8.4 (by ground) down to 3.8 to 7.2, at the same detection.
NARROW = 0.7
FORGET_S = 30.0
# While |z| has lately been above FREEZE the scale stands still, but no longer than FREEZE_MOST_S: ground that is
# rougher than it was must be learned in the end.  Fixed levels, so that z does not depend on the threshold.  Chosen on
# simulated sweeps: a lower level or a longer stand doubled the false alarms on mineral soil.
FREEZE = 8.0
FREEZE_S = 0.6
FREEZE_MOST_S = 1.0
# For so long after the boxes have filled the scales are 1.25 times the mean |a| (a Gaussian's sigma), and nothing is
# told.
SETTLE_S = 2.0
SIGMA_OF_MEAN = 1.2533


class Boxes:
    """push(y) moves on by one reading.

    z: of the width that answers most, `width` its number (0.0 while not ready); zs: z of every width; used: the scales
    that these were divided by, in 1e-9; lags: readings from the newest back to the middle of each centre box (floats);
    count: readings since the start.
    """

    def __init__(self, widths_s, interval_s, floor_ppb):
        self.widths_s = widths_s
        self.floor = floor_ppb
        longest = widths_s[len(widths_s) - 1] / interval_s
        size = 16
        while size < REACH * longest + 16:
            size *= 2
        self._mask = size - 1
        self.ring = array("i", [0] * size)
        # y beyond this is clipped, so that no box passes half the modulus.
        self.limit = HALF // (int(longest) + 3)
        plan = []
        for width in widths_s:
            f = width / interval_s
            right = max(1, int(RIGHT * f + 0.5))
            gap = int(GAP * f + 0.5)
            centre = max(1, int(CENTRE * f + 0.5))
            left = max(1, int(LEFT * f + 0.5))
            x_right = (centre + right) / 2 + gap
            x_left = (centre + left) / 2 + gap
            total = x_left + x_right
            centre_end = right + gap
            centre_start = centre_end + centre
            left_end = centre_start + gap
            left_start = left_end + left
            plan.append((
                right, centre_end, centre_start, left_end, left_start,
                1.0 / centre, x_right / total / left, x_left / total / right,
            ))
        self._plan = tuple(plan)
        self.lags = tuple([p[1] + (p[2] - p[1] - 1) / 2 for p in plan])
        # Readings after a peak before the whole of it can be looked at: so many widths, and the longest counts.
        self.look_back = int(LOOK_BACK * longest + 0.5)
        self._fill = plan[len(plan) - 1][4]
        self._settle = self._fill + int(SETTLE_S / interval_s + 0.5)
        self._eta_least = interval_s / FORGET_S
        self._freeze_readings = int(FREEZE_S / interval_s + 0.5)
        self._freeze_most = int(FREEZE_MOST_S / interval_s + 0.5)
        self.restart()

    def restart(self):
        """The boxes fill anew and the scales settle anew."""
        self.count = 0  # readings since the start
        self.clipped = 0  # readings that were beyond the limit; whoever looks sets it back
        self.at = 0
        self.ring[0] = 0
        self._sum = 0
        self.scales = [self.floor] * len(self.widths_s)
        self._sums = [0.0] * len(self.widths_s)
        self.ready = False
        self._frozen = 0
        self._frozen_for = 0
        self.z = 0.0
        self.width = 0
        self.zs = [0.0] * len(self.widths_s)
        self.used = list(self.scales)

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
        if count < 3000:
            eta = 2.0 / (count - self._fill + 20)
            if eta < self._eta_least:
                eta = self._eta_least
        else:
            eta = self._eta_least
        frozen = self._frozen > 0
        scales = self.scales
        used = self.used
        zs = self.zs
        best = -1.0
        last = len(scales) - 1
        i = 0
        for right, centre_end, centre_start, left_end, left_start, k_centre, k_left, k_right in self._plan:
            right_sum = newest - ring[(at - right) & mask]
            if right_sum >= HALF:
                right_sum -= MODULUS
            elif right_sum < -HALF:
                right_sum += MODULUS
            centre_sum = ring[(at - centre_end) & mask] - ring[(at - centre_start) & mask]
            if centre_sum >= HALF:
                centre_sum -= MODULUS
            elif centre_sum < -HALF:
                centre_sum += MODULUS
            left_sum = ring[(at - left_end) & mask] - ring[(at - left_start) & mask]
            if left_sum >= HALF:
                left_sum -= MODULUS
            elif left_sum < -HALF:
                left_sum += MODULUS
            a = centre_sum * k_centre - left_sum * k_left - right_sum * k_right
            size = a if a >= 0.0 else -a
            scale = scales[i]
            wider = NARROW * scales[i + 1] if i < last else 0.0
            if scale < wider:
                scale = wider
            used[i] = scale
            score = size / scale
            zs[i] = a / scale
            if score > best:
                best = score
                width = i
                best_a = a
            if not frozen:
                scale = scales[i]
                if size > MEDIAN_OF_ABS * scale:
                    scales[i] = scale * (1.0 + eta)
                else:
                    scale = scale / (1.0 + eta)
                    scales[i] = scale if scale > self.floor else self.floor
            i += 1
        if count < self._settle:
            for i in range(len(scales)):
                size = zs[i] * used[i]
                self._sums[i] += size if size >= 0.0 else -size
                scale = SIGMA_OF_MEAN * self._sums[i] / (count - self._fill + 1)
                scales[i] = scale if scale > self.floor else self.floor
            return
        self.ready = True
        self.width = width
        self.z = best if best_a >= 0.0 else -best
        # The scale stands still while something is there, but not for ever.
        if best > FREEZE and self._frozen_for < self._freeze_most:
            self._frozen = self._freeze_readings
        if frozen:
            self._frozen -= 1
            self._frozen_for += 1
        elif best < FREEZE:
            self._frozen_for = 0

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
        """mean(right) and mean(left) of width number `at`, in 1e-9, and the readings between their middles."""
        plan = self._plan[at]
        apart = (plan[3] + plan[4] - plan[0]) / 2
        return self.mean(0, plan[0] - 1), self.mean(plan[3], plan[4] - 1), apart

    def height(self, at):
        """The short mean in the middle of the centre box over the line through both outer boxes, in 1e-9."""
        plan = self._plan[at]
        right = self.mean(0, plan[0] - 1)
        left = self.mean(plan[3], plan[4] - 1)
        middle = int(self.lags[at])
        return self.mean(middle - 1, middle + 1) - left * plan[6] * (plan[4] - plan[3]) - right * plan[7] * plan[0]
