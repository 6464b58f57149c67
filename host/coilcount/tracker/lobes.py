"""The look at a whole pass once it is over: its peak, the lobes beside it, and what stayed.

Flat iron facing the coil raises the frequency under it and lowers it beside it, where the tilted field meets it
edge-on; a non-ferrous disc never shows such lobes.  Source of the windows and limits: the second detector study (26
kinds of metal on simulated ground).  Runs under both interpreters.
"""

from .baseline import follow

# Windows in widths from the peak.
CORE = 0.3
LOBE_FROM = 0.8
LOBE_TO = 1.5
WIDE_FROM = 2.0
WIDE_TO = 3.0
SIGMAS = 1.64
SHARE = 0.04
# A level that changed by this share of the peak, and stayed, is a step: where so many sigmas of a step say so.
STEP_SHARE = 0.6
STEP_SIGMAS = 3.0


def measure(boxes, back, f, slope):
    """Core, lobe and step around the reading `back` readings ago, for a width of `f` readings, in 1e-9.

    core and lobe over the mean of both wide windows; step is the newer wide window minus the older one, less what
    `slope` (1e-9 a reading) makes of it.  None where the ring does not reach.
    """
    wide_to = int(WIDE_TO * f + 0.5)
    if back < wide_to or back + wide_to + 1 > boxes.count:
        return None
    wide_from = int(WIDE_FROM * f + 0.5)
    lobe_from = int(LOBE_FROM * f + 0.5)
    lobe_to = int(LOBE_TO * f + 0.5)
    half = int(CORE * f + 0.5)
    mean = boxes.mean
    after = mean(back - wide_to, back - wide_from)
    before = mean(back + wide_from, back + wide_to)
    level = (after + before) / 2
    core = mean(back - half, back + half) - level
    lobe = (mean(back - lobe_to, back - lobe_from) + mean(back + lobe_from, back + lobe_to)) / 2 - level
    return core, lobe, after - before - slope * (wide_from + wide_to)


def extremes(boxes, back, f):
    """The largest and the smallest short mean within the lobes' reach, over the wide windows, in 1e-9, and how many
    readings ago each was.  Only where measure() reaches.
    """
    reach = int(LOBE_TO * f + 0.5)
    wide_from = int(WIDE_FROM * f + 0.5)
    wide_to = int(WIDE_TO * f + 0.5)
    level = (boxes.mean(back - wide_to, back - wide_from) + boxes.mean(back + wide_from, back + wide_to)) / 2
    high = low = boxes.mean(back - 1, back + 1)
    high_at = low_at = back
    for at in range(back - reach, back + reach + 1):
        value = boxes.mean(at - 1, at + 1)
        if value > high:
            high = value
            high_at = at
        elif value < low:
            low = value
            low_at = at
    return high - level, low - level, high_at, low_at


def flat_iron(core, lobe, sigma):
    """Whether a rise of `core` shows the lobes of flat iron; sigma: of the lobe on this ground."""
    return core > 0.0 and lobe < -SIGMAS * sigma and lobe < -SHARE * core


def stayed(core, step, sigma):
    """Whether the level stayed where the pass took it; sigma: of a step on this ground."""
    return abs(step) > STEP_SHARE * abs(core) and abs(step) > STEP_SIGMAS * sigma


class Noise:
    """The robust scales of lobe and step of each width on this ground: lobe, step, in 1e-9."""

    def __init__(self, boxes, interval_s, floor_ppb):
        self._boxes = boxes
        self._f = [width / interval_s for width in boxes.widths_s]
        self._back = [int(WIDE_TO * f + 0.5) for f in self._f]
        self._floor = floor_ppb
        self.lobe = [self._floor] * len(self._f)
        self.step = [self._floor] * len(self._f)
        self._count = 0

    def block(self, slope):
        """Once a tenth of a second or so; one width after the other has its turn."""
        widths = len(self._f)
        at = self._count % widths
        measured = measure(self._boxes, self._back[at], self._f[at], slope)
        if measured is None:
            return
        self._count += 1
        turn = self._count // widths + 1
        _, lobe, step = measured
        self.lobe[at] = follow(self.lobe[at], lobe if lobe >= 0.0 else -lobe, turn, self._floor)
        self.step[at] = follow(self.step[at], step if step >= 0.0 else -step, turn, self._floor)
