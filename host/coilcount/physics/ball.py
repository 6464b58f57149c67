"""The response of a ball on the coil's axis, in the coil's real, uneven field: all multipoles, not only the dipole."""

from math import pi, sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray

from coilcount.physics.constants import MU0
from coilcount.physics.eddy import skin_depth_m
from coilcount.physics.winding import Winding

MULTIPOLES = 40  # terms of the series; chosen by hand


def ball_response(
    winding: Winding, radius_m: float, conductivity: float, mu_r: float, frequency_hz: float, distance_m: ArrayLike
) -> tuple[NDArray, NDArray]:
    """Compute how much a ball on the axis changes inductance and resistance of the coil.

    radius_m: of the ball; conductivity: S/m; mu_r: relative permeability; distance_m: from the coil's plane to the
    ball's centre, any shape of one dimension or a single number.
    Returns (d_l_h, d_r_ohm), each of shape (distances,).  Raises ValueError if the ball touches the coil's plane.

    Formula: dL = pi mu0 sum_n D_n a^(2n+1)/(n(n+1)) [sum_i r_i P_n^1(cos t_i)/s_i^(n+1)]^2.  Turn i lies at distance
    s_i and angle t_i from the ball's centre.  D_n = ((n+1) mu - p_n)/(n mu + p_n), p_n = x j_(n-1)/j_n - n,
    x = (1-j) a/delta.  Source for each multipole: Wait 1951; n = 1 is `targets.sphere`.
    """
    distance = np.atleast_1d(np.asarray(distance_m, float))
    if radius_m <= 0 or mu_r <= 0 or np.any(distance <= radius_m):
        raise ValueError("the radius must be positive, and the coil's plane must not cut the ball")
    height = distance[:, None] - winding.z_m
    s = np.hypot(winding.r_m, height)
    cos, sin = height / s, winding.r_m / s
    ratio = _ratios(radius_m / skin_depth_m(frequency_hz, conductivity, mu_r))
    before, legendre = np.zeros_like(cos), sin.copy()
    power = winding.r_m * (radius_m / s)
    total = np.zeros(len(distance), complex)
    for n in range(1, MULTIPOLES + 1):
        power = power * (radius_m / s)
        p = ratio[n - 1] - n
        d = ((n + 1) * mu_r - p) / (n * mu_r + p)
        total += d / (n * (n + 1)) * (power * legendre).sum(axis=1) ** 2
        before, legendre = legendre, ((2 * n + 1) * cos * legendre - (n + 1) * before) / n
    change = pi * MU0 / radius_m * total
    return change.real, -2 * pi * frequency_hz * change.imag


def _ratios(a_over_delta: float) -> NDArray:
    """Compute x j_(n-1)(x)/j_n(x) for n = 1 ... MULTIPOLES, x = (1-j) a/delta.

    The recurrence runs from high n to low n, because only that direction is stable.
    """
    y_square = 2j * a_over_delta**2  # -x^2
    # The start value is arbitrary: the steps above MULTIPOLES make the recurrence forget it.  A large a/delta needs
    # more of them.
    start = MULTIPOLES + 40 + int(12 * sqrt(2 * a_over_delta))
    found, ratio = np.zeros(start + 1, complex), 2 * start + 3 + 0j
    for n in range(start, 0, -1):
        ratio = 2 * n + 1 + y_square / ratio
        found[n] = ratio
    return found[1 : MULTIPOLES + 1]
