"""The depth down to which half of the passes over a 24 mm copper coin are found, at 1 false alarm a minute."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import objects
from kinds import KINDS
from study import study_kind

GROUNDS = ("deep", "garden", "sun", "mineral")  # test conditions; deep: quiet soil
COIN = objects.disc("copper coin 24 mm", "copper", 24, 1.75, 3, 21)


def study(ground: str, tuning: bool, clean_minutes: float, swept_minutes: float, cache: Path | None):
    """Return the condition and {method: depth in cm below the surface}; the coil is 3 cm above the surface."""
    kind = replace(KINDS[ground], name=f"coin {ground}", things=((COIN,), (COIN,)), every_s=2.8)
    result = study_kind(kind, tuning, clean_minutes, swept_minutes, cache, True)
    depth = np.array([pass_.depth_cm for pass_ in result.passes])
    return ground, {
        name: half_way(depth, np.array([alert is not None for alert in found[0]]))
        for name, found in result.found.items()
    }


def half_way(depth_cm: np.ndarray, found: np.ndarray) -> float:
    """Return the depth that separates found from missed passes with the fewest errors."""
    edges = np.arange(2.0, 22.0, 0.1)
    wrong = [np.sum(found & (depth_cm > edge)) + np.sum(~found & (depth_cm <= edge)) for edge in edges]
    best = np.flatnonzero(wrong == np.min(wrong))
    return float(np.mean(edges[best]))
