"""Solid harmonics: the fields near a body whose sources lie elsewhere, and how to find their coefficients.

A field without sources is the gradient of a sum of c_lm (r/s)^l P_l^m(cos theta) cos(m phi) or sin(m phi) times the
scale s.  A body of revolution keeps the order m, so each m can be computed alone.  The Legendre functions are used
without their factor (2m-1)!!.
"""

import numpy as np
from numpy.typing import NDArray

SMALLEST_SINGULAR = 1e-9  # relative size of the singular values that a fit leaves out; chosen by hand


def meridian(rho_m: NDArray, z_m: NDArray, order: int, degrees: int, scale_m: float) -> NDArray:
    """Compute f_lm/s = (r/s)^l P_l^m of degree l = order ... order + degrees - 1, shape (degrees, points)."""
    rho, z = rho_m / scale_m, z_m / scale_m
    square = rho * rho + z * z
    found = [rho**order + 0 * z, (2 * order + 1) * z * rho**order]
    for degree in range(order + 2, order + degrees):
        top = (2 * degree - 1) * z * found[-1] - (degree + order - 1) * square * found[-2]
        found.append(top / (degree - order))
    return np.array(found[:degrees])


def axial_flux(rho_m: NDArray, z_m: NDArray, degrees: int, scale_m: float) -> NDArray:
    """Compute the flux function psi/mu0 in m of the harmonics of order 0 and degree 1 to `degrees`.

    Shape (points, degrees).  Formula: psi = mu0 r^(l+1) sin^2(theta) P_l'(cos theta)/(l+1), and
    sin^2(theta) P_l' = (l+1)(cos(theta) P_l - P_(l+1)).
    """
    f = meridian(rho_m, z_m, 0, degrees + 2, scale_m)
    return scale_m**2 * np.array([z_m / scale_m * f[n] - f[n + 1] for n in range(1, degrees + 1)]).T


def fields(rho_m: NDArray, z_m: NDArray, order: int, degrees: int, scale_m: float) -> tuple[NDArray, NDArray, NDArray]:
    """Compute the amplitudes (h_rho, h_phi, h_z) of the harmonics of one order, each of shape (degrees, points).

    The degrees are order ... (1 ... for order 0).  h_rho and h_z go with cos(m phi) and h_phi with -sin(m phi) for a
    potential with cos(m phi); with sin(m phi) they go with sin and +cos.  rho_m must be positive.
    """
    first = max(order, 1)
    f = meridian(rho_m, z_m, order, degrees + (order == 0), scale_m)
    degree = np.arange(first, first + degrees)[:, None]
    below = f[:degrees] if order == 0 else np.concatenate([0 * f[:1], f[: degrees - 1]])
    here = f[1:] if order == 0 else f
    rho, z = rho_m / scale_m, z_m / scale_m
    h_z = (degree + order) * below
    return (degree * here - z * h_z) / rho, order * here / rho, h_z


def inverse(matrix: NDArray) -> NDArray:
    """Return the least-squares inverse of a matrix, without the directions that rounding would spoil."""
    return np.linalg.pinv(matrix, rcond=SMALLEST_SINGULAR)
