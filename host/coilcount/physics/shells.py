"""Sheets, wires and rods in a field across their axis, each order cos(m phi) alone.

Every function returns a matrix in m^3 for the harmonics of one order m >= 1 and `degrees` degrees from m upwards:
the inductance of a coil changes by mu0 c.matrix.c, c being the coefficients of the coil's field per ampere.
"""

from math import pi

import numpy as np
from numpy.typing import NDArray
from scipy.special import beta, gamma, hyp2f1

from coilcount.physics.constants import MU0
from coilcount.physics.harmonics import axial_flux, fields, meridian

GMD = 0.2235  # geometric mean distance of a line from itself, over its length: e^(-3/2) (Rosa and Grover 1912)
CELLS = 32  # rings along a sheet's meridian; chosen by hand: twice as many change the result by less than 1 %


def ring_kernel(order: int, rho: NDArray, other: NDArray, apart: NDArray) -> NDArray:
    """Compute the potential at (rho, z) of a ring charge cos(m phi) of 1 per radian at (other, z - apart).

    Formula: Q_(m-1/2)(x)/(2 pi sqrt(rho other)), x = (rho^2 + other^2 + apart^2)/(2 rho other), with the Legendre
    function of the second kind as a hypergeometric series (DLMF 14.3.7).
    """
    x = (rho**2 + other**2 + apart**2) / (2 * rho * other)
    q = hyp2f1(order / 2 + 0.75, order / 2 + 0.25, order + 1, 1 / x**2) / (2 * x) ** (order + 0.5)
    q = q * np.sqrt(pi) * gamma(order + 0.5) / gamma(order + 1)
    return q / (2 * pi * np.sqrt(rho * other))


def sheet_matrix(
    order: int, degrees: int, scale_m: float, corners: list[tuple[float, float]], thickness_m: float, chi: complex
) -> NDArray:
    """Compute the response of a magnetised sheet of revolution, such as a disc, a washer or a cap.

    corners: (radius, height) of the sheet's middle line from one rim to the other; chi: mean susceptibility
    B/(mu0 H) - 1 of the sheet in a field along it, eddy currents included.

    Model: the sheet is magnetised along itself by the total field; the charges where this magnetisation begins and
    ends make the field that it adds.  Finite volumes along the meridian.  What is left out: eddy currents that a field
    across the sheet drives (`disc_currents`).
    """
    rho, z, width, rho_edge, gap = _cells(corners)
    stiffness = np.diag(order**2 * width / rho).astype(complex)
    conduct = rho_edge / gap
    i = np.arange(len(gap))
    stiffness[i, i] += conduct
    stiffness[i + 1, i + 1] += conduct
    stiffness[i, i + 1] -= conduct
    stiffness[i + 1, i] -= conduct
    stiffness *= chi * thickness_m
    apart = np.hypot(z[:, None] - z, GMD * thickness_m)
    np.fill_diagonal(apart, GMD * (width + thickness_m))
    kernel = ring_kernel(order, rho[:, None], rho[None, :], apart)
    potential = scale_m * meridian(rho, z, order, degrees, scale_m)
    charged = stiffness @ np.linalg.solve(np.eye(len(rho)) + kernel @ stiffness, potential.T)
    return pi * potential @ charged


def _cells(corners: list[tuple[float, float]]) -> tuple[NDArray, NDArray, NDArray, NDArray, NDArray]:
    """Cut a meridian into rings, finer at both ends of each straight part.

    Returns (rho, z, width) of the rings, and the radius between neighbours and their distance.
    """
    points = np.array(corners, float)
    lengths = np.hypot(*np.diff(points, axis=0).T)
    nodes = [points[:1]]
    for start, end, length in zip(points[:-1], points[1:], lengths, strict=True):
        n = max(8, round(CELLS * length / lengths.sum()))
        share = (1 - np.cos(pi * np.arange(1, n + 1) / n)) / 2
        nodes.append(start + share[:, None] * (end - start))
    edge = np.concatenate(nodes)
    middle = (edge[1:] + edge[:-1]) / 2
    width = np.hypot(*np.diff(edge, axis=0).T)
    return middle[:, 0], middle[:, 1], width, edge[1:-1, 0], (width[1:] + width[:-1]) / 2


def disc_currents(order: int, degrees: int, scale_m: float, radius_m: float, axial: complex) -> NDArray:
    """Estimate the response of a disc to the uneven part of a field across its sheet, from its axial polarizability.

    A perfectly conducting disc has stream functions rho^m sqrt(a^2 - rho^2) in a field z rho^m cos(m phi) (fractional
    Laplacian of order 1/2 on a disc; m = 0 gives 8/3 a^3).  At low frequency they are proportional to
    rho^m (a^2 - rho^2).  A single pole joins both limits, and its time constant is scaled from that of m = 0.
    Only the degree m + 1 is taken.  For iron this is an estimate.
    """
    matrix = np.zeros((degrees, degrees), complex)
    if degrees < 2 or axial.real >= 0:  # magnetisation prevails: the currents are small
        return matrix
    perfect, time = _disc_limits(0, radius_m)
    limit, order_time = _disc_limits(order, radius_m)
    x = axial.real / axial.imag  # of the single pole jx/(1 + jx)
    thick = abs(axial) / perfect * abs(1 + 1j * x) / x  # a thick disc shields a little more than a thin one
    x *= order_time / time
    # h_z of the harmonic of degree m + 1 is (2m+1)(rho/s)^m.
    field = (2 * order + 1) * (radius_m / scale_m) ** order
    matrix[1, 1] = -limit * thick * field**2 / 2 * 1j * x / (1 + 1j * x)
    return matrix


def _disc_limits(order: int, radius_m: float) -> tuple[float, float]:
    """The perfect conductor's response to a field (rho/a)^m, as for m = 0, and the time constant in units of it."""
    eigenvalue = 2 * gamma(1.5) * gamma(order + 1.5) / gamma(order + 1)
    perfect = 2 * radius_m**3 * (2 / eigenvalue) * pi * beta(order + 1, 1.5) / 2
    slow = 2 * pi * radius_m**3 / (8 * (order + 1) ** 2 * (order + 2))
    return perfect, slow / perfect


def loop_matrix(
    degrees: int,
    scale_m: float,
    radius_m: float,
    wire_radius_m: float,
    inner_ohm: complex,
    across_m2: complex,
    frequency_hz: float,
) -> NDArray:
    """Compute the response of a ring of round wire in order 0: a current around it, and the wire across its length.

    inner_ohm: resistance and inner reactance of the wire; across_m2: `eddy.cylinder_transverse` of the wire.

    The current I follows from (R + jwL) I = -jw flux.  The field across the wire, h + k I, gives each metre of wire
    the moment p = alpha' (h + k I), which adds mu0 2 pi r k p to the flux.  k = (ln(8r/a) - 1)/(4 pi r) is the field
    of the bent current at its own wire; it follows from dL/dr = mu0 (ln(8r/a) - 1).  For iron k matters: without it
    a steel ring of 20 x 2 mm shifts 16 % too little.
    """
    at, height = np.array([radius_m]), np.zeros(1)
    flux = 2 * pi * MU0 * axial_flux(at, height, degrees, scale_m)[0]
    h_rho, _, h_z = (part[:, 0] for part in fields(at, height, 0, degrees, scale_m))
    w, log = 2 * pi * frequency_hz, np.log(8 * radius_m / wire_radius_m)
    k = (log - 1) / (4 * pi * radius_m)
    moment_flux = MU0 * 2 * pi * radius_m
    impedance = inner_ohm + 1j * w * MU0 * radius_m * (log - 2)
    drive = flux + moment_flux * k * across_m2 * h_z
    current = -1j * w * drive / (impedance + 1j * w * moment_flux * k * k * across_m2)
    total = np.outer(drive, current) / MU0
    return total + 2 * pi * radius_m * across_m2 * (np.outer(h_z, h_z) + np.outer(h_rho, h_rho))


def wire_ring_matrix(
    order: int, degrees: int, scale_m: float, radius_m: float, wire_radius_m: float, chi: complex, across_m2: complex
) -> NDArray:
    """Compute the response of a ring of round wire: magnetised along the wire, and across it.

    chi: mean susceptibility of the wire in a field along it; across_m2: `eddy.cylinder_transverse` of the wire.
    """
    at, height = np.array([radius_m]), np.zeros(1)
    f = meridian(at, height, order, degrees + 1, scale_m)[:, 0]
    potential = scale_m * f[:degrees]
    stiffness = chi * pi * wire_radius_m**2 * order**2 / radius_m
    kernel = float(ring_kernel(order, at, at, np.array([wire_radius_m]))[0])
    along = pi * np.outer(potential, potential) * stiffness / (1 + kernel * stiffness)
    degree = np.arange(order, order + degrees)
    h_z = (degree + order) * np.concatenate([[0.0], f[: degrees - 1]])
    h_rho = degree * f[:degrees] / (radius_m / scale_m)
    return along + pi * radius_m * across_m2 * (np.outer(h_z, h_z) + np.outer(h_rho, h_rho))


def rod_matrix(degrees: int, scale_m: float, length_m: float, across_m2: complex) -> NDArray:
    """Compute the response of a rod across its axis (order 1): a piece of a long cylinder, without its ends."""
    node, weight = np.polynomial.legendre.leggauss(degrees + 2)
    z, tiny = node * length_m / 2, 1e-6 * scale_m
    field = meridian(np.full_like(z, tiny), z, 1, degrees, scale_m) * scale_m / tiny
    return across_m2 * length_m / 2 * (field * weight) @ field.T
