"""What a target does to the coil: change of inductance and loss resistance, and from these the frequency."""

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray

from coilcount.physics.constants import MU0
from coilcount.physics.field import winding_field
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
    """(d_l_h, d_r_ohm) that one target adds to the coil, by reciprocity: dZ = jw mu0 h.alpha.h, h = H/I.

    position_m: (..., 3), the target's centre in the coil's frame (coil in the plane z = 0, axis along z);
    axis: (..., 3), direction of the target's axis of symmetry, any length.  The result has the broadcast shape.
    `field` may be `mean_radius_field` where speed matters.  Dipole model: the field is taken as even over the target,
    so a target as large as its distance is off by 10 to 20 %.
    """
    position, u = np.asarray(position_m, float), np.asarray(axis, float)
    length = np.linalg.norm(u, axis=-1, keepdims=True)
    if np.any(length == 0):
        raise ValueError("the target's axis needs a direction")
    u = u / length
    x, y, z = position[..., 0], position[..., 1], position[..., 2]
    rho = np.hypot(x, y)
    h_rho, h_z = field(winding, rho, z)
    safe = np.where(rho > 0, rho, 1.0)  # on the axis h_rho is 0 and its direction is free
    along = h_rho * (x * u[..., 0] + y * u[..., 1]) / safe + h_z * u[..., 2]
    square = h_rho**2 + h_z**2
    coupling = MU0 * (target.transverse * square + (target.axial - target.transverse) * along**2)
    return coupling.real, -2 * np.pi * frequency_hz * coupling.imag


def frequency_shift(
    d_l_h: ArrayLike, d_r_ohm: ArrayLike, inductance_h: float, resistance_ohm: float, frequency_hz: float
) -> NDArray:
    """Relative shift df/f to first order: -1/2 dL/L - (1/Q) dR/(wL), Q = wL/R.  Loss always lowers the frequency.

    The second term is that of a series-resistance tank driven across its capacitor, w^2 = 1/(LC) - (R/L)^2.
    Sum the changes of several targets before; their mutual influence is left out (2 % at three radii apart).
    """
    if inductance_h <= 0 or resistance_ohm < 0 or frequency_hz <= 0:
        raise ValueError("inductance and frequency must be positive, resistance must not be negative")
    reactance = 2 * np.pi * frequency_hz * inductance_h
    loss = np.asarray(d_r_ohm, float) * resistance_ohm / reactance**2
    return -0.5 * np.asarray(d_l_h, float) / inductance_h - loss
