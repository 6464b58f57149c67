"""What the filters of a bank answer to a pass that is known, while it moves through their boxes.

A filter answers a pass once with its height, and with smaller peaks of either sign while the pass is in its outer
boxes.  The gains follow the soil, so these answers do too.  They are computed from the gains as they are now.
The shape of a pass is h (1 + (t / w)^2)^-3, see filters.SHAPE.  Its integral from 0 to x = t / w, over h w, is

    G(x) = x / (4 (1 + x^2)^2) + 3 x / (8 (1 + x^2)) + 3/8 atan x

Runs under both interpreters.
"""

from array import array

from .filters import LEAST_READINGS, SHAPE
from .plain_math import atan

STEPS = 16  # entries of the table of G for each w
LARGEST = 8  # w: beyond this G does not change
LAST = STEPS * LARGEST  # the last entry
# The content of each box may differ from that of the model by this share of it, because the width of the pass is known
# roughly and its shape is not.  Source: as for alerts.LEFT_OVER.  With 0.15 there were 1.4 stray alerts a minute.
SHAPE_SHARE = 0.3
# The tail of a pass is below 1 % of its height from this many w on.
GONE = 2.0
# Widths of a pass.  A flank that is farther from the top than this is not looked for: the coil rests.
WIDEST = 2.0


def integral(x):
    """Return G(x) for x >= 0.0."""
    u = 1.0 + x * x
    return x / (4.0 * u * u) + 0.375 * (x / u + atan(x))


def shape_of(bank, back, f, level, height):
    """Return (back, height, width) of a pass as the readings show it: width in readings, at half its height.

    The pass is looked for around `back` readings ago.  The new `back` is that of the middle between both flanks.
    f: its width in readings, as far as it is known.  level: of the baseline, 1e-9.  height: of the pass, 1e-9, for its
    sign.  If the readings show less than half of `height`, back, height and f are returned as they are.
    """
    mean = bank.mean
    oldest = bank.count - 2
    reach = int(f / 2 + 0.5)
    sign = 1.0 if height > 0.0 else -1.0
    top = 0.0
    at = back
    for middle in range(max(1, back - reach), min(back + reach, oldest) + 1):
        value = sign * (mean(middle - 1, middle + 1) - level)
        if value > top:
            top = value
            at = middle
    if 2.0 * top < sign * height:
        return back, height, f
    most = int(WIDEST * f + 0.5)
    newer = at
    while newer > 1 and at - newer < most and 2.0 * sign * (mean(newer - 1, newer + 1) - level) > top:
        newer -= 1
    older = at
    while older < oldest and older - at < most and 2.0 * sign * (mean(older - 1, older + 1) - level) > top:
        older += 1
    return (newer + older + 1) / 2, sign * top, max(older - newer - 1, LEAST_READINGS)


class PassAnswers:
    """The answers of one filter bank to passes."""

    def __init__(self, bank):
        self._table = array("f", [integral(i / STEPS) for i in range(LAST + 1)])
        self.longest = 0  # readings until the middle of a pass has left all boxes
        for width in range(len(bank.widths_s)):
            self.longest = max(self.longest, bank.learner(width).lags[0])
        self.middle = 0.0
        self.margin = 0.0

    def start(self):
        """Start with no pass: middle and margin of the answer (1e-9) are 0.0."""
        self.middle = 0.0
        self.margin = 0.0

    def add(self, learner, back, height, pass_width):
        """Add what the filter of a width answers to a pass, to `middle` and `margin`: it answers middle +- margin.

        learner: the Learner of that width.  back: readings from the peak of the pass to the newest reading.
        height: of the pass, 1e-9.  pass_width: of the pass, in readings.
        """
        scale = SHAPE / pass_width
        if (back - learner.lags[0]) * scale > GONE:
            return
        table = self._table
        weight = 0.0  # of the box between this edge and the one before
        total = 0.0
        size = 0.0
        older = 0.0
        for lag, gain in learner.edges:
            x = (back - lag) * scale
            # G(x).  There are nine edges or so, and a call for each would cost more than the rest.
            place = (x if x >= 0.0 else -x) * STEPS
            i = int(place)
            if i < LAST:
                newer = table[i]
                newer += (place - i) * (table[i + 1] - newer)
            else:
                newer = table[LAST]
            if x < 0.0:
                newer = -newer
            content = weight * (newer - older)
            older = newer
            total += content
            size += content if content >= 0.0 else -content
            weight += gain
        height /= scale
        self.middle += total * height
        self.margin += SHAPE_SHARE * size * (height if height >= 0.0 else -height)
