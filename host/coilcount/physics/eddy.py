"""How an alternating field enters a round wire, a cylinder and a sheet: skin depth and field diffusion.

Conventions of the whole package: SI units and e^{+jwt}.  A polarizability is m/H0, so a negative imaginary part is
loss.  Conductivities are in S/m.
"""

import numpy as np
from scipy.special import jve

from coilcount.physics.constants import MU0


def skin_depth_m(frequency_hz: float, conductivity: float, mu_r: float = 1.0) -> float:
    """Compute the skin depth 1/sqrt(pi f mu0 mu_r sigma) in m.  It is infinite if f = 0 or sigma = 0."""
    if frequency_hz < 0 or conductivity < 0 or mu_r <= 0:
        raise ValueError("frequency and conductivity must not be negative, mu_r must be positive")
    product = np.pi * frequency_hz * MU0 * mu_r * conductivity
    return float(1 / np.sqrt(product)) if product > 0 else float("inf")


def round_ratio(radius_m: float, frequency_hz: float, conductivity: float, mu_r: float = 1.0) -> complex:
    """Compute x J0(x)/(2 J1(x)) with x = (1-j) radius/delta.  It is 1 at f = 0.

    The real part is R_ac/R_dc of a single straight round wire (Kelvin; for example Smythe, Static and Dynamic
    Electricity).  Scaled Bessel functions are used because the plain ones overflow at a large radius/delta.
    """
    if radius_m <= 0:
        raise ValueError("the radius must be positive")
    x = (1 - 1j) * radius_m / skin_depth_m(frequency_hz, conductivity, mu_r)
    return complex(x * jve(0, x) / (2 * jve(1, x))) if abs(x) > 1e-6 else 1 + 0j


def cylinder_axial_mu(radius_m: float, frequency_hz: float, conductivity: float, mu_r: float) -> complex:
    """Compute the mean B/(mu0 H) of a long cylinder in a field along its axis: mu_r 2 J1(x)/(x J0(x))."""
    return mu_r / round_ratio(radius_m, frequency_hz, conductivity, mu_r)


def cylinder_transverse(radius_m: float, frequency_hz: float, conductivity: float, mu_r: float = 1.0) -> complex:
    """Compute the polarizability per metre of length (m^2) of a long cylinder in a field across its axis.

    Formula: alpha' = 2 pi a^2 (1-q)/(1+q), q = (x J0/J1 - 1)/mu_r.  Same source as `round_ratio`.
    """
    q = (2 * round_ratio(radius_m, frequency_hz, conductivity, mu_r) - 1) / mu_r
    return 2 * np.pi * radius_m**2 * (1 - q) / (1 + q)


def sheet_argument(thickness_m: float, frequency_hz: float, conductivity: float, mu_r: float) -> complex:
    """Compute k t/2 of a sheet of thickness t, with k = sqrt(jw mu0 mu_r sigma) = (1+j)/delta."""
    if thickness_m <= 0:
        raise ValueError("the thickness must be positive")
    return (1 + 1j) * thickness_m / (2 * skin_depth_m(frequency_hz, conductivity, mu_r))


def sheet_in_plane_mu(thickness_m: float, frequency_hz: float, conductivity: float, mu_r: float) -> complex:
    """Compute the mean B/(mu0 H) in a wide sheet in a field along its plane: mu_r tanh(kt/2)/(kt/2)."""
    x = sheet_argument(thickness_m, frequency_hz, conductivity, mu_r)
    return complex(mu_r * np.tanh(x) / x) if abs(x) > 1e-6 else complex(mu_r)


def tube_shield(order: int, radius_m: float, wall_m: float, conductivity: float, frequency_hz: float) -> complex:
    """Compute how much of a perfect conductor's response a long thin tube has in a field cos(m phi) across its axis.

    Formula: jwT/(1+jwT), T = mu0 sigma wall radius/(2m); exact for a wall that is thin against the skin depth.
    """
    if min(order, radius_m, wall_m, conductivity) <= 0:
        raise ValueError("order, sizes and conductivity must be positive")
    x = 1j * np.pi * frequency_hz * MU0 * conductivity * wall_m * radius_m / order
    return complex(x / (1 + x))
