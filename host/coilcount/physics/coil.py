"""Inductance and resistance of a search coil, computed turn by turn.

Each turn is a ring with its own radius and height.  Summing over the turns needs no form factor and holds for any
cross-section of the winding.
"""

from functools import lru_cache
from math import pi

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import hyp2f1

from coilcount.physics.constants import MU0
from coilcount.physics.eddy import cylinder_transverse, round_ratio
from coilcount.physics.field import loop_field
from coilcount.physics.winding import Winding, outline_filaments
from coilcount.physics.wire import COPPER

_KEPT = 128  # windings whose sums over all pairs of turns are kept for the next call; chosen by hand


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


@lru_cache(maxsize=_KEPT)
def inductance(winding: Winding, y: float = 0.25) -> float:
    """Compute the inductance in H: all self-inductances plus all mutual inductances.  y: see `ring_inductance`.

    An oval is computed as circles as long as its turns, plus the difference that the outline makes.  Both have the
    same logarithm at a small distance, so the difference is smooth, and few filaments give it.  Computed: within 3e-5
    of the sum over all turns.
    """
    i, j = np.triu_indices(winding.turns, 1)
    z, outline = winding.z_m, winding.outline
    if outline is not None and outline.shape == "rectangle":
        out = winding.out_m
        own = outline.rectangle_inductance(out, winding.wire_diameter_m / 2, y).sum()
        return float(own + 2 * outline.mutual_inductance(out[i], out[j], z[i] - z[j]).sum())
    r = winding.length_radius_m
    own = ring_inductance(r, winding.wire_diameter_m / 2, y).sum()
    total = float(own + 2 * mutual_inductance(r[i], r[j], z[i] - z[j]).sum())
    return total if outline is None else total + _oval_less_circle(winding)


def _oval_less_circle(winding: Winding) -> float:
    """The inductance in H of an oval, less that of circles of the same length."""
    out, z, turns = outline_filaments(winding)
    radius = winding.outline.perimeter_m(out) / (2 * pi)
    apart = z[:, None] - z + np.eye(len(z)) * winding.wire_diameter_m / 2
    oval = winding.outline.mutual_inductance(out[:, None], out, apart)
    circle = mutual_inductance(radius[:, None], radius, apart)
    return float(turns @ (oval - circle) @ turns)


def dc_resistance(winding: Winding, conductivity: float = COPPER) -> float:
    """Compute the resistance in ohm at 20 C and zero frequency.  conductivity: of the wire, S/m."""
    wire = winding.strands
    return winding.wire_length_m * wire.length_factor / (conductivity * wire.copper_m2)


def ac_resistance(winding: Winding, frequency_hz: float, conductivity: float = COPPER) -> float:
    """Compute the resistance in ohm at a frequency, with skin and proximity effect: see `wire_impedance`."""
    return wire_impedance(winding, frequency_hz, conductivity).real


def wire_impedance(winding: Winding, frequency_hz: float, conductivity: float = COPPER) -> complex:
    """Compute the impedance in ohm that the copper itself adds: resistance, and the reactance of its eddy currents.

    The reactance is what skin and proximity effect change of the inductance, so it is negative.

    The proximity effect comes from eddy currents in each strand, in the field of the other turns and, in a stranded
    wire, of the other strands: jw mu0 sum_i 2 pi r_i alpha'_i |H_i|^2, with the transverse polarizability of a long
    cylinder.  The strands carry equal currents; a bundle of radius b has the mean square field 1/(8 pi^2 b^2) inside
    (for the same result see F. E. Terman, Radio Engineers' Handbook, 1943, from memory).  The field is taken as even
    over a strand.  So for close-packed thick wire (diameter above about 3 skin depths) it is only an estimate.
    """
    wire, w = winding.strands, 2 * pi * frequency_hz
    ratio = round_ratio(wire.strand_m / 2, frequency_hz, conductivity)
    uniform = 1j * w * MU0 / (8 * pi) * winding.wire_length_m / wire.strands  # counted in `inductance` already
    skin = dc_resistance(winding, conductivity) * ratio - uniform
    square = _neighbours_square(winding)
    if wire.strands > 1:
        square = square + 1 / (8 * pi**2 * (wire.diameter_m / 2) ** 2)
    alpha = wire.strands * wire.length_factor * cylinder_transverse(wire.strand_m / 2, frequency_hz, conductivity)
    return complex(skin + 1j * w * MU0 * alpha * float((2 * pi * winding.length_radius_m * square).sum()))


@lru_cache(maxsize=_KEPT)
def _neighbours_square(winding: Winding) -> NDArray:
    """Square of the field at each turn from all the others, in (A/m per ampere)^2, shape (turns,)."""
    others = ~np.eye(winding.turns, dtype=bool)
    h_rho, h_z = np.zeros((2, winding.turns, winding.turns))
    i, j = np.nonzero(others)
    r, z = winding.length_radius_m, winding.z_m
    h_rho[others], h_z[others] = loop_field(r[j], r[i], z[i] - z[j])
    return h_rho.sum(axis=1) ** 2 + h_z.sum(axis=1) ** 2
