"""The depth down to which half of the passes over a 24 mm copper coin are found, at 1 false alarm a minute."""

from dataclasses import replace

import numpy as np
import objects
from conditions import CONDITIONS, Condition
from study import OTHERS, Result
from trackers import FRESH_PROFILE, FRESH_TRACKER, WARM_TRACKER

GROUNDS = ("bench", "deep", "garden", "sun", "mineral")  # test conditions; deep: quiet soil
METHODS = (FRESH_TRACKER.name, WARM_TRACKER.name, FRESH_PROFILE.name, OTHERS)
COIN = objects.disc("copper coin 24 mm", "copper", 24, 1.75, 3, 21)
RESAMPLES = 400  # of the bootstrap; chosen by hand
# Depths that are tried as the border between found and missed passes, 1 mm apart.
EDGES_CM = np.arange(2.0, 22.0, 0.1)


def condition_of(ground: str) -> Condition:
    """Return the test condition with coins alone."""
    return replace(CONDITIONS[ground], name=f"coin {ground}", things=((COIN,), (COIN,)), every_s=2.8)


def depths(ground: str, result: Result) -> tuple[str, dict[str, dict[str, float]]]:
    """Return the condition and {method: depth in cm below the surface}; the coil is 3 cm above the surface.

    A depth is a dictionary: cm, and low and high, the ends of its 95 % interval, by a bootstrap over the scenes.
    """
    depth_cm = np.array([pass_.depth_cm for pass_ in result.passes])
    out = {}
    for name, detection in result.detections.items():
        found = detection.hit[detection.at_rate(1.0)]
        low, high = interval(depth_cm, found, result.scenes)
        out[name] = {"cm": half_way(depth_cm, found), "low": low, "high": high}
    return ground, out


def interval(depth_cm: np.ndarray, found: np.ndarray, scenes: np.ndarray) -> tuple[float, float]:
    """Return the 95 % interval of half_way() by a bootstrap over the scenes."""
    rng = np.random.default_rng(1)
    wrong = np.array([_wrong(depth_cm[scenes == scene], found[scenes == scene]) for scene in np.unique(scenes)])
    drawn = rng.integers(len(wrong), size=(RESAMPLES, len(wrong)))
    values = [_best(wrong[row].sum(axis=0)) for row in drawn]
    return float(np.quantile(values, 0.025)), float(np.quantile(values, 0.975))


def half_way(depth_cm: np.ndarray, found: np.ndarray) -> float:
    """Return the depth that separates found from missed passes with the fewest errors."""
    return _best(_wrong(depth_cm, found))


def _wrong(depth_cm: np.ndarray, found: np.ndarray) -> np.ndarray:
    """Return the number of errors for each of EDGES_CM: found passes below it, and missed ones above."""
    below = depth_cm[:, None] > EDGES_CM
    return np.sum(found[:, None] & below, axis=0) + np.sum(~found[:, None] & ~below, axis=0)


def _best(wrong: np.ndarray) -> float:
    return float(np.mean(EDGES_CM[np.flatnonzero(wrong == np.min(wrong))]))
