"""The look at a whole pass once it is over: its peak, the lobes beside it, and what stayed.

Flat iron facing the coil raises the frequency under it and lowers it beside it, where the tilted field meets it
edge-on; a non-ferrous disc never shows such lobes.  Source of the windows and limits: the second detector study (26
kinds of metal on simulated ground).  Runs under both interpreters.
"""

# Windows in widths from the peak.
CORE = 0.3
LOBE_FROM = 0.8
LOBE_TO = 1.5
WIDE_FROM = 2.0
WIDE_TO = 3.0
SIGMAS = 1.64
SHARE = 0.04
# Sigma of the lobe's mean, and of the step, over the scale of the three-box statistic of the same width: measured on
# simulated ground without objects (lobe 0.9 on a bench, 1.0 to 1.4 in a garden, up to 2.1 on mineral soil; step 1.6,
# 1.8 to 3.7, up to 6).
LOBE_NOISE = 1.2
STEP_NOISE = 2.5
# A level that changed by this share of the peak, and stayed, is a step.
STEP_SHARE = 0.6


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
    """The largest and the smallest short mean within the lobes' reach, over the wide windows, in 1e-9.

    Only where measure() reaches.
    """
    reach = int(LOBE_TO * f + 0.5)
    wide_from = int(WIDE_FROM * f + 0.5)
    wide_to = int(WIDE_TO * f + 0.5)
    level = (boxes.mean(back - wide_to, back - wide_from) + boxes.mean(back + wide_from, back + wide_to)) / 2
    high = low = boxes.mean(back - 1, back + 1)
    for at in range(back - reach, back + reach + 1):
        value = boxes.mean(at - 1, at + 1)
        if value > high:
            high = value
        elif value < low:
            low = value
    return high - level, low - level


def flat_iron(core, lobe, scale):
    """Whether a rise of `core` shows the lobes of flat iron; `scale` is that of the width."""
    return core > 0.0 and lobe < -SIGMAS * LOBE_NOISE * scale and lobe < -SHARE * core


def stayed(core, step, scale):
    """Whether the level stayed where the pass took it; `scale` is that of the width."""
    return abs(step) > STEP_SHARE * abs(core) and abs(step) > SIGMAS * STEP_NOISE * scale
