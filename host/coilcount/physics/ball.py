"""A ball on the coil's axis in the coil's true, uneven field: all multipoles, not the dipole alone."""

from math import pi, sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray

from coilcount.physics.constants import MU0
from coilcount.physics.eddy import skin_depth_m
from coilcount.physics.winding import Winding

MULTIPOLES = 40


def ball_response(
    winding: Winding, radius_m: float, conductivity: float, mu_r: float, frequency_hz: float, distance_m: ArrayLike
) -> tuple[NDArray, NDArray]:
    """(d_l_h, d_r_ohm), shape (distances,), of a ball whose centre is distance_m from the coil's plane, on its axis.

    dL = pi mu0 sum_n D_n a^(2n+1)/(n(n+1)) [sum_i r_i P_n^1(cos t_i)/s_i^(n+1)]^2 over turns i at distance s_i and
    angle t_i from the ball's centre, D_n = ((n+1) mu - p_n)/(n mu + p_n), p_n = x j_(n-1)/j_n - n, x = (1-j) a/delta
    (Wait 1951 for each multipole; n = 1 is `targets.sphere`).
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
    """x j_(n-1)(x)/j_n(x) for n = 1 ... MULTIPOLES, x = (1-j) a/delta, by the recurrence downwards, which is stable."""
    y_square = 2j * a_over_delta**2  # -x^2
    start = MULTIPOLES + 40 + int(12 * sqrt(2 * a_over_delta))  # each step down gains where n^2 nears a/delta
    found, ratio = np.zeros(start + 1, complex), 2 * start + 3 + 0j
    for n in range(start, 0, -1):
        ratio = 2 * n + 1 + y_square / ratio
        found[n] = ratio
    return found[1 : MULTIPOLES + 1]
