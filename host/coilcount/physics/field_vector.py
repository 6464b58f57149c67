"""The magnetic field of a coil of any outline: as a vector, along the axis, and against that of circles."""

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray

from coilcount.physics.field import winding_field
from coilcount.physics.winding import Winding, outline_filaments


def field_vector(
    winding: Winding,
    position_m: ArrayLike,
    field: Callable[..., tuple[NDArray, NDArray]] = winding_field,
) -> NDArray:
    """Compute the field at positions (..., 3) in the coil's frame, in A/m per ampere, shape (..., 3).

    field: for circles `winding_field`, or `mean_radius_field` if speed matters.  Ovals and rectangles are always
    computed with their outline: straight sides in closed form, ovals by Biot and Savart's integral.
    """
    position = np.asarray(position_m, float)
    x, y, z = position[..., 0], position[..., 1], position[..., 2]
    if winding.outline is not None:
        parts = zip(*outline_filaments(winding), strict=True)
        return sum(turns * winding.outline.field(out, x, y, z - height) for out, height, turns in parts)
    rho = np.hypot(x, y)
    h_rho, h_z = field(winding, rho, z)
    safe = np.where(rho > 0, rho, 1.0)  # on the axis h_rho is 0, so any divisor but 0 will do
    return np.stack([h_rho * x / safe, h_rho * y / safe, h_z], axis=-1)


def axis_field(winding: Winding, z_m: ArrayLike) -> NDArray:
    """Compute the field along the axis, in A/m per ampere, at heights z."""
    z = np.asarray(z_m, float)
    if winding.outline is None:
        return winding_field(winding, 0.0, z)[1]
    return field_vector(winding, np.stack([0 * z, 0 * z, z], axis=-1))[..., 2]


def outline_gain(winding: Winding, z_m: ArrayLike) -> NDArray:
    """Compute the square of the field on the axis over that of the circles of the same area; 1 for a circle.

    The responses of bodies are computed for circles.  Multiplied with this, they hold for small bodies centred under
    an oval or a rectangle; for bodies as large as the coil's width they are an estimate.
    """
    z = np.asarray(z_m, float)
    if winding.outline is None:
        return np.ones(z.shape)
    return (axis_field(winding, z) / winding_field(winding, 0.0, z)[1]) ** 2
