"""A target as a dipole in the coil's field: a simple model that the tests compare the bodies of the package with."""

import numpy as np
from coilcount.physics.constants import MU0
from coilcount.physics.field_vector import field_vector
from coilcount.physics.targets import Polarizability
from coilcount.physics.winding import Winding
from numpy.typing import ArrayLike, NDArray


def target_response(
    winding: Winding, target: Polarizability, position_m: ArrayLike, axis: ArrayLike, frequency_hz: float
) -> tuple[NDArray, NDArray]:
    """Compute how much one target changes inductance (H) and resistance (ohm) of the coil.

    position_m: (..., 3), the target's centre in the coil's frame, in which the coil lies in the plane z = 0;
    axis: (..., 3), direction of the target's axis of symmetry, of any length but 0.  Formula, by reciprocity:
    dZ = jw mu0 h.alpha.h, h = H/I.  The field is taken as even over the target.
    """
    u = np.asarray(axis, float)
    u = u / np.linalg.norm(u, axis=-1, keepdims=True)
    h = field_vector(winding, np.asarray(position_m, float))
    along, square = np.sum(h * u, axis=-1), np.sum(h * h, axis=-1)
    coupling = MU0 * (target.transverse * square + (target.axial - target.transverse) * along**2)
    return coupling.real, -2 * np.pi * frequency_hz * coupling.imag
