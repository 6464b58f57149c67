"""Auto-hold: while the coil rests over a target, the baseline must not follow.

Works on the means of blocks of 0.1 s.  A level that has risen quickly starts a hold.  "Quickly" is relative to how much
the level steps while the coil sweeps.  During a hold the baseline is the straight line through the seconds before it.
A return, a steady ramp or a time limit ends it.  Only holds of at least 1 s are reported.

How well it works is shown by tests/bench/detection, part `dwell` (simulation).  Levels of at least 8 sigma of a step
are held for more than 90 % of their rests, in fast drift for about 80 %.  Lower levels are held only by luck.
Runs under both interpreters.
"""

from array import array

from .baseline import FIRST, follow

# All constants here were chosen by hand on simulated rests and clean sweeps.  tests/bench/detection, part `dwell`,
# shows what they give.  A block is 0.1 s.

HISTORY = 128  # blocks that are kept; a power of two
LOOK_BACK = 120  # blocks that the search for an earlier rest goes back
LINE = 50  # blocks of the frozen line: a longer one errs if the drift curves, a shorter one on rough soil
LOW = 8  # blocks within which the level must have risen; the frozen line leaves them out
STEP = 6  # blocks between the two blocks of a step, whose robust sigma is sigma_step
ERROR_SIGMAS = 2.5  # sigmas of a block around the baseline; a smaller shift starts no hold
GONE = 0.35  # share of the peak; two blocks in a row below it end the hold
REPORTED = 10  # blocks after which a hold is reported
TAIL = 5  # blocks after a return in which the line stays: the coil is still moving away
SLOPE_FROM = 40  # blocks; a line through fewer is level: a slope may be a step that the baseline still follows
# A level over the line that rises steadily is drift.  It is cut into four quarters, and their medians must rise alike.
RAMPS = (20, 40)  # lengths that are looked at, in blocks
RAMP_EVEN = 0.4  # the least rise from quarter to quarter is more than this share of the largest
RAMP_SHARE = 0.2  # the whole rise is more than this share of the peak
# The coil comes back from a rest that was not held.  Then the level returns to that of before the rest:
BACK_NEAR = 0.35  # as near as this share of the change,
BACK = 12  # for this many blocks,
BETWEEN = 6  # with at most this many other blocks between the two levels


class Blocks:
    """The means of the latest blocks, as measured.  They do not depend on the threshold.

    values: a ring of HISTORY whole numbers in 1e-9; that of block number k is at k % HISTORY.
    count: number of blocks since the start.  step: size of the latest step, 1e-9.
    """

    def __init__(self):
        self.values = array("i", [0] * HISTORY)
        self.restart()

    def restart(self):
        """What comes next does not continue what came before."""
        self.count = 0
        self.step = 0.0

    def push(self, mean):
        """Take the mean of a block in 1e-9."""
        count = self.count = self.count + 1
        self.values[count & (HISTORY - 1)] = int(mean)
        if count > STEP:
            step = mean - self.values[(count - STEP) & (HISTORY - 1)]
            self.step = step if step >= 0.0 else -step


class Hold:
    """One auto-hold after the other.

    on: True while a hold is on, reported or not, and in its tail.  reported: True once it has lasted 1 s.
    sign: of the held level.  age: blocks since its start.
    scale: factor of the least shift and the least rise; the tracker sets it with the threshold.
    """

    def __init__(self, baseline, blocks, least_ppb, rise_sigma, limit_blocks, floor_ppb):
        """blocks: a Blocks, which takes each block before block() is called.

        least_ppb: smallest shift that is held.  rise_sigma: least rise, in sigma_step.  floor_ppb: least sigma."""
        self._baseline = baseline
        self._history = blocks
        self._least = least_ppb
        self._rise = rise_sigma
        self._limit = limit_blocks
        self._floor = floor_ppb
        self._blocks = blocks.values
        self._ground = array("i", [0] * HISTORY)  # as measured, but the frozen line for blocks of a hold
        self.scale = 1.0
        self.restart()

    def restart(self):
        """Forget everything: what comes next does not continue what came before."""
        self._tail = 0  # blocks of the tail that are left
        self._since = 0  # the count from which on blocks may be used for a line
        self.sigma_step = self._floor
        self._drop()

    def _drop(self):
        self.on = False
        self.reported = False
        self.sign = 0
        self.age = 0

    @property
    def sigma_swept(self):
        """sigma_step in 1e-9; None in the first 4 s, while it is not known well."""
        return self.sigma_step if self._history.count > FIRST else None

    def block(self, mean, allowed):
        """Take the mean of a block (1e-9), before the baseline takes it.

        allowed: False while the baseline is frozen by key, or during the warm-up.  Then no hold starts, and one that is
        on ends.
        Returns "start" or "end" of a reported hold, else "".
        """
        history = self._history
        count = history.count
        slot = count & (HISTORY - 1)
        self._ground[slot] = int(self._baseline.level + self._baseline.slope) if self.on else self._blocks[slot]
        if count > STEP and not self.reported:
            # Not during a hold: a coil at rest shows nothing of sweeping.
            self.sigma_step = follow(self.sigma_step, history.step, count, self._floor)
        if not self.on:
            if allowed and count > FIRST:
                self._try(mean, count)
            return ""
        if self._tail:
            self._tail -= 1
            if not self._tail:
                self.on = False
            return ""
        self.age += 1
        if not allowed:
            return self._end(False)
        level = (mean - self._baseline.level - self._baseline.slope) * self.sign
        if level > self._peak:
            self._peak = level
        self._gone = self._gone + 1 if level < GONE * self._peak else 0
        if self._gone >= 2:
            return self._end(False)
        if self.age >= self._limit or self._is_ramp(count):
            return self._end(True, mean)
        if self.age == REPORTED:
            if self._is_return(count):
                return self._end(True, mean)
            self.reported = True
            return "start"
        return ""

    def _try(self, mean, count):
        """Start a hold if the level has risen far and quickly enough."""
        baseline = self._baseline
        error = mean - baseline.level - baseline.slope
        sign = 1 if error >= 0.0 else -1
        size = error * sign
        least = self._least
        if least < ERROR_SIGMAS * baseline.sigma:
            least = ERROR_SIGMAS * baseline.sigma
        if size < least * self.scale:
            return
        blocks = self._blocks
        low = size
        for i in range(1, LOW + 1):
            value = (blocks[(count - i) & (HISTORY - 1)] - baseline.level) * sign
            if value < low:
                # Not below the baseline: the end of a pass of the other sign must not look like a rise.
                low = value if value > 0.0 else 0.0
        rise = size - low
        if rise < self._rise * self.scale * self.sigma_step or 2 * rise < size:
            return
        before = (baseline.level, baseline.slope)
        self._line(count)
        size = (mean - baseline.level - baseline.slope) * sign
        if size < least * self.scale:
            # Over the line of the seconds before, nothing has come.
            baseline.line(before[0], before[1])
            return
        self.on = True
        self.reported = False
        self.sign = sign
        self.age = 0
        self._peak = size
        self._gone = 0
        self._before = before

    def _line(self, count):
        """Make a trimmed line through the blocks of the last 5 s the baseline; the latest 0.8 s are left out."""
        ground = self._ground
        first = LOW
        last = min(LINE, count - self._since - 1)
        if last - first < 2 * LOW:
            self._baseline.line(self._baseline.level, 0.0)
            return
        limit = -1.0
        origin = ground[(count - first) & (HISTORY - 1)]
        level = 0.0
        slope = 0.0
        for _ in range(3):
            n = 0
            sx = sy = sxx = sxy = 0.0
            for i in range(first, last + 1):
                value = float(ground[(count - i) & (HISTORY - 1)] - origin)
                residual = value - level + slope * i
                if residual < 0.0:
                    residual = -residual
                if limit < 0.0 or residual <= limit:
                    n += 1
                    sx += i
                    sy += value
                    sxx += i * i
                    sxy += i * value
            under = n * sxx - sx * sx
            if n < 2 * LOW or under <= 0.0:
                break
            slope = -(n * sxy - sx * sy) / under if last >= SLOPE_FROM else 0.0
            level = (sy + slope * sx) / n
            total = 0.0
            for i in range(first, last + 1):
                residual = ground[(count - i) & (HISTORY - 1)] - origin - level + slope * i
                total += residual if residual >= 0.0 else -residual
            # The mean absolute residual times 1.25 is a sigma.  Blocks within two sigma take part in the next round.
            limit = 2.5 * total / (last - first + 1)
        # `level` is that at this block.  The baseline adds one slope when it takes the block.
        self._baseline.line(origin + level - slope, slope)

    def _is_return(self, count):
        """Return True if the coil has only left an earlier rest, which was not held or no longer held.

        True if, going backwards in time, the signal was first at the baseline and before that at today's level.
        """
        ground = self._ground
        recent = [self._blocks[(count - i) & (HISTORY - 1)] for i in range(5)]
        recent.sort()
        now = recent[2]
        size = (now - self._baseline.level) * self.sign
        if size <= 0.0:
            return False
        near = BACK_NEAR * size
        there = between = before = 0
        for i in range(self.age, min(LOOK_BACK, count - 1) + 1):
            away = (now - ground[(count - i) & (HISTORY - 1)]) * self.sign
            if away > size - near:
                if before:
                    return False
                there += 1
                between = 0
            elif there and -near < away < near:
                before += 1
                if before == BACK:
                    return True
            else:
                between += 1
                if before or between > BETWEEN:
                    return False
        return False

    def _is_ramp(self, count):
        """Return True if the level over the line rose steadily for 2 s or 4 s: this is drift, no arrival."""
        if self.age % REPORTED:
            return False
        blocks = self._blocks
        for length in RAMPS:
            if self.age < length:
                return False
            quarter = length // 4
            # Medians, so that a pass in between changes nothing.
            middles = []
            for k in range(4):
                part = []
                for i in range(quarter):
                    slot = (count - k * quarter - i) & (HISTORY - 1)
                    part.append(blocks[slot] - self._ground[slot])
                part.sort()
                middles.append(part[quarter // 2] * self.sign)
            rises = [middles[k] - middles[k + 1] for k in range(3)]
            least = min(rises)
            if least > RAMP_EVEN * max(rises) and middles[0] - middles[3] > RAMP_SHARE * self._peak:
                return True
        return False

    def _end(self, new_level, mean=0.0):
        """End the hold.  new_level: the baseline goes on from `mean` (the level was drift, or it is there to stay)."""
        reported = self.reported
        age = self.age
        self._drop()
        if new_level:
            self._since = self._history.count
            self._baseline.line(mean, 0.0)
        elif age < REPORTED:
            level, slope = self._before
            self._baseline.line(level + slope * age, slope)
        else:
            self.on = True
            self._tail = TAIL
        return "end" if reported else ""
