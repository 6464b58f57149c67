"""Closed formulas for single bodies in an even field: a second method for the tests, each good in its limits.

alpha in m^3, for e^{+jwt}; see `coilcount.physics.targets`.
"""

from math import pi

import numpy as np
from coilcount.physics.constants import MU0
from coilcount.physics.eddy import cylinder_axial_mu, cylinder_transverse, round_ratio, sheet_in_plane_mu
from coilcount.physics.targets import Polarizability, demagnetising_factor, magnetised


def disc(radius_m: float, thickness_m: float, conductivity: float, frequency_hz: float) -> Polarizability:
    """Compute the polarizability of a thin non-magnetic disc.

    Axial: -(8/3) a^3 jwT/(1+jwT), T = (3 pi/64) mu0 sigma t a.  This is exact at both ends of the frequency range.
    Between them, and for thick coins, the error is 10 to 25 %; use `ring_circuits.coin` there.  Transverse: `edge_on`.
    """
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
    return magnetised(pi * radius_m**2 * thickness_m, mu, across)


def rod(length_m: float, diameter_m: float, conductivity: float, mu_r: float, frequency_hz: float) -> Polarizability:
    """Compute the polarizability of a rod: a nail, a bolt, a piece of wire.

    Axial: the skin effect of a long cylinder, with the demagnetising factor of a spheroid.  It differs by 3 to 5 % of
    |alpha| from the finite-element solution for a bolt and a nail at 25 kHz.  Transverse: a piece of a long cylinder.
    """
    mu = cylinder_axial_mu(diameter_m / 2, frequency_hz, conductivity, mu_r)
    volume = pi * diameter_m**2 / 4 * length_m
    axial = magnetised(volume, mu, demagnetising_factor(length_m / diameter_m))
    return Polarizability(
        complex(axial), complex(length_m * cylinder_transverse(diameter_m / 2, frequency_hz, conductivity, mu_r))
    )


def loop(
    radius_m: float, wire_diameter_m: float, conductivity: float, frequency_hz: float
) -> Polarizability:
    """Compute the polarizability of a closed ring of round wire.

    radius_m: to the centre of the wire.  Axial: that of the current around the ring alone,
    alpha = -jw mu0 A^2/(R + jwL), with the skin effect in R and in the inner part of L.  Transverse: that of the wire,
    as if half of its length lay across the field.
    """
    w = 2 * pi * frequency_hz
    length = 2 * pi * radius_m
    # The dc resistance times x J0/(2 J1) is the resistance plus the inner reactance of the wire.
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
