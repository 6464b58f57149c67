"""Sheets, wires and rods in a field across their axis, each order cos(m phi) alone.

Every function returns a matrix in m^3 for the harmonics of one order m >= 1 and `degrees` degrees from m upwards:
the inductance of a coil changes by mu0 c.matrix.c, c being the coefficients of the coil's field per ampere.
"""

from math import pi

import numpy as np
from numpy.typing import NDArray
from scipy.special import eval_jacobi, gamma, hyp2f1, roots_jacobi

from coilcount.physics.constants import MU0
from coilcount.physics.harmonics import axial_flux, fields, meridian

GMD = 0.2235  # geometric mean distance of a line from itself, over its length: e^(-3/2) (Rosa and Grover 1912)
CELLS = 48  # rings along a meridian; chosen by hand: twice as many change the result by about 1 %


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

    On a perfectly conducting disc the stream functions sqrt(1-x^2) x^m P_k(1/2,m)(2x^2-1) cos(m phi), x = rho/a, make
    the fields lambda/(2a) x^m P_k with lambda = 2 Gamma(k+3/2) Gamma(m+k+3/2)/(k! Gamma(m+k+1)) (fractional Laplacian
    of order 1/2 on a disc; m = k = 0 gives -8/3 a^3).  The factor jX/(1+jX) of a sheet of finite conductivity takes
    over from the axial polarizability, with X in proportion to 1/lambda.  For iron this is an estimate.
    """
    if axial.real >= 0:  # magnetisation prevails: the currents are small
        return np.zeros((degrees, degrees), complex)
    first = pi / 2  # lambda of m = k = 0
    x = axial.real / axial.imag if axial.imag else 1e9
    thick = abs(axial) / (8 / 3 * radius_m**3) * abs(1 + 1j * x) / x  # a thick disc shields more than a thin one
    count = degrees // 2 + 1
    node, weight = roots_jacobi(count + order + degrees, 0.5, order)
    rho = radius_m * np.sqrt((1 + node) / 2)
    f = meridian(rho, 0 * rho, order, degrees, scale_m)
    degree = np.arange(order, order + degrees)[:, None]
    h_z = (degree + order) * np.concatenate([0 * f[:1], f[: degrees - 1]])
    # Integrals over x dx with sqrt(1-x^2) x^(2m): the quadrature's weight, up to this factor.
    weight = weight / (4 * 2 ** (order + 0.5))
    fields_over_power = h_z / (rho / radius_m) ** order
    total = np.zeros((degrees, degrees), complex)
    for k in range(count):
        eigenvalue = 2 * gamma(k + 1.5) * gamma(order + k + 1.5) / (gamma(k + 1) * gamma(order + k + 1))
        shape = eval_jacobi(k, 0.5, order, node)
        share = fields_over_power @ (weight * shape)
        x_k = x * first / eigenvalue
        shield = 1j * x_k / (1 + 1j * x_k)
        total -= shield * pi * 2 * radius_m**3 / eigenvalue * np.outer(share, share) / (weight @ shape**2)
    return thick * total


def closed_matrix(order: int, degrees: int, scale_m: float, corners: list[tuple[float, float]]) -> NDArray:
    """Compute the response of a perfectly conducting closed body of revolution, such as a can.

    corners: (radius, height) of its outline, from the axis at the lower end to the axis at the upper end.

    Method: rings of charge on the surface cancel the coil's field across it (boundary elements).  The inductance
    changes by mu0 times the integral of (potential of the charges - potential of the coil) times the coil's field
    across the surface; for a ball this is -2 pi a^3 (test).
    """
    rho, z, width, *_ = _cells(corners)
    along = np.concatenate([np.repeat([end], n, axis=0) for end, n in _directions(corners)])
    normal_r, normal_z = along[:, 1], -along[:, 0]
    area = rho * width
    kernel = ring_kernel(order, rho[:, None], rho[None, :], z[:, None] - z + np.diag(GMD * width))
    step = 0.2 * width.min()
    outside, inside = (
        ring_kernel(order, (rho + side * normal_r)[:, None], rho[None, :], (z + side * normal_z)[:, None] - z)
        for side in (step, -step)
    )
    across = np.diag(0.5 / area) - (outside - inside) / (2 * step)
    h_rho, _, h_z = fields(rho, z, order, degrees, scale_m)
    h_n = normal_r * h_rho + normal_z * h_z
    charges = np.linalg.solve(across, -h_n.T)
    potential = kernel @ charges - scale_m * meridian(rho, z, order, degrees, scale_m).T
    matrix = pi * (h_n * area) @ potential
    return (matrix + matrix.T) / 2


def _directions(corners: list[tuple[float, float]]) -> list[tuple[NDArray, int]]:
    """Unit vector along each straight part of an outline, and its number of rings in `_cells`."""
    steps = np.diff(np.array(corners, float), axis=0)
    lengths = np.hypot(*steps.T)
    return [(step / n, max(8, round(CELLS * n / lengths.sum()))) for step, n in zip(steps, lengths, strict=True)]


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
