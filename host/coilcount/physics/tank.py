"""A coil and its capacitor as a tank: the one place where turns become inductance, frequency, resistance and Q."""

from dataclasses import dataclass
from math import pi

import numpy as np
from numpy.typing import ArrayLike, NDArray

from coilcount.physics import oscillator
from coilcount.physics.coil import ac_resistance, inductance
from coilcount.physics.response import frequency_shift
from coilcount.physics.winding import Winding, make_winding
from coilcount.physics.wire import parse_wire

LOWEST_HZ, HIGHEST_HZ = 1e3, 2e5  # what the board counts


@dataclass(frozen=True, eq=False)
class Tank:
    """inductance_h is the measured one where there is one, computed_h that of the turns; q of the coil alone."""

    winding: Winding
    inductance_h: float
    computed_h: float
    capacitance_f: float
    frequency_hz: float
    resistance_ohm: float
    q: float

    def shift(self, d_l_h: ArrayLike, d_r_ohm: ArrayLike) -> NDArray:
        """Relative frequency shift, as `response.frequency_shift`."""
        return frequency_shift(d_l_h, d_r_ohm, self.inductance_h, self.resistance_ohm, self.frequency_hz)

    def amplitude(self, d_l_h: ArrayLike, d_r_ohm: ArrayLike) -> NDArray:
        """Relative change of the amplitude, as `oscillator.amplitude_change`."""
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
    """The tank of a coil as people describe it (`schema.coil.Coil.si`).  ValueError where it cannot be.

    inductance_h: measured, in place of the sum over turns.  groove_m: the room for the winding, as wide as deep.
    q: measured, in place of the resistance of wire, skin and proximity.
    """
    winding = make_winding(diameter_m, turns, parse_wire(wire), layout, pitch_m)
    if groove_m is not None and winding.section_m > groove_m:
        raise ValueError(
            f"{turns} turns of {winding.wire_diameter_m * 1e3:.3g} mm wire are {winding.section_m * 1e3:.3g} mm thick, "
            f"the room for them is {groove_m * 1e3:.3g} mm"
        )
    computed = inductance(winding)
    henry = computed if inductance_h is None else inductance_h
    frequency = oscillator.resonance_hz(henry, capacitance_f)
    for _ in range(3):  # frequency and resistance belong together: a few rounds settle them
        resistance = ac_resistance(winding, frequency) if q is None else 2 * pi * frequency * henry / q
        frequency = oscillator.resonance_hz(henry, capacitance_f, resistance)
    if not LOWEST_HZ <= frequency <= HIGHEST_HZ:
        raise ValueError(f"it would swing at {frequency / 1000:.3g} kHz; the board counts 1 to 200 kHz")
    found = oscillator.q_factor(henry, resistance, frequency)
    return Tank(winding, henry, computed, capacitance_f, frequency, resistance, found)


def inductance_from_frequency(winding: Winding, capacitance_f: float, frequency_hz: float) -> float:
    """Inductance in H of a coil that swings at frequency_hz with a known capacitor: `resonance_hz` solved for L.

    w^2 C L^2 - L + R^2 C = 0, its larger root; R of the winding at that frequency.
    """
    w = 2 * pi * frequency_hz
    r = ac_resistance(winding, frequency_hz)
    inside = 1 - 4 * (w * capacitance_f * r) ** 2
    if inside <= 0:
        raise ValueError("no coil of this wire swings at this frequency with this capacitor: its Q would be below 1")
    return float((1 + np.sqrt(inside)) / (2 * w**2 * capacitance_f))
