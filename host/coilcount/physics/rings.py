"""Thick coins, washers, foils and tubes as a stack of coaxial rings that carry the eddy current.

Exact in the limit of fine rings for any non-magnetic body that is coaxial with the field: resistance of each ring,
inductance of all with all, and the field's flux as the source.
"""

from math import ceil, pi

import numpy as np
from numpy.typing import NDArray

from coilcount.physics.coil import mutual_inductance
from coilcount.physics.constants import MU0
from coilcount.physics.eddy import sheet_in_plane_mu, skin_depth_m
from coilcount.physics.targets import Polarizability
from coilcount.physics.winding import Winding

MAX_RINGS = 600  # in all: a dense complex system of this size takes about 0.1 s
MAX_ACROSS = 120  # from the centre to the rim: a foil is then right to 0.1 %


class RingBody:
    """A body of revolution with rectangular section, cut into rings.

    From inner_radius_m to radius_m (inner 0: a disc) and thickness_m along the axis, centred at height 0.
    r_m, z_m: shape (rings,).
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
        # A ring of rectangular section: its geometric mean distance is 0.2235 (b + c) (Rosa and Grover).  The
        # innermost ring of a disc is a disc itself, for which the logarithm would still serve.
        m[np.diag_indices(n)] = MU0 * r * (np.log(8 * r / (0.2235 * (d_r + d_z))) - 2)
        return np.diag(2 * pi * r / (conductivity * d_r * d_z)) + 1j * self._w * m

    def currents(self, flux_wb: NDArray) -> NDArray:
        """Ring currents in A, shape (rings,), that a flux through each ring raises."""
        return np.linalg.solve(self._impedance, -1j * self._w * flux_wb)

    def axial_polarizability(self) -> complex:
        """alpha in m^3 in an even field along the axis."""
        area = pi * self.r_m**2
        return complex(area @ self.currents(MU0 * area))

    def response(self, winding: Winding, distance_m: float) -> tuple[float, float]:
        """(d_l_h, d_r_ohm) for a winding on the same axis, its plane distance_m from the body's middle: full field."""
        m = mutual_inductance(winding.r_m, self.r_m[:, None], self.z_m[:, None] + distance_m - winding.z_m).sum(axis=1)
        change = m @ self.currents(m)  # dZ = jw M I, and dZ = jw dL
        return float(change.real), float(-self._w * change.imag)


def _cells(across_m: float, thickness_m: float, depth_m: float) -> tuple[int, int]:
    """Rings across and along: near-square, half a skin depth where that is affordable."""
    side = min(depth_m / 2, thickness_m, across_m / 40)
    side = max(side, (across_m * thickness_m / MAX_RINGS) ** 0.5)
    n_z = max(1, ceil(thickness_m / side))
    return min(max(8, ceil(across_m / side)), MAX_RINGS // n_z, MAX_ACROSS), n_z


def coin(
    radius_m: float, thickness_m: float, conductivity: float, frequency_hz: float, inner_radius_m: float = 0.0
) -> Polarizability:
    """A non-magnetic coin, foil or washer of any thickness.

    Axial: the ring model, 1 % or better against a finite-volume solution.  Transverse: the eddy currents of a sheet
    in its plane.
    """
    body = RingBody(radius_m, thickness_m, conductivity, frequency_hz, inner_radius_m)
    volume = pi * (radius_m**2 - inner_radius_m**2) * thickness_m
    across = volume * (sheet_in_plane_mu(thickness_m, frequency_hz, conductivity, 1.0) - 1)
    return Polarizability(body.axial_polarizability(), complex(across))
