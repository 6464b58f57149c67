"""The oscillating tank: its frequency, the effect of supply and temperature, and its amplitude as a measure of loss.

Model: L in series with R, C across both, and a negative conductance across C that sustains the oscillation.
"""

from math import pi, sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray

from coilcount.physics.constants import COPPER_EXPANSION, COPPER_TEMPERATURE_COEFFICIENT

# Temperature coefficients in 1/K.  Engineering estimates from makers' tables, quoted from memory; single parts differ.
FORMER_EXPANSION = {"copper": COPPER_EXPANSION, "wood": 10e-6, "glass-fibre": 15e-6, "plastic": 80e-6}


def q_factor(inductance_h: float, resistance_ohm: float, frequency_hz: float) -> float:
    """Compute Q = wL/R of a coil with its series resistance."""
    if min(inductance_h, resistance_ohm, frequency_hz) <= 0:
        raise ValueError("inductance, resistance and frequency must be positive")
    return 2 * pi * frequency_hz * inductance_h / resistance_ohm


def resonance_hz(inductance_h: float, capacitance_f: float, resistance_ohm: float = 0.0) -> float:
    """Compute the frequency of the tank in Hz: w^2 = 1/(LC) - (R/L)^2, about f0 [1 - 1/(2 Q^2)].

    Raises ValueError if the resistance is so high that the tank cannot oscillate.
    """
    if inductance_h <= 0 or capacitance_f <= 0 or resistance_ohm < 0:
        raise ValueError("inductance and capacitance must be positive, resistance must not be negative")
    square = 1 / (inductance_h * capacitance_f) - (resistance_ohm / inductance_h) ** 2
    if square <= 0:
        raise ValueError("the tank cannot oscillate with this resistance: its Q is below 1")
    return sqrt(square) / (2 * pi)


def supply_pushing(q: float, loop_gain: float) -> float:
    """Compute the relative frequency change per relative change of the supply voltage.

    loop_gain: the gain r over the least gain that sustains the oscillation, at least 1.  It is taken as proportional
    to the supply, so a low gain and a regulated supply keep the frequency steady.

    Formula: d(df/f)/d(ln r) = -r (r-1)/(8 Q^2).  It follows from the shift by harmonics with van der Pol's cubic
    limiter, df/f = -(1/Q^2)[1/2 + (r-1)^2/16] (J. Groszkowski, Proc. IRE 21 (1933) 958).
    """
    if q <= 0 or loop_gain < 1:
        raise ValueError("Q must be positive and the loop gain at least 1")
    return -loop_gain * (loop_gain - 1) / (8 * q**2)


def amplitude_change(
    d_l_h: ArrayLike, d_r_ohm: ArrayLike, inductance_h: float, resistance_ohm: float, coil_share: float = 1.0
) -> NDArray:
    """Compute dV/V of a current-limited oscillator, whose voltage is inversely proportional to the tank's conductance.

    coil_share: share of the coil in the tank's loss, Q of the tank over Q of the coil.  The conductance of the coil is
    RC/L; that of a lossy capacitor is tan(delta) sqrt(C/L) at the resonance.  So dV/V = share (dL/L - dR/R) +
    (1 - share) dL/(2L).
    """
    if inductance_h <= 0 or resistance_ohm <= 0:
        raise ValueError("inductance and resistance must be positive")
    by_l, by_r = np.asarray(d_l_h, float) / inductance_h, np.asarray(d_r_ohm, float) / resistance_ohm
    return coil_share * (by_l - by_r) + (1 - coil_share) / 2 * by_l


def temperature_coefficient(
    q: float, former_per_k: float, dielectric_per_k: float, resistance_per_k: float = COPPER_TEMPERATURE_COEFFICIENT
) -> float:
    """Compute df/f per kelvin, from the coefficients (1/K) of the coil's size, the capacitor and the resistance.

    q: of the coil alone.  The weights are -1/2 for the size (L is proportional to it), -1/2 for the capacitor, and
    -1/Q^2 for the resistance, from the loss term of `resonance_hz`.
    """
    if q <= 0:
        raise ValueError("Q must be positive")
    return -former_per_k / 2 - dielectric_per_k / 2 - resistance_per_k / q**2
