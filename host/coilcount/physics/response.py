"""The frequency shift that follows from a change of inductance and resistance of the coil."""

import numpy as np
from numpy.typing import ArrayLike, NDArray


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
