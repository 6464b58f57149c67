"""The smallest shift that a pass must make to be found in an oscillator's noise."""

from math import log, pi, sqrt

import numpy as np
from scipy.integrate import trapezoid

from coilcount.physics.noise import NOISE_CLASSES, NoiseClass

SNR = 5.0
CLASSES = ("careful", "typical", "poor")
FWHM = 2 * sqrt(2 * log(2))  # of a Gaussian, in sigmas


def matched_amplitude(noise: NoiseClass, width_s: float, snr: float = SNR) -> float:
    """Relative shift at the top of a Gaussian pass of half-maximum width width_s that a matched filter sees at `snr`.

    snr^2 = A^2 Int_0^inf 4 |S(f)|^2 / S_y(f) df (D. O. North 1943; one-sided S_y), |S|^2 = 2 pi s^2 e^{-(2 pi s f)^2}.
    In flicker noise alone A = snr sqrt(pi h_minus1), which no speed changes.
    """
    if width_s <= 0 or snr <= 0:
        raise ValueError("width and snr must be positive")
    s = width_s / FWHM
    f = np.geomspace(1e-5, 6, 2000) / (2 * pi * s)
    density = noise.h0 + noise.h_minus1 / f + noise.h_minus2 / f**2
    integrand = 4 * 2 * pi * s**2 * np.exp(-((2 * pi * s * f) ** 2)) / density
    return snr / sqrt(float(trapezoid(integrand * f, np.log(f))))


def thresholds(width_s: float) -> dict[str, float]:
    """Relative shift that counts, by noise class."""
    return {name: matched_amplitude(NOISE_CLASSES[name], width_s) for name in CLASSES}
