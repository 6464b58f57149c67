"""The oscillating tank: its frequency, the effect of supply and temperature, and its amplitude as a measure of loss.

Model: L in series with R, C across both, and a negative conductance across C that sustains the oscillation.
"""

from math import pi, sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray

from coilcount.physics.constants import COPPER_EXPANSION, COPPER_TEMPERATURE_COEFFICIENT

# Temperature coefficients in 1/K.  Engineering estimates from makers' tables, quoted from memory; single parts differ.
FORMER_EXPANSION = {"copper": COPPER_EXPANSION, "wood": 10e-6, "glass-fibre": 15e-6, "plastic": 80e-6}
DIELECTRIC_COEFFICIENT = {"C0G": 0.0, "polypropylene": -250e-6, "polyester": 500e-6}


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


def amplitude_change(d_l_h: ArrayLike, d_r_ohm: ArrayLike, inductance_h: float, resistance_ohm: float) -> NDArray:
    """Compute dV/V of a current-limited oscillator: V is proportional to L/(RC), so dV/V = dL/L - dR/R."""
    if inductance_h <= 0 or resistance_ohm <= 0:
        raise ValueError("inductance and resistance must be positive")
    return np.asarray(d_l_h, float) / inductance_h - np.asarray(d_r_ohm, float) / resistance_ohm


def resistance_coefficient(dc_resistance_ohm: float, ac_resistance_ohm: float) -> float:
    """Compute the temperature coefficient in 1/K of the coil's resistance at its working frequency.

    The resistance of copper rises with temperature, but the proximity loss then falls.
    """
    if not 0 < dc_resistance_ohm <= ac_resistance_ohm:
        raise ValueError("the ac resistance must be at least the dc resistance, and both positive")
    share = dc_resistance_ohm / ac_resistance_ohm
    return COPPER_TEMPERATURE_COEFFICIENT * (2 * share - 1)


def temperature_coefficient(
    q: float, former_per_k: float, dielectric_per_k: float, resistance_per_k: float = COPPER_TEMPERATURE_COEFFICIENT
) -> float:
    """Compute df/f per kelvin, from the coefficients (1/K) of the coil's size, the capacitor and the resistance.

    The weights are -1/2 for the size (L is proportional to it), -1/2 for the capacitor, and -1/Q^2 for the
    resistance, from the loss term of `resonance_hz`.
    """
    if q <= 0:
        raise ValueError("Q must be positive")
    return -former_per_k / 2 - dielectric_per_k / 2 - resistance_per_k / q**2
