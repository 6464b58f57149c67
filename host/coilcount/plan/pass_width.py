"""The shape of a pass over a small object: its width, and its spectrum."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coilcount.physics.field import mean_radius_field
from coilcount.physics.winding import Winding


def pass_width_m(winding: Winding, depth_m: float, flat: bool) -> float:
    """Compute the full width at half maximum, in m, of a pass straight over a small object.

    flat: whether the object is a flat disc (signal h_z^2) or a ball (signal |h|^2).  Over a shallow object the signal
    has two humps, under the wire; the width is then measured between their outer sides.
    """
    reach = 3 * (winding.mean_radius_m + depth_m)
    x = np.linspace(0, reach, 1500)
    h_rho, h_z = mean_radius_field(winding, x, np.full_like(x, depth_m))
    signal = h_z**2 if flat else h_z**2 + h_rho**2
    return 2 * float(x[np.flatnonzero(signal >= signal.max() / 2)[-1]])


@dataclass(frozen=True, eq=False)
class PassShape:
    """A pass with a peak of 1: frequencies in Hz, rising, and the square of its Fourier transform there, in s^2."""

    frequency_hz: NDArray
    power_s2: NDArray


# A pass ends where the coil is so many times (its radius + the depth) away from the object.
REACH = 3.0
POINTS = 300  # along half of the pass
LINES = 200  # frequencies of the spectrum
# Highest frequency, times the width of the pass in s.  A Gaussian has 1e-9 of its energy above 2; a shallow pass under
# a large coil has steep sides, and more.
HIGHEST = 5.0


def pass_shape(winding: Winding, down_m: float, offset_m: float, speed_m_s: float, lowest_hz: float) -> PassShape:
    """Compute the spectrum of a pass beside a small flat object: signal h_z^2.

    down_m: from the coil's plane to the object; offset_m: sideways from the middle of the path; lowest_hz: of the
    frequencies.
    """
    x = np.linspace(0, REACH * (winding.mean_radius_m + down_m), POINTS)
    signal = mean_radius_field(winding, np.hypot(x, offset_m), np.full_like(x, down_m))[1] ** 2
    signal /= signal.max()
    wide = 2 * x[np.flatnonzero(signal >= 0.5)[-1]]
    frequency = np.geomspace(lowest_hz, max(HIGHEST * speed_m_s / wide, 4 * lowest_hz), LINES)
    cosine = np.cos(2 * np.pi * np.outer(frequency, x / speed_m_s))
    step = (x[1] - x[0]) / speed_m_s
    transform = 2 * step * (cosine @ signal - 0.5 * (signal[0] + cosine[:, -1] * signal[-1]))
    return PassShape(frequency, transform**2)
