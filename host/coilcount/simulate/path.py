"""The response of an object along a path, computed at a few places and interpolated between them to save time."""

from collections.abc import Callable

import numpy as np
from scipy.interpolate import CubicSpline, RectBivariateSpline

# Chosen by hand: the shift then differs by less than 1e-3 of its peak from that computed at every place (test).
STEP = 0.2  # of neighbouring places along the path, in least distances from the coil's plane
ROWS, MOST_ROWS = 5, 12  # heights, if the height changes; more of them if it changes much
FEWEST = 60  # places up to which nothing is interpolated
MARGIN_M = 1e-3  # added to a range, so that a resting coil has one as well


def along_path(
    respond: Callable[[np.ndarray, np.ndarray], np.ndarray], along_m: np.ndarray, down_m: np.ndarray, size_m: float
) -> np.ndarray:
    """Compute respond(along, down) at many places of a path, shape (2, n).

    respond: returns shape (2, places); along_m, down_m: how far the object lies ahead of the coil and below it, shape
    (n,); size_m: radius of the coil, which sets how the response falls with the distance.
    """
    least = float(down_m.min())
    spread = float(np.ptp(down_m))
    rows = 1 if spread < 1e-6 else min(MOST_ROWS, ROWS + int(8 * spread / least))
    low, high = float(along_m.min()) - MARGIN_M, float(along_m.max()) + MARGIN_M
    columns = max(4, int(np.ceil((high - low) / (STEP * least))) + 1)
    if len(along_m) <= FEWEST or rows * columns > len(along_m):
        return respond(along_m, down_m)
    x = np.linspace(low, high, columns)
    if rows == 1:
        return CubicSpline(x, respond(x, np.full_like(x, least)), axis=1)(along_m)
    heights = np.linspace(least, least + spread, rows)
    at_x, at_down = np.meshgrid(x, heights, indexing="ij")
    fall = (size_m**2 + heights**2) ** -3.0
    values = respond(at_x.ravel(), at_down.ravel()).reshape(2, columns, rows) / fall
    scale = (size_m**2 + down_m**2) ** -3.0
    return np.stack([RectBivariateSpline(x, heights, part).ev(along_m, down_m) for part in values]) * scale

