"""Polarizabilities alpha of simple bodies: an even alternating field H0 induces the magnetic moment m = alpha H0.

alpha is in m^3, for e^{+jwt}.  Re alpha > 0 raises the coil's inductance, so the frequency falls.  Re alpha < 0 lowers
it.  Im alpha < 0 is loss.  Conductivities are in S/m.  All functions raise ValueError for sizes that are not positive.
"""

from dataclasses import dataclass
from math import pi, sqrt

import numpy as np

from coilcount.physics.eddy import skin_depth_m


@dataclass(frozen=True, slots=True)
class Polarizability:
    """alpha in m^3 of a body with an axis of symmetry: for a field along the axis, and across it."""

    axial: complex
    transverse: complex


def _positive(**sizes: float) -> None:
    for name, value in sizes.items():
        if not value > 0:
            raise ValueError(f"{name} must be positive")


def sphere(radius_m: float, conductivity: float, mu_r: float, frequency_hz: float) -> Polarizability:
    """Compute the polarizability of a ball, exactly.

    Formula: alpha = 2 pi a^3 (2 mu_r - P)/(mu_r + P), P = y^2 tanh y/(y - tanh y) - 1, y = (1+j) a/delta
    (J. R. Wait, Geophysics 16 (1951) 666).  For small y the continued fraction of the same function is used, which
    loses no digits.
    """
    _positive(radius_m=radius_m, mu_r=mu_r)
    y = (1 + 1j) * radius_m / skin_depth_m(frequency_hz, conductivity, mu_r)
    if abs(y) < 3:
        excess = 0j  # P - 2 = y^2/(5 + y^2/(7 + y^2/(9 + ...)))
        for odd in range(41, 3, -2):
            excess = y * y / (odd + excess)
    else:
        excess = y * y * np.tanh(y) / (y - np.tanh(y)) - 3
    alpha = complex(2 * pi * radius_m**3 * (2 * mu_r - 2 - excess) / (mu_r + 2 + excess))
    return Polarizability(alpha, alpha)


def demagnetising_factor(length_over_diameter: float) -> float:
    """Compute the demagnetising factor N along the axis of a spheroid (J. A. Osborn, Phys. Rev. 67 (1945) 351).

    N is below 1/3 for a long (prolate) spheroid and above 1/3 for a flat (oblate) one.
    """
    m = length_over_diameter
    if m <= 0:
        raise ValueError("length over diameter must be positive")
    if abs(m - 1) < 1e-4:
        return 1 / 3 - 4 / 15 * (m - 1)  # a series, because the closed forms lose their digits here
    if m > 1:
        s = sqrt(m * m - 1)
        return (m / s * np.log(m + s) - 1) / (m * m - 1)
    s = sqrt(1 - m * m)
    return (1 - m * np.arccos(m) / s) / (s * s)


def magnetised(volume_m3: float, mu: complex, demagnetising: float) -> complex:
    """Compute alpha in m^3 of a spheroid of permeability mu with this demagnetising factor along the field."""
    return volume_m3 * (mu - 1) / (1 + demagnetising * (mu - 1))
