"""Objects by the name of their shape: chooses the formula for each body."""

from dataclasses import dataclass
from functools import lru_cache
from math import pi

import numpy as np
from numpy.typing import ArrayLike, NDArray

from coilcount.physics.ball import ball_response
from coilcount.physics.coil import mutual_inductance
from coilcount.physics.constants import MATERIALS, MU0
from coilcount.physics.eddy import skin_depth_m
from coilcount.physics.facing import FacingBody
from coilcount.physics.field import winding_field
from coilcount.physics.rings import coin
from coilcount.physics.targets import (
    Polarizability,
    can_across,
    disc,
    edge_on,
    flat_iron,
    loop,
    rod,
    sphere,
)
from coilcount.physics.winding import Winding

# shape: its attitudes; the first has the body's axis along the coil's axis, the second across it
ATTITUDES = {
    "ball": ("any",),
    "disc": ("flat", "on edge"),
    "ring": ("flat", "on edge"),
    "rod": ("on end", "lying"),
    "can": ("upright", "lying"),
}
FERROMAGNETIC = 1.1  # relative permeability above which the formulas treat a body as iron; chosen by hand


@dataclass(frozen=True, slots=True)
class Body:
    """A body by shape, material and size.

    conductivity: S/m; mu_r: relative permeability; diameter_m: outer diameter; thickness_m: of a disc, of a ring's
    wire or of a can's wall; length_m: of a rod, or of a can along its axis.
    """

    shape: str
    conductivity: float
    mu_r: float
    diameter_m: float
    thickness_m: float | None = None
    length_m: float | None = None

    def attitudes(self) -> tuple[str, ...]:
        """The attitudes that have a formula.  An iron can on its side has none."""
        words = ATTITUDES[self.shape]
        return words[:1] if self.shape == "can" and self.mu_r > FERROMAGNETIC else words

    def along(self, attitude: str) -> bool:
        """Whether the body's axis is along the coil's."""
        return attitude == ATTITUDES[self.shape][0]

    def to_centre_m(self, attitude: str) -> float:
        """Distance from the body's surface nearest to the coil to its centre."""
        if self.shape in ("rod", "can") and self.along(attitude):
            return self.length_m / 2
        if self.shape in ("disc", "ring") and self.along(attitude):
            return self.thickness_m / 2
        return self.diameter_m / 2


def coaxial_response(
    body: Body, attitude: str, winding: Winding, distance_m: ArrayLike, frequency_hz: float
) -> tuple[NDArray, NDArray, str]:
    """Compute how much a body centred under the coil changes inductance and resistance of the coil.

    distance_m: from the coil's plane to the body's nearest surface.
    Returns (d_l_h, d_r_ohm, model), the first two of shape (distances,).  model is "full field" if the coil's real
    field is used.  It is "dipole" if the field is taken as even over the body; the error is then 10 to 20 % for a
    body as large as its distance.
    """
    distance = np.atleast_1d(np.asarray(distance_m, float)) + body.to_centre_m(attitude)
    radius, sigma, mu_r = body.diameter_m / 2, body.conductivity, body.mu_r
    if body.shape == "ball":
        return *ball_response(winding, radius, sigma, mu_r, frequency_hz, distance), "full field"
    if body.along(attitude) and body.shape in ("disc", "can"):
        wall = body.thickness_m if body.shape == "can" else None
        height = body.length_m if body.shape == "can" else body.thickness_m
        solved = FacingBody(radius, height, sigma, mu_r, frequency_hz, wall)
        return *solved.response(winding, distance), "full field"
    if body.along(attitude) and body.shape == "ring":
        middle = radius - body.thickness_m / 2
        alpha = loop(middle, body.thickness_m, sigma, frequency_hz).axial
        m = mutual_inductance(winding.r_m, middle, distance[:, None] - winding.z_m).sum(axis=1)
        change = alpha * m**2 / (MU0 * (pi * middle**2) ** 2)
    else:
        _, h_z = winding_field(winding, np.zeros_like(distance), distance)
        change = MU0 * _on_axis(body, attitude, frequency_hz) * h_z**2
        return change.real, -2 * pi * frequency_hz * change.imag, "dipole"
    return change.real, -2 * pi * frequency_hz * change.imag, "full field"


def _on_axis(body: Body, attitude: str, frequency_hz: float) -> complex:
    """Polarizability in m^3 for a field along the coil's axis, for bodies without a full-field solution here."""
    radius, sigma, mu_r = body.diameter_m / 2, body.conductivity, body.mu_r
    if body.shape == "rod":
        alpha = rod(body.length_m, body.diameter_m, sigma, mu_r, frequency_hz)
        return alpha.axial if body.along(attitude) else alpha.transverse
    if body.shape == "ring":
        return loop(radius - body.thickness_m / 2, body.thickness_m, sigma, frequency_hz).transverse
    if body.shape == "can":
        return can_across(body.length_m, radius, body.thickness_m, sigma, frequency_hz)
    return edge_on(radius, body.thickness_m, sigma, mu_r, frequency_hz)


@lru_cache(maxsize=256)  # a thick coin takes about 0.1 s, and a scene asks for the same object many times
def polarizability(
    shape: str,
    metal: str,
    diameter_mm: float,
    thickness_mm: float | None,
    length_mm: float | None,
    frequency_hz: float,
) -> Polarizability:
    """Polarizability of a scene's object, from its shape, metal and sizes."""
    sigma, mu_r = MATERIALS[metal].conductivity, MATERIALS[metal].mu_r
    radius_m = diameter_mm / 2000
    if shape == "ball":
        return sphere(radius_m, sigma, mu_r, frequency_hz)
    if shape == "rod":
        return rod(length_mm / 1000, diameter_mm / 1000, sigma, mu_r, frequency_hz)
    thickness_m = thickness_mm / 1000
    if shape == "flat-iron":
        return flat_iron(radius_m, thickness_m, sigma, mu_r, frequency_hz)
    if shape == "ring":
        return loop(radius_m - thickness_m / 2, thickness_m, sigma, frequency_hz)
    if thickness_m < 0.5 * skin_depth_m(frequency_hz, sigma):
        return disc(radius_m, thickness_m, sigma, frequency_hz)
    # For a thick coin the formula of `disc` would be wrong by 10 to 25 %.
    return coin(radius_m, thickness_m, sigma, frequency_hz)
