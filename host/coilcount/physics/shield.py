"""A slotted shield around the winding: how its eddy currents change inductance and resistance of the coil.

The slot keeps the current from flowing once round the coil.  But it still flows along one side of the shield and back
along the other, because the field of a curved winding is stronger inside than outside.
"""

from math import pi

import numpy as np

from coilcount.physics.coil import mutual_inductance, ring_inductance
from coilcount.physics.constants import MATERIALS
from coilcount.physics.winding import Winding

# S/m.  Graphite paint differs from maker to maker by a factor of ten; this middle value is an engineering estimate.
CONDUCTIVITY = {
    "copper": MATERIALS["copper"].conductivity,
    "aluminium": MATERIALS["aluminium"].conductivity,
    "graphite": 3e3,
}
STRIPS = 48  # rings that make up the shield; computed: 96 rings change the result by less than 1 %


def shield_response(
    winding: Winding, material: str, gap_m: float, thickness_m: float, frequency_hz: float
) -> tuple[float, float]:
    """Compute (d_l_h, d_r_ohm) of a slotted foil around the winding, at gap_m from its wire.

    Method: the foil is cut into rings that are open at the slot.  All have the same voltage there, because the foil
    joins their ends, and the sum of their currents is 0: (R + jwM) I + jwM_coil = V, sum I = 0.  The foil is taken as
    thin against the skin depth (0.42 mm for copper at 25 kHz).  Ovals and rectangles are taken as circles of the same
    length.  Raises ValueError for an unknown material, or a shield that does not fit.
    """
    if material not in CONDUCTIVITY:
        raise ValueError(f'no shield of "{material}": known are {", ".join(CONDUCTIVITY)}')
    if gap_m <= 0 or thickness_m <= 0:
        raise ValueError("gap and thickness of the shield must be positive")
    turn_r, turn_z = winding.length_radius_m, winding.z_m
    r, z, strip_m = _strips(winding, gap_m)
    if r.min() <= strip_m:
        raise ValueError("the shield does not fit into the coil: make the gap smaller")
    w = 2 * pi * frequency_hz
    others = ~np.eye(len(r), dtype=bool)
    matrix = np.zeros((len(r) + 1, len(r) + 1), complex)
    inner = np.zeros((len(r), len(r)))
    i, j = np.nonzero(others)
    inner[others] = mutual_inductance(r[i], r[j], z[i] - z[j])
    # A strip of width s has the geometric mean distance s e^-1.5, as a filament of this radius with y = 0.
    inner[~others] = ring_inductance(r, strip_m * np.exp(-1.5), 0.0)
    matrix[:-1, :-1] = 1j * w * inner + np.diag(2 * pi * r / (CONDUCTIVITY[material] * strip_m * thickness_m))
    matrix[:-1, -1] = matrix[-1, :-1] = 1
    to_coil = mutual_inductance(r[:, None], turn_r, z[:, None] - turn_z).sum(axis=1)
    current = np.linalg.solve(matrix, np.append(-1j * w * to_coil, 0))[:-1]
    change = 1j * w * to_coil @ current
    return float(change.imag / w), float(change.real)


def _strips(winding: Winding, gap_m: float) -> tuple[np.ndarray, np.ndarray, float]:
    """Radius and height of the strips on an even tube around the winding, and the width of a strip, all in m.

    The tube follows the winding's section: half circles at the ends of its longer side, straight between them.
    """
    across = winding.length_radius_m
    wide, high = (float(np.ptp(side)) + winding.wire_diameter_m for side in (across, winding.z_m))
    radius = min(wide, high) / 2 + gap_m
    straight = max(wide, high) - min(wide, high)
    whole = 2 * pi * radius + 2 * straight
    step = whole / STRIPS
    along = (np.arange(STRIPS) + 0.5) * step
    middle = (float(across.max() + across.min()) / 2, float(winding.z_m.max() + winding.z_m.min()) / 2)
    u, v = np.array([_on_stadium(s, radius, straight) for s in along]).T
    if wide >= high:
        return middle[0] + u, middle[1] + v, step
    return middle[0] + v, middle[1] + u, step


def _on_stadium(s: float, radius: float, straight: float) -> tuple[float, float]:
    """The point at arc length s on a stadium whose straight sides lie along the first axis."""
    half, arc = straight / 2, pi * radius
    if s < straight:
        return s - half, -radius
    s -= straight
    if s < arc:
        angle = s / radius - pi / 2
        return half + radius * np.cos(angle), radius * np.sin(angle)
    s -= arc
    if s < straight:
        return half - s, radius
    angle = (s - straight) / radius + pi / 2
    return -half + radius * np.cos(angle), radius * np.sin(angle)
