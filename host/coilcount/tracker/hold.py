"""The automatic hold: the coil rests over a target, so the baseline must not follow.

Works on block means of a tenth of a second.  A level that has risen quickly, judged by how much it steps while
sweeping, freezes the line of the seconds before; a return, a steady ramp or a limit lets go.  Only holds of a second
and more are told.  On simulated rests (tests/bench/detection) levels of 8 of the step's sigmas and more are held for
more than nine tenths of their time, in fast drift for some eight; less is luck.  Runs under both interpreters.
"""

from array import array

from .baseline import FIRST, follow

HISTORY = 128  # blocks; power of two
LOOK_BACK = 120  # blocks
LINE = 50  # blocks: a longer line errs where the drift curves, a shorter one on rough soil
LOW = 8  # blocks over which a rise is measured
STEP = 6  # blocks: the 0.6 s step whose robust scale is sigma_st
ERROR_SIGMAS = 2.5
GONE = 0.35  # of the peak, for two blocks
TOLD = 10  # blocks
TAIL = 5  # blocks after a return in which the coil still moves off: the line stands on
SLOPE_FROM = 40  # blocks; a line through fewer is level: the baseline's own slope may be a step it still follows
RAMPS = (20, 40)  # blocks: four quarters that rise alike are drift
RAMP_EVEN = 0.4  # the least rise over the largest
RAMP_SHARE = 0.2  # of the peak, in all
# The coil came back from a rest that was not held: so near, as a share of what changed, to the level of before, for so
# many blocks, and no more than so many in between.
BACK_NEAR = 0.35
BACK = 12
BETWEEN = 6


class Hold:
    """on: a hold is on (told or not), or its tail; told: it has lasted a second; sign: of the level; age: in blocks."""

    def __init__(self, baseline, least_ppb, rise_sigma, limit_blocks, floor_ppb):
        self._baseline = baseline
        self._least = least_ppb
        self._rise = rise_sigma
        self._limit = limit_blocks
        self._floor = floor_ppb
        self._blocks = array("i", [0] * HISTORY)  # as measured
        self._ground = array("i", [0] * HISTORY)  # the same, but the frozen line while held: what is looked back on
        self.scale = 1.0
        self.restart()

    def restart(self):
        self._count = 0
        self._tail = 0
        self._since = 0  # the count at which the ground begins
        self.sigma_step = self._floor
        self._drop()

    def _drop(self):
        self.on = False
        self.told = False
        self.sign = 0
        self.age = 0

    @property
    def sigma_swept(self):
        """sigma_step once it has had time to settle, else None."""
        return self.sigma_step if self._count > FIRST else None

    def block(self, mean, allowed):
        """Takes a block mean (1e-9, before the baseline sees it).  Returns "", "start", or "end" of a told hold.

        `allowed` is False while the operator holds the baseline or boxes fill: nothing starts, what is on ends.
        """
        blocks = self._blocks
        count = self._count = self._count + 1
        at = count & (HISTORY - 1)
        blocks[at] = int(mean)
        self._ground[at] = int(self._baseline.level + self._baseline.slope) if self.on else blocks[at]
        if count > STEP and not self.told:
            # Not while a hold is on: a coil at rest says nothing of sweeping.
            step = mean - blocks[(count - STEP) & (HISTORY - 1)]
            self.sigma_step = follow(self.sigma_step, step if step >= 0.0 else -step, count, self._floor)
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
        if self.age >= self._limit or self._ramp(count):
            return self._end(True, mean)
        if self.age == TOLD:
            if self._back(count):
                return self._end(True, mean)
            self.told = True
            return "start"
        return ""

    def _try(self, mean, count):
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
                # Not below the baseline: the end of a pass of the other sign is no arrival.
                low = value if value > 0.0 else 0.0
        rise = size - low
        if rise < self._rise * self.scale * self.sigma_step or 2 * rise < size:
            return
        before = (baseline.level, baseline.slope)
        self._line(count)
        size = (mean - baseline.level - baseline.slope) * sign
        if size < least * self.scale:
            # Seen from the line of the seconds before, nothing has come.
            baseline.line(before[0], before[1])
            return
        self.on = True
        self.told = False
        self.sign = sign
        self.age = 0
        self._peak = size
        self._gone = 0
        self._before = before

    def _line(self, count):
        """The trimmed line through the blocks of the last 5 s but the last second: the frozen baseline."""
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
            sr = 0.0
            for i in range(first, last + 1):
                value = float(ground[(count - i) & (HISTORY - 1)] - origin)
                residual = value - level + slope * i
                if residual < 0.0:
                    residual = -residual
                if limit < 0.0 or residual <= limit:
                    n += 1
                    sr += residual
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
            # Mean absolute residual times 1.25 is a sigma; two of them are kept.
            limit = 2.5 * total / (last - first + 1)
        # `level` is at this block; the baseline moves on by one slope when it takes it.
        self._baseline.line(origin + level - slope, slope)

    def _back(self, count):
        """Whether this is no arrival: the coil has left a rest that was not held, or no longer, and is back.

        So it is where, going back, a level stood at the line and before that one where it is now.
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

    def _ramp(self, count):
        """Whether the level over the line rose steadily for two or four seconds: drift taken for an arrival."""
        if self.age % TOLD:
            return False
        blocks = self._blocks
        for length in RAMPS:
            if self.age < length:
                return False
            quarter = length // 4
            # Medians: a pass in between is no part of a drift.
            middles = []
            for k in range(4):
                part = []
                for i in range(quarter):
                    at = (count - k * quarter - i) & (HISTORY - 1)
                    part.append(blocks[at] - self._ground[at])
                part.sort()
                middles.append(part[quarter // 2] * self.sign)
            rises = [middles[k] - middles[k + 1] for k in range(3)]
            least = min(rises)
            if least > RAMP_EVEN * max(rises) and middles[0] - middles[3] > RAMP_SHARE * self._peak:
                return True
        return False

    def _end(self, anew, mean=0.0):
        told = self.told
        age = self.age
        self._drop()
        if anew:
            self._since = self._count
            self._baseline.line(mean, 0.0)
        elif age < TOLD:
            level, slope = self._before
            self._baseline.line(level + slope * age, slope)
        else:
            self.on = True
            self._tail = TAIL
        return "end" if told else ""
