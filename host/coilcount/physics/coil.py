"""Inductance and resistance of a circular search coil, computed turn by turn.

Each turn is a ring with its own radius and height.  Summing over the turns needs no form factor and holds for any
cross-section of the winding.
"""

from math import pi

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import hyp2f1

from coilcount.physics.constants import MU0
from coilcount.physics.eddy import cylinder_transverse
from coilcount.physics.field import loop_field
from coilcount.physics.winding import Winding
from coilcount.physics.wire import COPPER, dc_resistance_ohm, skin_factor


def mutual_inductance(a_m: ArrayLike, b_m: ArrayLike, d_m: ArrayLike) -> NDArray:
    """Compute the mutual inductance in H of two coaxial circular filaments of radius a and b at axial distance d.

    The arguments broadcast.  The result is infinite if the filaments coincide.  Raises ValueError for a radius that
    is not positive.

    Formula: Maxwell's M = mu0 sqrt(ab) [(2/k-k)K - (2/k)E], m = k^2 = 4ab/((a+b)^2+d^2) (DLMF 19.34).  It is written
    as mu0 pi/2 (ab)^2 ((a+b)^2+d^2)^(-3/2) F(3/2,3/2;3;m), which loses no digits at a large distance: the error is
    1e-14 at any distance.
    """
    a, b, d = (np.asarray(value, float) for value in (a_m, b_m, d_m))
    if np.any(a <= 0) or np.any(b <= 0):
        raise ValueError("the radius of a filament must be positive")
    far = (a + b) ** 2 + d**2
    return MU0 * pi / 2 * (a * b) ** 2 * far**-1.5 * hyp2f1(1.5, 1.5, 3, 4 * a * b / far)


def ring_inductance(radius_m: ArrayLike, wire_radius_m: float, y: float = 0.25) -> NDArray:
    """Compute the self-inductance in H of one ring of round wire: mu0 R [ln(8R/rw) - 2 + y].

    y: 1/4 if the current is spread evenly over the wire, 0 if it flows in the skin.
    The error is of order (rw/R)^2.  Source: Rosa and Grover, NBS Scientific Paper 169 (1912).
    """
    radius = np.asarray(radius_m, float)
    if wire_radius_m <= 0 or np.any(radius <= wire_radius_m):
        raise ValueError("a ring must be wider than its wire")
    return MU0 * radius * (np.log(8 * radius / wire_radius_m) - 2 + y)


def inductance(winding: Winding, y: float = 0.25) -> float:
    """Compute the inductance in H: all self-inductances plus all mutual inductances.  y: see `ring_inductance`."""
    r, z = winding.r_m, winding.z_m
    i, j = np.triu_indices(winding.turns, 1)
    own = ring_inductance(r, winding.wire_diameter_m / 2, y).sum()
    return float(own + 2 * mutual_inductance(r[i], r[j], z[i] - z[j]).sum())


def dc_resistance(winding: Winding, conductivity: float = COPPER) -> float:
    """Compute the resistance in ohm at 20 C and zero frequency.  conductivity: of the wire, S/m."""
    return dc_resistance_ohm(winding.wire_length_m, winding.wire_diameter_m, conductivity)


def ac_resistance(winding: Winding, frequency_hz: float, conductivity: float = COPPER) -> float:
    """Compute the resistance in ohm at a frequency, with skin and proximity effect.

    The proximity effect is the loss by eddy currents in each turn, in the field of the other turns:
    w mu0 sum_i 2 pi r_i (-Im alpha'_i) |H_i|^2, with the transverse polarizability of a long cylinder.  It takes the
    field as even over the wire.  So for close-packed thick wire (diameter above about 3 skin depths) it is only an
    estimate.
    """
    d = winding.wire_diameter_m
    skin = dc_resistance(winding, conductivity) * skin_factor(d, frequency_hz, conductivity)
    others = ~np.eye(winding.turns, dtype=bool)
    h_rho, h_z = np.zeros((2, winding.turns, winding.turns))
    i, j = np.nonzero(others)
    r, z = winding.r_m, winding.z_m
    h_rho[others], h_z[others] = loop_field(r[j], r[i], z[i] - z[j])
    h_square = h_rho.sum(axis=1) ** 2 + h_z.sum(axis=1) ** 2
    loss = -cylinder_transverse(d / 2, frequency_hz, conductivity).imag
    proximity = 2 * pi * frequency_hz * MU0 * loss * float((2 * pi * r * h_square).sum())
    return skin + proximity

