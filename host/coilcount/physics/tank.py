"""The tank of a coil and its capacitor: inductance, frequency, resistance and Q, computed from the turns."""

from dataclasses import dataclass
from math import pi

import numpy as np
from numpy.typing import ArrayLike, NDArray

from coilcount.physics import oscillator
from coilcount.physics.coil import ac_resistance, inductance
from coilcount.physics.response import frequency_shift
from coilcount.physics.winding import Winding, make_winding
from coilcount.physics.wire import parse_wire

LOWEST_HZ, HIGHEST_HZ = 1e3, 2e5  # frequencies that the board can count


@dataclass(frozen=True, eq=False)
class Tank:
    """A coil with its capacitor.

    inductance_h: the measured inductance, or the computed one if none was measured; computed_h: from the turns;
    q: of the coil without the capacitor's loss.
    """

    winding: Winding
    inductance_h: float
    computed_h: float
    capacitance_f: float
    frequency_hz: float
    resistance_ohm: float
    q: float

    def shift(self, d_l_h: ArrayLike, d_r_ohm: ArrayLike) -> NDArray:
        """Compute the relative frequency shift: see `response.frequency_shift`."""
        return frequency_shift(d_l_h, d_r_ohm, self.inductance_h, self.resistance_ohm, self.frequency_hz)

    def amplitude(self, d_l_h: ArrayLike, d_r_ohm: ArrayLike) -> NDArray:
        """Compute the relative change of the amplitude: see `oscillator.amplitude_change`."""
        return oscillator.amplitude_change(d_l_h, d_r_ohm, self.inductance_h, self.resistance_ohm)


def make_tank(
    *,
    diameter_m: float,
    turns: int,
    wire: str,
    layout: str,
    pitch_m: float | None,
    capacitance_f: float,
    inductance_h: float | None = None,
    groove_m: float | None = None,
    q: float | None = None,
) -> Tank:
    """Compute the tank of a coil; the arguments are those of `schema.coil.Coil.si`.

    wire: such as "26 AWG" or "0.4 mm"; inductance_h: a measured value that replaces the sum over the turns;
    groove_m: width and depth of the room for the winding; q: a measured value that replaces the computed resistance.
    Raises ValueError if the coil cannot be wound, or if its frequency is out of the board's range.
    """
    winding = make_winding(diameter_m, turns, parse_wire(wire), layout, pitch_m)
    if groove_m is not None and winding.section_m > groove_m:
        raise ValueError(
            f"{turns} turns of {winding.wire_diameter_m * 1e3:.3g} mm wire are {winding.section_m * 1e3:.3g} mm thick, "
            f"but there is room for only {groove_m * 1e3:.3g} mm"
        )
    computed = inductance(winding)
    henry = computed if inductance_h is None else inductance_h
    frequency = oscillator.resonance_hz(henry, capacitance_f)
    for _ in range(3):  # frequency and resistance depend on each other; three rounds are enough for them to converge
        resistance = ac_resistance(winding, frequency) if q is None else 2 * pi * frequency * henry / q
        frequency = oscillator.resonance_hz(henry, capacitance_f, resistance)
    if not LOWEST_HZ <= frequency <= HIGHEST_HZ:
        raise ValueError(f"it would oscillate at {frequency / 1000:.3g} kHz; the board counts 1 to 200 kHz")
    q_coil = oscillator.q_factor(henry, resistance, frequency)
    return Tank(winding, henry, computed, capacitance_f, frequency, resistance, q_coil)


def inductance_from_frequency(winding: Winding, capacitance_f: float, frequency_hz: float) -> float:
    """Compute the inductance in H of a coil that oscillates at frequency_hz with a known capacitor.

    Formula: `resonance_hz` solved for L, the larger root of w^2 C L^2 - L + R^2 C = 0.  R is that of the winding at
    this frequency.  Raises ValueError if no inductance fits.
    """
    w = 2 * pi * frequency_hz
    r = ac_resistance(winding, frequency_hz)
    inside = 1 - 4 * (w * capacitance_f * r) ** 2
    if inside <= 0:
        raise ValueError("no coil of this wire oscillates at this frequency with this capacitor: Q would be below 1")
    return float((1 + np.sqrt(inside)) / (2 * w**2 * capacitance_f))
