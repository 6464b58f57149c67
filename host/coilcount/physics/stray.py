"""Capacitance beside the capacitor: between the turns of the winding, and from the winding to a slotted shield."""

from math import log, pi, sqrt

import numpy as np
from numpy.typing import NDArray
from scipy.special import ellipk

from coilcount.physics.winding import Winding

EPSILON0 = 8.8541878e-12  # F/m
# Least and greatest own capacitance in F, per m of diameter, of a bundle wound by hand: 10 to 150 pF at 10 cm.  It
# depends on which turns happen to lie side by side.  Engineering estimate.
BUNDLE_F_M = (100e-12, 1500e-12)
LAYER_MOST = 1.5  # highest over usual value of a single layer: enamel, former, leads.  Engineering estimate.


def own_capacitance_f(winding: Winding, layout: str) -> tuple[float, float, float]:
    """Estimate the lowest, the usual and the highest capacitance in F between the ends of a winding.

    Bundles: `BUNDLE_F_M`, and its geometric mean.  A single layer along the axis: the lowest is the electrostatic
    `layer_capacitance_f`, the usual one the measured `medhurst_f`.  A flat spiral: Medhurst's value for the layer of
    the same width and mean diameter, times the ratio of the electrostatic values of the two.
    """
    if layout in ("flat", "solenoid") and winding.turns > 1:
        low = layer_capacitance_f(winding)
        usual = medhurst_f(winding.section_m, 2 * float(winding.length_radius_m.mean()))
        if layout == "flat":
            usual *= low / layer_capacitance_f(_layer_like(winding))
        return min(low, usual), usual, LAYER_MOST * usual
    low, high = (2 * float(winding.length_radius_m.mean()) * per_m for per_m in BUNDLE_F_M)
    return low, sqrt(low * high), high


def medhurst_f(length_m: float, diameter_m: float) -> float:
    """Compute the own capacitance in F of a single-layer coil with one end grounded.

    Formula: C/D = 0.1126 l/D + 0.08 + 0.27 sqrt(D/l) in pF per cm (R. G. Medhurst, Wireless Engineer 24 (1947) 35 and
    80, from memory), from measurements at l/D of 0.1 to 50.
    """
    ratio = length_m / diameter_m
    return diameter_m * 100 * (0.1126 * ratio + 0.08 + 0.27 / sqrt(ratio)) * 1e-12


def _layer_like(winding: Winding) -> Winding:
    """The flat winding, rolled up to a layer along the axis."""
    across = winding.r_m if winding.outline is None else winding.out_m
    mean = float(winding.length_radius_m.mean())
    return Winding(np.full(winding.turns, mean), across - across.mean(), winding.wire_diameter_m)


def layer_capacitance_f(winding: Winding) -> float:
    """Compute the capacitance in F of a layer of turns in air whose voltage rises evenly from 0 to that of the coil.

    Method of moments: each turn is a charged ring, the charges q follow from the voltages v = P q, and the energy
    v q / 2 gives the capacitance.  It counts turn against turn and turn against far surroundings.
    """
    voltage = (np.arange(winding.turns) + 0.5) / winding.turns
    r, z = winding.length_radius_m, winding.z_m
    charge = np.linalg.solve(_potentials(r, z, np.full(winding.turns, winding.wire_diameter_m / 2)), voltage)
    return float(voltage @ charge)


def shield_capacitance_f(winding: Winding, gap_m: float) -> float:
    """Compute the capacitance in F that a shield adds between the ends of the coil.

    The shield is connected to one end of the coil, and the voltage rises evenly along the wire.  So the shield adds a
    third of its whole capacitance to the winding; that is taken as a round bundle in a round tube, in air:
    2 pi eps0 length / ln(tube / bundle).
    """
    bundle = sqrt(_section_area_m2(winding) / pi)
    length = 2 * pi * float(winding.length_radius_m.mean())
    return 2 * pi * EPSILON0 * length / log(1 + gap_m / bundle) / 3


def _section_area_m2(winding: Winding) -> float:
    across = winding.r_m if winding.outline is None else winding.out_m
    width, height = (float(np.ptp(side)) + winding.wire_diameter_m for side in (across, winding.z_m))
    return width * height


def _potentials(r_m: NDArray, z_m: NDArray, wire_radius_m: NDArray) -> NDArray:
    """Potential in V at each ring per coulomb on each ring, shape (n, n).

    Of another ring: K(m)/(2 pi^2 eps0 s), s^2 = (r1+r2)^2 + z^2, m = 4 r1 r2/s^2 (textbook).  At its own wire: the
    same at a distance of the wire's radius.
    """
    z = z_m[:, None] - z_m + np.diag(wire_radius_m)
    far = (r_m[:, None] + r_m) ** 2 + z**2
    return ellipk(np.minimum(4 * r_m[:, None] * r_m / far, 1 - 1e-15)) / (2 * pi**2 * EPSILON0 * np.sqrt(far))
