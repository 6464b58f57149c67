"""The depth at which half of the passes are found, with an interval, from passes at several depths.

Model: the share found falls with depth d as 1 / (1 + exp((d - d50) / w)).  d50 and w are those of highest likelihood,
the interval of d50 is that of the profile likelihood.  Source: D. Cox and E. Snell, Analysis of Binary Data, 2nd ed.
(1989), chapter 2.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from coilcount.model.noise_report import Interval95

# All four chosen by hand.
FEWEST_PASSES = 12
FEWEST_DEPTHS = 4  # different depths
FEWEST_OF_EACH = 3  # passes found, and passes missed
_CENTRES, _WIDTHS = 401, 41  # steps of the search
_HALF_CHI2 = 1.9207  # half of the 95 % point of chi-squared with one degree of freedom


@dataclass(frozen=True, slots=True)
class HalfDepth:
    """interval: in cm, None if it cannot be said; unknown: why not, "" if it can be said."""

    interval: Interval95 | None
    unknown: str


def half_depth(passes: Sequence[tuple[float | None, bool]]) -> HalfDepth:
    """Compute the depth (cm) at which half of the passes are found.  passes: (depth or None, found)."""
    known = [(depth, found) for depth, found in passes if depth is not None]
    if not known:
        return HalfDepth(None, "no depths in the labels")
    depth, found = np.array([row[0] for row in known]), np.array([row[1] for row in known], bool)
    hits, depths = int(found.sum()), len(set(np.round(depth, 1)))
    if len(known) < FEWEST_PASSES or depths < FEWEST_DEPTHS:
        return HalfDepth(None, f"too few passes or depths: passes {len(known)}, depths {depths}")
    if hits < FEWEST_OF_EACH:
        return HalfDepth(None, "nearly all passes were missed: shallower objects are needed")
    if len(known) - hits < FEWEST_OF_EACH:
        return HalfDepth(None, "nearly all passes were found: deeper objects are needed")
    span = float(np.ptp(depth))
    centres = np.linspace(depth.min() - span / 2, depth.max() + span / 2, _CENTRES)
    widths = np.geomspace(span / 200, 2 * span, _WIDTHS)
    sign = np.where(found, 1.0, -1.0)
    profile = np.full(_CENTRES, -np.inf)
    for width in widths:
        # log of the probability of what was seen at each pass
        likelihood = -np.logaddexp(0.0, sign * (depth - centres[:, None]) / width).sum(axis=1)
        profile = np.maximum(profile, likelihood)
    best = int(np.argmax(profile))
    share = hits / len(known)
    flat = len(known) * (share * np.log(share) + (1 - share) * np.log(1 - share))
    if profile[best] - flat < _HALF_CHI2:
        return HalfDepth(None, "the share found does not fall clearly with depth")
    inside = np.flatnonzero(profile >= profile[best] - _HALF_CHI2)
    value, low, high = (float(centres[i]) for i in (best, inside[0], inside[-1]))
    if not depth.min() <= value <= depth.max() or inside[0] == 0 or inside[-1] == _CENTRES - 1:
        return HalfDepth(None, "it lies outside the depths of the labels, or too near to their ends")
    return HalfDepth(Interval95(value, low, high), "")
