"""The ground under the coil: magnetic soil as a mirror image, and conducting planes."""

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import j1

from coilcount.physics.coil import mutual_inductance
from coilcount.physics.constants import MU0
from coilcount.physics.winding import Winding


def viscous_susceptibility(chi: float, percent_per_decade: float) -> complex:
    """Complex susceptibility chi' - j chi'' of soil whose chi' falls by so many per cent a decade of frequency.

    chi'' = -(pi/2) dchi'/d ln f, the Kramers-Kronig companion of a slow logarithmic fall.  Measured falls reach 10 to
    12 %, at most 14 to 17 % (J. A. Dearing et al., Geophys. J. Int. 124 (1996) 228).
    """
    if not 0 <= percent_per_decade < 100:
        raise ValueError("the fall of chi must be 0 to 100 % a decade")
    return complex(chi, -np.pi / 2 * chi * percent_per_decade / 100 / np.log(10))


def soil_response(
    winding: Winding, height_m: ArrayLike, chi: complex | ArrayLike, frequency_hz: float
) -> tuple[NDArray, NDArray]:
    """(d_l_h, d_r_ohm) of a level half-space of susceptibility chi (SI, volume) below a level coil.

    Method of images, exact without conduction: dL = chi/(2+chi) times the mutual inductance of the coil and its
    image, N^2 M(R, R, 2h), at the coil's mean radius.  height_m is the coil's mean plane above the surface; both
    broadcast.  Soil looks ferrous: dL falls with the height, so lifting the coil raises the frequency.
    The conduction of soil (0.1 S/m or less) adds less than 1 mHz at 25 kHz to a 10 cm coil and is left out.
    """
    height = np.asarray(height_m, float)
    if np.any(height <= 0):
        raise ValueError("the coil must be above the ground")
    chi = np.asarray(chi, complex)
    radius = winding.mean_radius_m
    change = chi / (2 + chi) * winding.turns**2 * mutual_inductance(radius, radius, 2 * height)
    return change.real, -2 * np.pi * frequency_hz * change.imag


def plane_response(
    winding: Winding,
    height_m: float,
    conductivity: float,
    mu_r: float,
    frequency_hz: float,
    thickness_m: float | None = None,
) -> tuple[float, float]:
    """(d_l_h, d_r_ohm) of a wide conducting plate (thickness_m) or half-space (None) under a level coil.

    C. V. Dodd and W. E. Deeds, J. Appl. Phys. 39 (1968) 2829, with the coil as a filament of its mean radius:
    dZ = jw N^2 pi mu0 R^2 Int_0^inf J1(aR)^2 e^{-2ah} phi(a) da.  Gauss-Legendre in panels of the integrand's own
    scales: 1e-7 or better.
    """
    if height_m <= 0 or conductivity < 0 or mu_r <= 0 or frequency_hz <= 0:
        raise ValueError("height, mu_r and frequency must be positive, conductivity must not be negative")
    if thickness_m is not None and thickness_m <= 0:
        raise ValueError("the thickness must be positive")
    w, radius = 2 * np.pi * frequency_hz, winding.mean_radius_m
    a, weight = _panels(radius, height_m)
    inside = np.sqrt(a * a + 1j * w * MU0 * mu_r * conductivity)
    phi = (mu_r * a - inside) / (mu_r * a + inside)
    if thickness_m is not None:
        through = np.exp(-2 * inside * thickness_m)
        phi = phi * (1 - through) / (1 - phi * phi * through)
    total = np.sum(weight * j1(a * radius) ** 2 * np.exp(-2 * a * height_m) * phi)
    change = winding.turns**2 * np.pi * MU0 * radius**2 * total
    return float(change.real), float(-w * change.imag)


def _panels(radius_m: float, height_m: float) -> tuple[NDArray, NDArray]:
    """Nodes and weights from 0 to where e^{-2ah} is 1e-17, panels no wider than J1^2's swing, finer towards 0."""
    top = 20 / height_m
    wide = min(np.pi / radius_m, 1 / height_m)
    first = wide * np.geomspace(1e-6, 1, 13)
    edges = np.concatenate([[0.0], first, np.arange(2 * wide, top + wide, wide)])
    node, weight = np.polynomial.legendre.leggauss(16)
    half = np.diff(edges)[:, None] / 2
    return (edges[:-1, None] + half + half * node).ravel(), (half * weight).ravel()
