"""The look at a whole pass once it is over: its core, the lobes beside it, and a step that stays.

Flat iron facing the coil raises the frequency under the coil.  Beside that it lowers the frequency, because the tilted
field meets the iron edge-on.  A non-ferrous disc never shows such lobes.
The windows and limits are from an earlier simulation study, not repeated here (26 kinds of metal on simulated soil).
How often flat iron is called non-ferrous with them: tests/bench/detection, part `answers`.
Runs under both interpreters.
"""

from .baseline import follow

# Windows, in widths from the peak of the pass.
CORE = 0.3  # the core reaches this far to either side
LOBE_FROM = 0.8
LOBE_TO = 1.5
WIDE_FROM = 2.0  # the level beside the pass is taken from here
WIDE_TO = 3.0  # to here
# A lobe counts if it is below minus this many sigmas of the soil's own lobes, and below minus this share of the core.
LOBE_SIGMAS = 1.64
LOBE_SHARE = 0.04
# A change of level counts as a step if it is more than this share of the core, and this many sigmas of the soil's own
# steps.
STEP_SHARE = 0.6
STEP_SIGMAS = 3.0


def windows(f):
    """Return the edges of the windows of a pass that is `f` readings wide, in readings from its peak.

    (half the core, lobe from, lobe to, wide from, wide to).
    """
    return tuple([int(x * f + 0.5) for x in (CORE, LOBE_FROM, LOBE_TO, WIDE_FROM, WIDE_TO)])


def measure(bank, back, edges, slope):
    """Return (core, lobe, step) around the reading `back` readings ago, in 1e-9.

    edges: windows() of the pass.  slope: of the baseline, 1e-9 a reading.
    core and lobe are means over the level of both wide windows.  step is the newer wide window minus the older one,
    without the slope.  None if the ring does not hold all windows.
    """
    half, lobe_from, lobe_to, wide_from, wide_to = edges
    if back < wide_to or back + wide_to + 1 > bank.count:
        return None
    mean = bank.mean
    after = mean(back - wide_to, back - wide_from)
    before = mean(back + wide_from, back + wide_to)
    level = (after + before) / 2
    core = mean(back - half, back + half) - level
    lobe = (mean(back - lobe_to, back - lobe_from) + mean(back + lobe_from, back + lobe_to)) / 2 - level
    return core, lobe, after - before - slope * (wide_from + wide_to)


def extremes(bank, back, edges):
    """Return (highest, lowest, readings back to the highest, readings back to the lowest) around `back` readings ago.

    Both are means of three readings over the level of the wide windows, in 1e-9, within the reach of the lobes.
    edges: windows() of the pass.  Call it only if measure() gives a result there.
    """
    _, _, reach, wide_from, wide_to = edges
    level = (bank.mean(back - wide_to, back - wide_from) + bank.mean(back + wide_from, back + wide_to)) / 2
    high = low = bank.mean(back - 1, back + 1)
    high_back = low_back = back
    for middle in range(back - reach, back + reach + 1):
        value = bank.mean(middle - 1, middle + 1)
        if value > high:
            high = value
            high_back = middle
        elif value < low:
            low = value
            low_back = middle
    return high - level, low - level, high_back, low_back


def is_flat_iron(core, lobe, sigma):
    """Return True if a rise of `core` has the lobes of flat iron.  sigma: of the soil's own lobes, 1e-9."""
    return core > 0.0 and lobe < -LOBE_SIGMAS * sigma and lobe < -LOBE_SHARE * core


def is_step(core, step, sigma):
    """Return True if the level stayed where the pass took it.  sigma: of the soil's own steps, 1e-9."""
    return abs(step) > STEP_SHARE * abs(core) and abs(step) > STEP_SIGMAS * sigma


class LobeNoise:
    """How large lobes are without an object: robust sigmas for each width, learned while sweeping.

    lobe: list of sigmas in 1e-9, one for each width.
    After each block(): width is the number of the width that was measured, -1 for none; change is its newer wide window
    minus the older one in 1e-9, and span the readings between the two; turn is how often it was measured.
    """

    def __init__(self, bank, interval_s, floor_ppb):
        self._bank = bank
        self._windows = [windows(width / interval_s) for width in bank.widths_s]
        self._floor = floor_ppb
        self.lobe = [self._floor] * len(self._windows)
        self._count = 0
        self.width = -1
        self.change = 0.0
        self.span = 0
        self.turn = 0

    def block(self):
        """Learn from the latest readings; call it at the end of each block of 0.1 s.  The widths take turns."""
        widths = len(self._windows)
        width = self._count % widths
        edges = self._windows[width]
        _, _, _, wide_from, wide_to = edges
        measured = measure(self._bank, wide_to, edges, 0.0)
        if measured is None:
            self.width = -1
            return
        self._count += 1
        self.width = width
        self.turn = self._count // widths + 1
        _, lobe, self.change = measured
        self.span = wide_from + wide_to
        self.lobe[width] = follow(self.lobe[width], lobe if lobe >= 0.0 else -lobe, self.turn, self._floor)


class StepNoise:
    """How large steps are without an object.  They need the slope of the baseline, which depends on the threshold.

    step: list of robust sigmas in 1e-9, one for each width.  lobe: that of the LobeNoise.
    """

    def __init__(self, lobe_noise, floor_ppb):
        self._source = lobe_noise
        self._floor = floor_ppb
        self.lobe = lobe_noise.lobe
        self.step = [floor_ppb] * len(self.lobe)

    def block(self, slope):
        """Learn from what the LobeNoise has just measured.  slope: of the baseline, 1e-9 a reading."""
        source = self._source
        width = source.width
        if width >= 0:
            step = source.change - slope * source.span
            self.step[width] = follow(self.step[width], step if step >= 0.0 else -step, source.turn, self._floor)
