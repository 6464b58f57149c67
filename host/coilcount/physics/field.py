"""The magnetic field of circular turns, in A/m per ampere."""

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ellipe, ellipkm1, hyp2f1

from coilcount.physics.winding import Winding, filaments

FILAMENTS = 4  # that stand for a winding; chosen by hand


def loop_field(radius_m: ArrayLike, rho_m: ArrayLike, z_m: ArrayLike) -> tuple[NDArray, NDArray]:
    """Compute the field (h_rho, h_z) in A/m per ampere of a circular filament.

    rho_m: distance from the axis; z_m: height above the filament's plane.  The arguments broadcast.  The field is
    infinite on the filament.  Raises ValueError for a radius that is not positive or a negative rho.

    Formula: h_z = [K + (R^2-rho^2-z^2)/B E]/(2 pi sqrt A) with A, B = (R+-rho)^2 + z^2, m = 4 R rho/A (Smythe, Static
    and Dynamic Electricity, 7.10).  h_rho is written with F(1/2,3/2;3;m) instead of K and E: the same function, but
    without loss of digits near the axis.
    """
    radius, rho, z = (np.asarray(value, float) for value in (radius_m, rho_m, z_m))
    if np.any(radius <= 0) or np.any(rho < 0):
        raise ValueError("the radius must be positive, rho must not be negative")
    far = (radius + rho) ** 2 + z**2
    near = (radius - rho) ** 2 + z**2
    m = 4 * radius * rho / far
    k, e = ellipkm1(near / far), ellipe(m)
    h_z = (k + (radius**2 - rho**2 - z**2) / near * e) / (2 * np.pi * np.sqrt(far))
    h_rho = 0.75 * radius**2 * rho * z * far**-1.5 / near * hyp2f1(0.5, 1.5, 3, m)
    return h_rho, h_z


def winding_field(winding: Winding, rho_m: ArrayLike, z_m: ArrayLike) -> tuple[NDArray, NDArray]:
    """Compute the field (h_rho, h_z) in A/m per ampere of a winding: the sum over its turns.  rho and z broadcast."""
    rho, z = np.broadcast_arrays(np.asarray(rho_m, float)[..., None], np.asarray(z_m, float)[..., None])
    h_rho, h_z = loop_field(winding.r_m, rho, z - winding.z_m)
    return h_rho.sum(axis=-1), h_z.sum(axis=-1)


def mean_radius_field(winding: Winding, rho_m: ArrayLike, z_m: ArrayLike) -> tuple[NDArray, NDArray]:
    """Compute `winding_field` with all turns in one filament of the mean radius.

    For N turns this is N times faster.  The error is of order (section of the winding / distance)^2: 0.1 % for a
    3 mm bundle at 5 cm.  Do not use it for flat spirals.
    """
    h_rho, h_z = loop_field(winding.mean_radius_m, rho_m, z_m)
    return winding.turns * h_rho, winding.turns * h_z


def field_at(winding: Winding, x_m: ArrayLike, y_m: ArrayLike, z_m: ArrayLike) -> tuple[NDArray, NDArray, NDArray]:
    """Compute the field (h_x, h_y, h_z) in A/m per ampere of a winding at any points; the arguments broadcast.

    The turns are replaced by a few filaments (`winding.filaments`), which is good to 0.1 % from 2 cm away.
    """
    x, y, z = np.broadcast_arrays(*(np.asarray(value, float) for value in (x_m, y_m, z_m)))
    rho = np.hypot(x, y)
    h_rho, h_z = np.zeros_like(rho), np.zeros_like(rho)
    for radius, height, turns in zip(*filaments(winding, FILAMENTS), strict=True):
        part_rho, part_z = loop_field(radius, rho, z - height)
        h_rho += turns * part_rho
        h_z += turns * part_z
    over = h_rho / np.where(rho > 0, rho, 1.0)
    return x * over, y * over, h_z
