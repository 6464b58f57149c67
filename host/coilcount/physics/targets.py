"""Polarizabilities of simple bodies: what moment m = alpha H0 an even alternating field H0 raises in them.

e^{+jwt}, alpha in m^3.  Re alpha > 0 raises the coil's inductance (its frequency falls), Re alpha < 0 lowers it;
Im alpha < 0 is loss.
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
    """alpha in m^3 of a body with an axis of symmetry: field along the axis, and across it."""

    axial: complex
    transverse: complex


def _positive(**sizes: float) -> None:
    for name, value in sizes.items():
        if not value > 0:
            raise ValueError(f"{name} must be positive")


def sphere(radius_m: float, conductivity: float, mu_r: float, frequency_hz: float) -> Polarizability:
    """Exact: alpha = 2 pi a^3 (2 mu_r - P)/(mu_r + P), P = y^2 tanh y/(y - tanh y) - 1, y = (1+j) a/delta.

    J. R. Wait, Geophysics 16 (1951) 666.  Small y go by the continued fraction of the same function, which does not
    cancel; large y by tanh y, which saturates.
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
    """N along the axis of a spheroid: below 1/3 prolate, above oblate (J. A. Osborn, Phys. Rev. 67 (1945) 351)."""
    m = length_over_diameter
    if m <= 0:
        raise ValueError("length over diameter must be positive")
    if abs(m - 1) < 1e-4:
        return 1 / 3 - 4 / 15 * (m - 1)  # the closed forms cancel here
    if m > 1:
        s = sqrt(m * m - 1)
        return (m / s * np.log(m + s) - 1) / (m * m - 1)
    s = sqrt(1 - m * m)
    return (1 - m * np.arccos(m) / s) / (s * s)


def _magnetised(volume_m3: float, mu: complex, demagnetising: float) -> complex:
    return volume_m3 * (mu - 1) / (1 + demagnetising * (mu - 1))


def disc(radius_m: float, thickness_m: float, conductivity: float, frequency_hz: float) -> Polarizability:
    """A thin non-magnetic disc.

    Axial: -(8/3) a^3 jwT/(1+jwT), T = (3 pi/64) mu0 sigma t a; exact at both ends of the frequency range, 10 to 25 %
    off between and for thick coins (`rings.coin` is exact).  Transverse: the eddy currents of a sheet in its plane.
    """
    _positive(radius_m=radius_m, thickness_m=thickness_m)
    x = 2j * pi * frequency_hz * 3 * pi / 64 * MU0 * conductivity * thickness_m * radius_m
    return Polarizability(
        complex(-8 / 3 * radius_m**3 * x / (1 + x)), edge_on(radius_m, thickness_m, conductivity, 1.0, frequency_hz)
    )


def edge_on(radius_m: float, thickness_m: float, conductivity: float, mu_r: float, frequency_hz: float) -> complex:
    """alpha in m^3 of a disc along its plane: the sheet's mean permeability in a flat spheroid's demagnetisation."""
    mu = sheet_in_plane_mu(thickness_m, frequency_hz, conductivity, mu_r)
    across = (1 - demagnetising_factor(thickness_m / (2 * radius_m))) / 2
    return _magnetised(pi * radius_m**2 * thickness_m, mu, across)


def can_across(height_m: float, radius_m: float, wall_m: float, conductivity: float, frequency_hz: float) -> complex:
    """A closed non-magnetic can across the field: a long thin tube's shielding in a spheroid's shape.

    g = jwT/(1+jwT), T = mu0 sigma wall radius/2 (exact for a long tube) stands for (1-mu)/(1+mu) of a solid one.
    An estimate: no other method was set against it.
    """
    _positive(height_m=height_m, radius_m=radius_m, wall_m=wall_m, conductivity=conductivity)
    x = 1j * pi * frequency_hz * MU0 * conductivity * wall_m * radius_m
    g = x / (1 + x)
    across = (1 - demagnetising_factor(height_m / (2 * radius_m))) / 2
    return complex(_magnetised(pi * radius_m**2 * height_m, (1 - g) / (1 + g), across))


def flat_iron(
    radius_m: float, thickness_m: float, conductivity: float, mu_r: float, frequency_hz: float
) -> Polarizability:
    """A disc of iron: a cap, a lid, a washer without its hole, a plate.

    Facing the coil its eddy currents win as a rule and the frequency rises; edge-on it is magnetised along its plane
    and the frequency falls.  Axial: finite elements, 0.5 % (about 0.1 s); transverse: a wide sheet's skin effect in a
    flat spheroid's demagnetisation.
    """
    _positive(radius_m=radius_m, thickness_m=thickness_m, mu_r=mu_r)
    return Polarizability(
        facing_polarizability(radius_m, thickness_m, conductivity, mu_r, frequency_hz),
        edge_on(radius_m, thickness_m, conductivity, mu_r, frequency_hz),
    )


def rod(length_m: float, diameter_m: float, conductivity: float, mu_r: float, frequency_hz: float) -> Polarizability:
    """A nail, a bolt, a piece of wire: its axis is the rod's.

    Axial: the skin effect of a long cylinder in the demagnetisation of a spheroid (3 to 5 % of |alpha| off the
    finite-element solution for a bolt and a nail at 25 kHz).  Transverse: a piece of a long cylinder.
    """
    _positive(length_m=length_m, diameter_m=diameter_m, mu_r=mu_r)
    mu = cylinder_axial_mu(diameter_m / 2, frequency_hz, conductivity, mu_r)
    volume = pi * diameter_m**2 / 4 * length_m
    axial = _magnetised(volume, mu, demagnetising_factor(length_m / diameter_m))
    return Polarizability(
        complex(axial), complex(length_m * cylinder_transverse(diameter_m / 2, frequency_hz, conductivity, mu_r))
    )


def loop(radius_m: float, wire_diameter_m: float, conductivity: float, frequency_hz: float) -> Polarizability:
    """A closed non-magnetic ring of round wire; radius_m to the wire's centre.

    Axial: alpha = -jw mu0 A^2/(R + jwL), with the skin effect in R and in the inner part of L; transverse: that of
    the wire, half of its length lying across the field in effect.
    """
    _positive(radius_m=radius_m, wire_diameter_m=wire_diameter_m, conductivity=conductivity)
    if wire_diameter_m >= radius_m:
        raise ValueError("a ring must be wider than its wire")
    w = 2 * pi * frequency_hz
    length = 2 * pi * radius_m
    # x J0/(2 J1) times the resistance at rest is resistance and inner reactance of the wire together.
    inner = (
        length
        / (conductivity * pi * wire_diameter_m**2 / 4)
        * round_ratio(wire_diameter_m / 2, frequency_hz, conductivity)
    )
    outer = MU0 * radius_m * (np.log(16 * radius_m / wire_diameter_m) - 2)
    area = pi * radius_m**2
    axial = -1j * w * MU0 * area**2 / (inner + 1j * w * outer)
    across = cylinder_transverse(wire_diameter_m / 2, frequency_hz, conductivity)
    return Polarizability(complex(axial), complex(length / 2 * across))
