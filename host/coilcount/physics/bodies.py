"""Objects by the name of their shape.  Plan and simulation take the response of every object from here."""

from dataclasses import dataclass
from functools import lru_cache
from math import pi

import numpy as np
from numpy.typing import ArrayLike, NDArray

from coilcount.physics import facing, shells
from coilcount.physics.ball import ball_factors, ball_matrices
from coilcount.physics.constants import MATERIALS, permeability
from coilcount.physics.coupling import Coupling, make_coupling
from coilcount.physics.eddy import (
    cylinder_axial_mu,
    cylinder_transverse,
    round_ratio,
    sheet_in_plane_mu,
    tube_shield,
)
from coilcount.physics.field import field_at
from coilcount.physics.winding import Winding

# shape: its attitudes; the first has the body's axis along the coil's axis, the second across it
ATTITUDES = {
    "ball": ("any",),
    "disc": ("flat", "on edge"),
    "washer": ("flat", "on edge"),
    "cap": ("flat", "on edge"),
    "ring": ("flat", "on edge"),
    "rod": ("on end", "lying"),
    "can": ("upright", "lying"),
}
FERROMAGNETIC = 1.1  # relative permeability above which the formulas treat a body as iron; chosen by hand
FULL_FIELD, CHARGES, ESTIMATE = "full field", "charge model", "estimate"
PLATE_TO_DISC = 2 / pi**0.5  # diameter of a disc over the side of a square of the same area
# By shape and model: what to say about a response that was not compared with another method.
NOTES = {
    ("can", ESTIMATE): "an estimate: the wall's magnetisation is left out, and it was not compared with another method",
}
NEAR_M = 0.02  # closest distance for which the number of sample points is chosen


@dataclass(frozen=True, slots=True)
class Body:
    """A body by shape, material and size.

    conductivity: S/m; mu_r: relative permeability, used if no metal is named; diameter_m: outer diameter;
    thickness_m: of a disc, a washer, a ring's wire, or the sheet of a can or cap; length_m: of a rod, of a can along
    its axis, or of a cap from its top to the end of the skirt; hole_m: diameter of a washer's hole;
    metal: its permeability follows the frequency.
    """

    shape: str
    conductivity: float
    mu_r: float
    diameter_m: float
    thickness_m: float | None = None
    length_m: float | None = None
    hole_m: float | None = None
    metal: str | None = None

    def attitudes(self) -> tuple[str, ...]:
        """The attitudes that have a formula.  An iron can on its side has none."""
        words = ATTITUDES[self.shape]
        return words[:1] if self.shape == "can" and self.mu_r > FERROMAGNETIC else words

    def along(self, attitude: str) -> bool:
        """Whether the body's axis is along the coil's."""
        return attitude == ATTITUDES[self.shape][0]

    def to_centre_m(self, attitude: str) -> float:
        """Distance from the body's surface nearest to the coil to its centre."""
        if not self.along(attitude) or self.shape == "ball":
            return self.diameter_m / 2
        return (self.length_m if self.shape in ("rod", "can", "cap") else self.thickness_m) / 2

    def permeability(self, frequency_hz: float) -> float:
        """Relative permeability at a frequency."""
        return self.mu_r if self.metal is None else permeability(self.metal, frequency_hz)

    def model(self, attitude: str) -> str:
        """How the response in this attitude is computed: FULL_FIELD, CHARGES or ESTIMATE."""
        if self.shape == "ball" or (self.along(attitude) and self.shape != "ring"):
            return FULL_FIELD
        if self.shape == "can" and self.mu_r > FERROMAGNETIC:
            return ESTIMATE
        return CHARGES if self.mu_r > FERROMAGNETIC or not self.along(attitude) else FULL_FIELD

    def note(self, attitude: str) -> str:
        """Say how far off the response in this attitude may be.

        "" if tests/bench/shift_table.py finds it within its aims: 5 % in the full field, 15 % for the charge model.
        """
        return NOTES.get((self.shape, self.model(attitude)), "")


def named_body(
    shape: str,
    metal: str,
    diameter_mm: float,
    thickness_mm: float | None = None,
    length_mm: float | None = None,
    hole_mm: float | None = None,
) -> Body:
    """Make a body from the words and sizes of a plan or scene.

    A "plate" is a square with this side; a disc of the same area stands for it.  "flat-iron" is a disc.
    """

    def metres(size_mm: float | None) -> float | None:
        return None if size_mm is None else size_mm / 1000

    material = MATERIALS[metal]
    return Body(
        {"plate": "disc", "flat-iron": "disc"}.get(shape, shape),
        material.conductivity,
        material.mu_r,
        metres(diameter_mm) * (PLATE_TO_DISC if shape == "plate" else 1.0),
        metres(thickness_mm),
        metres(length_mm),
        metres(hole_mm),
        metal,
    )


def coaxial_response(
    body: Body, attitude: str, winding: Winding, distance_m: ArrayLike, frequency_hz: float
) -> tuple[NDArray, NDArray, str]:
    """Compute how much a body centred under the coil changes inductance and resistance of the coil.

    distance_m: from the coil's plane to the body's nearest surface.  A cap that lies flat has its top towards the coil.
    Returns (d_l_h, d_r_ohm, model), the first two of shape (distances,); model: see `Body.model`.
    """
    distance = np.atleast_1d(np.asarray(distance_m, float)) + body.to_centre_m(attitude)
    position = np.stack([0 * distance, 0 * distance, -distance], axis=-1)
    axis = np.array([0.0, 0.0, 1.0] if body.along(attitude) else [1.0, 0.0, 0.0])
    return *body_response(body, winding, position, axis, frequency_hz), body.model(attitude)


def body_response(
    body: Body, winding: Winding, position_m: ArrayLike, axis: ArrayLike, frequency_hz: float
) -> tuple[NDArray, NDArray]:
    """Compute how much a body changes inductance and resistance of the coil, wherever and however it lies.

    position_m: (n, 3), the body's centre in the coil's frame, in which the coil lies in the plane z = 0 and the ground
    is at negative z; axis: (3,), direction of the body's axis, of any length.
    Returns (d_l_h, d_r_ohm), shape (n,).  Raises ValueError for an axis of length 0.
    """
    axis = np.asarray(axis, float)
    length = np.linalg.norm(axis)
    if length == 0:
        raise ValueError("the body's axis needs a direction")
    found = coupling(body, frequency_hz).inductance_change(
        lambda places: field_at(winding, places), np.asarray(position_m, float), axis / length
    )
    return found.real, -2 * pi * frequency_hz * found.imag


@lru_cache(maxsize=512)  # a can takes 0.1 s, and a scene asks for the same object many times
def coupling(body: Body, frequency_hz: float) -> Coupling:
    """Compute the response of a body to any field.  Raises ValueError for sizes that make no body."""
    mu = body.permeability(frequency_hz)
    sizes = [size for size in (body.diameter_m, body.thickness_m, body.length_m, body.hole_m) if size is not None]
    if min(sizes) <= 0 or body.conductivity <= 0 or mu <= 0 or frequency_hz <= 0:
        raise ValueError("sizes, conductivity, permeability and frequency of a body must be positive")
    return _MAKERS[body.shape](body, mu, frequency_hz)


def _sheet(body: Body, mu: float, f: float) -> Coupling:
    """A disc, washer or cap: order 0 by finite elements, the higher orders as a magnetised sheet."""
    a, t, hole = body.diameter_m / 2, body.thickness_m, (body.hole_m or 0.0) / 2
    half = 0.0
    if body.shape == "cap":
        sections = facing.cap_sections(a, body.length_m, t)
        half = body.length_m / 2
        corners = [(0.0, half - t / 2), (a - t / 2, half - t / 2), (a - t / 2, -half)]
    else:
        sections = facing.disc_sections(a, t, hole)
        corners = [(hole, 0.0), (a, 0.0)]
    size = a / NEAR_M
    rings = int(np.clip(3 + size + 2.5 * max(size - 3, 0), 4, 15))  # a disc of 22 cm is 2 % off at 8 mm
    square = (np.polynomial.legendre.leggauss(rings)[0] + 1) / 2
    rho, z = a * np.sqrt(square), np.full(rings, half)
    if half:
        rho, z = np.append(rho, [a, a]), np.append(z, [0.0, -half])
    solved = facing.FacingBody(sections, body.conductivity, mu, f)
    matrices = [solved.harmonic_matrix(2 * rings, a)]
    chi = sheet_in_plane_mu(t, f, body.conductivity, mu) - 1
    orders = 2 if a < NEAR_M else 3 if a < 3 * NEAR_M else 5
    for order in range(1, orders + 1):
        degrees = 4 if a < 3 * NEAR_M else 8
        matrix = shells.sheet_matrix(order, degrees, a, corners, t, chi)
        if not hole:
            matrix += shells.disc_currents(order, degrees, a, a, complex(matrices[0][0, 0]))
        matrices.append(matrix)
    return make_coupling(rho, z, 2 * orders + 2, a, matrices)


def _rod(body: Body, mu: float, f: float) -> Coupling:
    """A rod: order 0 by finite elements, order 1 as a piece of a long cylinder."""
    a, length = body.diameter_m / 2, body.length_m
    scale = max(a, length / 2)
    solved = facing.FacingBody(facing.disc_sections(a, length), body.conductivity, mu, f)
    rings = int(np.clip(4 + length / 2 / NEAR_M, 5, 9))
    z = np.polynomial.legendre.leggauss(rings)[0] * length / 2
    across = shells.rod_matrix(rings, scale, length, cylinder_transverse(a, f, body.conductivity, mu))
    matrices = [solved.harmonic_matrix(rings, scale), across]
    return make_coupling(np.full(rings, a / 2), z, 4, scale, matrices)


def _ring(body: Body, mu: float, f: float) -> Coupling:
    """A ring of round wire: the current around it, and the magnetised wire."""
    wire = body.thickness_m / 2
    radius = body.diameter_m / 2 - wire
    if wire >= 0.49 * radius:
        raise ValueError("a ring must be wider than its wire")
    degrees = 4
    square = (np.polynomial.legendre.leggauss(degrees)[0] + 1) / 2
    across = cylinder_transverse(wire, f, body.conductivity, mu)
    chi = cylinder_axial_mu(wire, f, body.conductivity, mu) - 1
    inner = 2 * radius / (body.conductivity * wire**2) * round_ratio(wire, f, body.conductivity, mu)
    matrices = [shells.loop_matrix(2 * degrees, radius, radius, wire, inner, across, f)]
    matrices += [shells.wire_ring_matrix(order, 4, radius, radius, wire, chi, across) for order in (1, 2)]
    return make_coupling(radius * np.sqrt(square), 0 * square, 6, radius, matrices)


def _can(body: Body, mu: float, f: float) -> Coupling:
    """A closed can: order 0 by finite elements, the higher orders as a perfect conductor times the shield of a tube."""
    a, height, wall = body.diameter_m / 2, body.length_m, body.thickness_m
    solved = facing.FacingBody(facing.can_sections(a, height, wall), body.conductivity, mu, f)
    scale, half = max(a, height / 2), height / 2
    matrices = [solved.harmonic_matrix(10, scale)]
    for order in (1, 2, 3):
        closed = shells.closed_matrix(order, 5, scale, [(0.0, -half), (a, -half), (a, half), (0.0, half)])
        matrices.append(tube_shield(order, a, wall, body.conductivity, f) * closed)
    z = np.polynomial.legendre.leggauss(6)[0] * half
    return make_coupling(np.full(6, 0.7 * a), z, 8, scale, matrices)


def _ball(body: Body, mu: float, f: float) -> Coupling:
    """A ball: multipoles."""
    a = body.diameter_m / 2
    degrees = int(np.clip(2 + a / NEAR_M * 4, 2, 8))
    cos = np.polynomial.legendre.leggauss(degrees)[0]
    factors = ball_factors(a, body.conductivity, mu, f, degrees)
    return make_coupling(a * np.sqrt(1 - cos**2), a * cos, 2 * degrees + 2, a, ball_matrices(a, factors, a))


_MAKERS = {"ball": _ball, "disc": _sheet, "washer": _sheet, "cap": _sheet, "ring": _ring, "rod": _rod, "can": _can}
