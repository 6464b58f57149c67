"""Thick coins, washers, foils and tubes as a stack of coaxial rings: a second method for the tests.

Each ring has its resistance, all rings have their mutual inductances, and the flux of the field drives them.  With
fine rings this is exact for any non-magnetic body with its axis along the field.
"""

from math import ceil, pi

import numpy as np
from coilcount.physics.coil import mutual_inductance
from coilcount.physics.constants import MU0
from coilcount.physics.eddy import sheet_in_plane_mu, skin_depth_m
from coilcount.physics.targets import Polarizability
from coilcount.physics.winding import Winding
from numpy.typing import NDArray

MAX_RINGS = 600  # in all; chosen by hand: a dense complex system of this size takes about 0.1 s
MAX_ACROSS = 120  # from the centre to the rim; chosen by hand: the error of a foil is then 0.1 %


class RingBody:
    """A body of revolution with a rectangular section, cut into rings and centred at height 0.

    radius_m, inner_radius_m: outer and inner radius (0: a disc); thickness_m: along the axis.
    r_m, z_m: radius and height of each ring, shape (rings,).
    """

    def __init__(
        self, radius_m: float, thickness_m: float, conductivity: float, frequency_hz: float, inner_radius_m: float = 0.0
    ) -> None:
        if not 0 <= inner_radius_m < radius_m or thickness_m <= 0:
            raise ValueError("the inner radius must be below the radius, and the thickness positive")
        if conductivity <= 0 or frequency_hz <= 0:
            raise ValueError("conductivity and frequency must be positive")
        across = radius_m - inner_radius_m
        n_r, n_z = _cells(across, thickness_m, skin_depth_m(frequency_hz, conductivity))
        d_r, d_z = across / n_r, thickness_m / n_z
        r, z = np.meshgrid(
            inner_radius_m + d_r * (np.arange(n_r) + 0.5), d_z * (np.arange(n_z) - (n_z - 1) / 2), indexing="ij"
        )
        self.r_m, self.z_m = r.ravel(), z.ravel()
        self._w = 2 * pi * frequency_hz
        self._impedance = self._matrix(d_r, d_z, conductivity)

    def _matrix(self, d_r: float, d_z: float, conductivity: float) -> NDArray:
        r, z = self.r_m, self.z_m
        n = len(r)
        apart = np.abs(z[:, None] - z)
        apart[np.diag_indices(n)] = 1.0  # any value: the diagonal is set below
        m = mutual_inductance(r[:, None], r, apart)
        # Self-inductance of a ring of rectangular section: geometric mean distance 0.2235 (b + c) (Rosa and Grover).
        # The innermost ring of a disc is itself a small disc, for which the formula is still good enough.
        m[np.diag_indices(n)] = MU0 * r * (np.log(8 * r / (0.2235 * (d_r + d_z))) - 2)
        return np.diag(2 * pi * r / (conductivity * d_r * d_z)) + 1j * self._w * m

    def currents(self, flux_wb: NDArray) -> NDArray:
        """Compute the ring currents in A, shape (rings,), that a flux through each ring induces."""
        return np.linalg.solve(self._impedance, -1j * self._w * flux_wb)

    def axial_polarizability(self) -> complex:
        """Compute the polarizability in m^3 in an even field along the axis."""
        area = pi * self.r_m**2
        return complex(area @ self.currents(MU0 * area))

    def response(self, winding: Winding, distance_m: float) -> tuple[float, float]:
        """Compute how much the body changes inductance and resistance of a coil on the same axis, in its real field.

        distance_m: from the coil's plane to the body's middle.  Returns (d_l_h, d_r_ohm).
        """
        m = mutual_inductance(winding.r_m, self.r_m[:, None], self.z_m[:, None] + distance_m - winding.z_m).sum(axis=1)
        change = m @ self.currents(m)  # dZ = jw M I, and dZ = jw dL
        return float(change.real), float(-self._w * change.imag)


def _cells(across_m: float, thickness_m: float, depth_m: float) -> tuple[int, int]:
    """Numbers of rings across and along the body: nearly square rings, half a skin depth wide if MAX_RINGS allows."""
    side = min(depth_m / 2, thickness_m, across_m / 40)
    side = max(side, (across_m * thickness_m / MAX_RINGS) ** 0.5)
    n_z = max(1, ceil(thickness_m / side))
    return min(max(8, ceil(across_m / side)), MAX_RINGS // n_z, MAX_ACROSS), n_z


def coin(
    radius_m: float, thickness_m: float, conductivity: float, frequency_hz: float, inner_radius_m: float = 0.0
) -> Polarizability:
    """Compute the polarizability of a non-magnetic coin, foil or washer of any thickness.

    Axial: by the ring model; the error is 1 % or less against a finite-volume solution.  Transverse: from the eddy
    currents of a sheet in a field along its plane.
    """
    body = RingBody(radius_m, thickness_m, conductivity, frequency_hz, inner_radius_m)
    volume = pi * (radius_m**2 - inner_radius_m**2) * thickness_m
    across = volume * (sheet_in_plane_mu(thickness_m, frequency_hz, conductivity, 1.0) - 1)
    return Polarizability(body.axial_polarizability(), complex(across))
