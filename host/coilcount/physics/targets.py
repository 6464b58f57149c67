"""Polarizabilities alpha of simple bodies: an even alternating field H0 induces the magnetic moment m = alpha H0.

alpha is in m^3, for e^{+jwt}.  Re alpha > 0 raises the coil's inductance, so the frequency falls.  Re alpha < 0 lowers
it.  Im alpha < 0 is loss.  Conductivities are in S/m.  All functions raise ValueError for sizes that are not positive.
"""

from dataclasses import dataclass
from math import pi, sqrt

import numpy as np

from coilcount.physics.constants import MU0
from coilcount.physics.eddy import (
    cylinder_axial_mu,
    cylinder_transverse,
    round_ratio,
    sheet_in_plane_mu,
    skin_depth_m,
)
from coilcount.physics.facing import facing_polarizability


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


def _magnetised(volume_m3: float, mu: complex, demagnetising: float) -> complex:
    return volume_m3 * (mu - 1) / (1 + demagnetising * (mu - 1))


def disc(radius_m: float, thickness_m: float, conductivity: float, frequency_hz: float) -> Polarizability:
    """Compute the polarizability of a thin non-magnetic disc.

    Axial: -(8/3) a^3 jwT/(1+jwT), T = (3 pi/64) mu0 sigma t a.  This is exact at both ends of the frequency range.
    Between them, and for thick coins, the error is 10 to 25 %; use `rings.coin` there.  Transverse: `edge_on`.
    """
    _positive(radius_m=radius_m, thickness_m=thickness_m)
    x = 2j * pi * frequency_hz * 3 * pi / 64 * MU0 * conductivity * thickness_m * radius_m
    return Polarizability(
        complex(-8 / 3 * radius_m**3 * x / (1 + x)), edge_on(radius_m, thickness_m, conductivity, 1.0, frequency_hz)
    )


def edge_on(radius_m: float, thickness_m: float, conductivity: float, mu_r: float, frequency_hz: float) -> complex:
    """Compute alpha in m^3 of a disc for a field along its plane.

    Formula: the mean permeability of a sheet, with the demagnetising factor of a flat spheroid.
    """
    mu = sheet_in_plane_mu(thickness_m, frequency_hz, conductivity, mu_r)
    across = (1 - demagnetising_factor(thickness_m / (2 * radius_m))) / 2
    return _magnetised(pi * radius_m**2 * thickness_m, mu, across)


def can_across(height_m: float, radius_m: float, wall_m: float, conductivity: float, frequency_hz: float) -> complex:
    """Estimate alpha in m^3 of a closed non-magnetic can for a field across its axis.

    Formula: the shielding of a long thin tube, with the demagnetising factor of a spheroid.  g = jwT/(1+jwT),
    T = mu0 sigma wall radius/2 (exact for a long tube), takes the place of (1-mu)/(1+mu) of a solid cylinder.  It was
    not compared with another method.
    """
    _positive(height_m=height_m, radius_m=radius_m, wall_m=wall_m, conductivity=conductivity)
    x = 1j * pi * frequency_hz * MU0 * conductivity * wall_m * radius_m
    g = x / (1 + x)
    across = (1 - demagnetising_factor(height_m / (2 * radius_m))) / 2
    return complex(_magnetised(pi * radius_m**2 * height_m, (1 - g) / (1 + g), across))


def flat_iron(
    radius_m: float, thickness_m: float, conductivity: float, mu_r: float, frequency_hz: float
) -> Polarizability:
    """Compute the polarizability of a disc of iron: a cap, a lid, a plate, or a washer with its hole filled.

    If the disc faces the coil, its eddy currents usually prevail and the frequency rises.  If it stands on edge, it is
    magnetised along its plane and the frequency falls.  Axial: by finite elements, error 0.5 %, takes about 0.1 s.
    Transverse: `edge_on`.
    """
    _positive(radius_m=radius_m, thickness_m=thickness_m, mu_r=mu_r)
    return Polarizability(
        facing_polarizability(radius_m, thickness_m, conductivity, mu_r, frequency_hz),
        edge_on(radius_m, thickness_m, conductivity, mu_r, frequency_hz),
    )


def rod(length_m: float, diameter_m: float, conductivity: float, mu_r: float, frequency_hz: float) -> Polarizability:
    """Compute the polarizability of a rod: a nail, a bolt, a piece of wire.

    Axial: the skin effect of a long cylinder, with the demagnetising factor of a spheroid.  It differs by 3 to 5 % of
    |alpha| from the finite-element solution for a bolt and a nail at 25 kHz.  Transverse: a piece of a long cylinder.
    """
    _positive(length_m=length_m, diameter_m=diameter_m, mu_r=mu_r)
    mu = cylinder_axial_mu(diameter_m / 2, frequency_hz, conductivity, mu_r)
    volume = pi * diameter_m**2 / 4 * length_m
    axial = _magnetised(volume, mu, demagnetising_factor(length_m / diameter_m))
    return Polarizability(
        complex(axial), complex(length_m * cylinder_transverse(diameter_m / 2, frequency_hz, conductivity, mu_r))
    )


def loop(
    radius_m: float, wire_diameter_m: float, conductivity: float, frequency_hz: float, mu_r: float = 1.0
) -> Polarizability:
    """Compute the polarizability of a closed ring of round wire.

    radius_m: to the centre of the wire.  Axial: that of the current around the ring alone,
    alpha = -jw mu0 A^2/(R + jwL), with the skin effect in R and in the inner part of L.  Transverse: that of the wire,
    as if half of its length lay across the field.
    """
    _positive(radius_m=radius_m, wire_diameter_m=wire_diameter_m, conductivity=conductivity)
    if wire_diameter_m >= radius_m:
        raise ValueError("a ring must be wider than its wire")
    w = 2 * pi * frequency_hz
    length = 2 * pi * radius_m
    # The dc resistance times x J0/(2 J1) is the resistance plus the inner reactance of the wire.
    inner = (
        length
        / (conductivity * pi * wire_diameter_m**2 / 4)
        * round_ratio(wire_diameter_m / 2, frequency_hz, conductivity, mu_r)
    )
    outer = MU0 * radius_m * (np.log(16 * radius_m / wire_diameter_m) - 2)
    area = pi * radius_m**2
    axial = -1j * w * MU0 * area**2 / (inner + 1j * w * outer)
    across = cylinder_transverse(wire_diameter_m / 2, frequency_hz, conductivity, mu_r)
    return Polarizability(complex(axial), complex(length / 2 * across))
