"""A ball in any field: all multipoles, not only the dipole."""

from math import factorial, pi, prod, sqrt

import numpy as np
from numpy.typing import NDArray

from coilcount.physics.eddy import skin_depth_m


def ball_factors(radius_m: float, conductivity: float, mu_r: float, frequency_hz: float, multipoles: int) -> NDArray:
    """Compute D_n = ((n+1) mu - p_n)/(n mu + p_n) for n = 1 ... multipoles; -1 for a perfect conductor.

    p_n = x j_(n-1)/j_n - n, x = (1-j) a/delta.  Source for each multipole: J. R. Wait, Geophysics 16 (1951) 666;
    2 pi a^3 D_1 is `targets.sphere`.  Raises ValueError for sizes that are not positive.
    """
    if radius_m <= 0 or mu_r <= 0:
        raise ValueError("radius and mu_r must be positive")
    n = np.arange(1, multipoles + 1)
    p = _ratios(radius_m / skin_depth_m(frequency_hz, conductivity, mu_r), multipoles) - n
    return ((n + 1) * mu_r - p) / (n * mu_r + p)


def ball_matrices(radius_m: float, factors: NDArray, scale_m: float) -> list[NDArray]:
    """Compute the response matrices of a ball to solid harmonics, for `coupling.make_coupling`.

    factors: `ball_factors`.  A harmonic r^n Y of the coil's field adds -gamma r^(-n-1) Y with
    gamma = D_n a^(2n+1) n/(n+1), which changes the inductance by mu0 (2n+1) gamma times the integral of Y^2.
    """
    degrees = len(factors)
    found = []
    for order in range(degrees + 1):
        degree = range(max(order, 1), degrees + 1)
        found.append(
            np.diag(
                [
                    factors[n - 1] * scale_m**3 * (radius_m / scale_m) ** (2 * n + 1) * n / (n + 1) * _norm(n, order)
                    for n in degree
                ]
            )
        )
    return found


def _norm(degree: int, order: int) -> float:
    """(2n+1) times the integral of the squared harmonic over the unit sphere."""
    if order == 0:
        return 4 * pi
    odd = prod(range(1, 2 * order, 2))  # the factor that `harmonics` leaves out
    return 2 * pi * factorial(degree + order) / factorial(degree - order) / odd**2


def _ratios(a_over_delta: float, multipoles: int) -> NDArray:
    """Compute x j_(n-1)(x)/j_n(x) for n = 1 ... multipoles, x = (1-j) a/delta.

    The recurrence runs from high n to low n, because only that direction is stable.
    """
    y_square = 2j * a_over_delta**2  # -x^2
    # The start value is arbitrary: the steps above `multipoles` make the recurrence forget it.  A large a/delta needs
    # more of them.
    start = multipoles + 40 + int(12 * sqrt(2 * a_over_delta))
    found, ratio = np.zeros(start + 1, complex), 2 * start + 3 + 0j
    for n in range(start, 0, -1):
        ratio = 2 * n + 1 + y_square / ratio
        found[n] = ratio
    return found[1 : multipoles + 1]
