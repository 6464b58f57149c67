"""The width of a pass over a small object."""

import numpy as np

from coilcount.physics.field import mean_radius_field
from coilcount.physics.winding import Winding


def pass_width_m(winding: Winding, depth_m: float, flat: bool) -> float:
    """Compute the full width at half maximum, in m, of a pass straight over a small object.

    flat: whether the object is a flat disc (signal h_z^2) or a ball (signal |h|^2).  Over a shallow object the signal
    has two humps, under the wire; the width is then measured between their outer sides.
    """
    reach = 3 * (winding.mean_radius_m + depth_m)
    x = np.linspace(0, reach, 1500)
    h_rho, h_z = mean_radius_field(winding, x, np.full_like(x, depth_m))
    signal = h_z**2 if flat else h_z**2 + h_rho**2
    return 2 * float(x[np.flatnonzero(signal >= signal.max() / 2)[-1]])
