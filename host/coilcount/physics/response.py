"""The effect of a target on the coil: change of inductance and resistance, and from them the frequency shift."""

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray

from coilcount.physics.constants import MU0
from coilcount.physics.field import winding_field
from coilcount.physics.field_vector import field_vector
from coilcount.physics.targets import Polarizability
from coilcount.physics.winding import Winding


def target_response(
    winding: Winding,
    target: Polarizability,
    position_m: ArrayLike,
    axis: ArrayLike,
    frequency_hz: float,
    field: Callable[..., tuple[NDArray, NDArray]] = winding_field,
) -> tuple[NDArray, NDArray]:
    """Compute how much one target changes inductance and resistance of the coil.

    position_m: (..., 3), the target's centre in the coil's frame, in which the coil lies in the plane z = 0;
    axis: (..., 3), direction of the target's axis of symmetry, of any length;
    field: `winding_field`, or `mean_radius_field` if speed matters.
    Returns (d_l_h, d_r_ohm) of the broadcast shape.  Raises ValueError for an axis of length 0.

    Formula, by reciprocity: dZ = jw mu0 h.alpha.h, h = H/I.  The field is taken as even over the target (dipole
    model), so the error is 10 to 20 % for a target as large as its distance.
    """
    position, u = np.asarray(position_m, float), np.asarray(axis, float)
    length = np.linalg.norm(u, axis=-1, keepdims=True)
    if np.any(length == 0):
        raise ValueError("the target's axis needs a direction")
    u = u / length
    h = field_vector(winding, position, field)
    along, square = np.sum(h * u, axis=-1), np.sum(h * h, axis=-1)
    coupling = MU0 * (target.transverse * square + (target.axial - target.transverse) * along**2)
    return coupling.real, -2 * np.pi * frequency_hz * coupling.imag


def frequency_shift(
    d_l_h: ArrayLike, d_r_ohm: ArrayLike, inductance_h: float, resistance_ohm: float, frequency_hz: float
) -> NDArray:
    """Compute the relative frequency shift df/f to first order: -1/2 dL/L - (1/Q) dR/(wL), Q = wL/R.

    Loss always lowers the frequency.  The second term holds for a tank with series resistance, driven across its
    capacitor: w^2 = 1/(LC) - (R/L)^2.  For several targets add their changes first; their influence on each other is
    left out (2 % at a distance of three radii).
    """
    if inductance_h <= 0 or resistance_ohm < 0 or frequency_hz <= 0:
        raise ValueError("inductance and frequency must be positive, resistance must not be negative")
    reactance = 2 * np.pi * frequency_hz * inductance_h
    loss = np.asarray(d_r_ohm, float) * resistance_ohm / reactance**2
    return -0.5 * np.asarray(d_l_h, float) / inductance_h - loss
