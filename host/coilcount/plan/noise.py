"""The least shift of a pass that can be found in the noise of an oscillator."""

from math import log, pi, sqrt

import numpy as np
from scipy.integrate import trapezoid

from coilcount.physics.noise import NOISE_CLASSES, NoiseClass

SNR = 5.0  # signal-to-noise ratio at which a pass counts as found; chosen by hand
CLASSES = ("careful", "typical", "poor")
FWHM = 2 * sqrt(2 * log(2))  # of a Gaussian, in sigmas


def matched_amplitude(noise: NoiseClass, width_s: float, snr: float = SNR) -> float:
    """Compute the relative peak shift of a Gaussian pass that a matched filter finds with a given ratio `snr`.

    width_s: full width of the pass at half height.  Raises ValueError if width_s or snr is not positive.

    Formula: snr^2 = A^2 Int_0^inf 4 |S(f)|^2 / S_y(f) df (D. O. North 1943), with the one-sided S_y and
    |S|^2 = 2 pi s^2 e^{-(2 pi s f)^2}.  In pure flicker noise A = snr sqrt(pi h_minus1), whatever the speed.
    """
    if width_s <= 0 or snr <= 0:
        raise ValueError("width and snr must be positive")
    s = width_s / FWHM
    f = np.geomspace(1e-5, 6, 2000) / (2 * pi * s)
    density = noise.h0 + noise.h_minus1 / f + noise.h_minus2 / f**2
    integrand = 4 * 2 * pi * s**2 * np.exp(-((2 * pi * s * f) ** 2)) / density
    return snr / sqrt(float(trapezoid(integrand * f, np.log(f))))


def thresholds(width_s: float) -> dict[str, float]:
    """Compute the least relative shift that can be found, by noise class."""
    return {name: matched_amplitude(NOISE_CLASSES[name], width_s) for name in CLASSES}
