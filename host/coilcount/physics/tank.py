"""The tank of a coil and its capacitor: inductance, frequency, resistance and Q, computed from the turns."""

from dataclasses import dataclass
from math import pi

import numpy as np
from numpy.typing import ArrayLike, NDArray

from coilcount.physics import oscillator
from coilcount.physics.coil import inductance, wire_impedance
from coilcount.physics.dielectric import CABLE_LOSS, DIELECTRICS, STRAY_LOSS
from coilcount.physics.response import frequency_shift
from coilcount.physics.shield import shield_response
from coilcount.physics.stray import own_capacitance_f as estimate_own_f
from coilcount.physics.stray import shield_capacitance_f
from coilcount.physics.winding import Winding, make_winding
from coilcount.physics.wire import read_wire

LOWEST_HZ, HIGHEST_HZ = 1e3, 2e5  # frequencies that the board can count


@dataclass(frozen=True, eq=False)
class Tank:
    """A coil with its capacitor.

    inductance_h: the measured inductance, or the computed one if none was measured; with cable and shield;
    computed_h: the same from the turns; capacitor_f: the capacitor alone; own_f: own capacitance of the winding
    (lowest, usual, highest); cable_f, shield_f: capacitance of cable and shield; resistance_ohm: of coil, cable and
    shield; q: of the coil without the loss of the capacitances; loss: their common dissipation factor.
    shield_h, shield_ohm: what the shield adds to inductance and resistance.
    """

    winding: Winding
    inductance_h: float
    computed_h: float
    capacitor_f: float
    frequency_hz: float
    resistance_ohm: float
    q: float
    own_f: tuple[float, float, float] = (0.0, 0.0, 0.0)
    cable_f: float = 0.0
    shield_f: float = 0.0
    loss: float = 0.0
    shield_h: float = 0.0
    shield_ohm: float = 0.0

    @property
    def capacitance_f(self) -> float:
        """All capacitances together, with the usual own capacitance."""
        return self.capacitor_f + self.own_f[1] + self.cable_f + self.shield_f

    @property
    def q_tank(self) -> float:
        """Q of coil and capacitances together."""
        return 1 / (1 / self.q + self.loss)

    @property
    def coil_share(self) -> float:
        """Share of the coil in the loss of the tank."""
        return self.q_tank / self.q

    def shift(self, d_l_h: ArrayLike, d_r_ohm: ArrayLike) -> NDArray:
        """Compute the relative frequency shift: see `response.frequency_shift`.

        The loss of the capacitor does not enter: the oscillator makes up for it without a change of frequency.
        """
        return frequency_shift(d_l_h, d_r_ohm, self.inductance_h, self.resistance_ohm, self.frequency_hz)

    def amplitude(self, d_l_h: ArrayLike, d_r_ohm: ArrayLike) -> NDArray:
        """Compute the relative change of the amplitude: see `oscillator.amplitude_change`."""
        return oscillator.amplitude_change(d_l_h, d_r_ohm, self.inductance_h, self.resistance_ohm, self.coil_share)

    def frequency_with(self, inductance_h: float, capacitance_f: float) -> float:
        """Compute the frequency in Hz with other values of inductance and whole capacitance, and this resistance."""
        return oscillator.resonance_hz(inductance_h, capacitance_f, self.resistance_ohm)


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
    inner_diameter_m: float | None = None,
    shape: str = "circle",
    width_m: float | None = None,
    dielectric: str = "C0G",
    own_capacitance_f: float | None = None,
    cable_f: float = 0.0,
    cable_ohm: float = 0.0,
    cable_h: float = 0.0,
    shield: str = "none",
    shield_gap_m: float = 5e-3,
    shield_m: float = 5e-5,
) -> Tank:
    """Compute the tank of a coil; the arguments are those of `schema.coil.Coil.si`.

    wire: such as "26 AWG", "0.4 mm" or "20x0.1mm"; capacitance_f: of the capacitor alone;
    inductance_h: a measured value that replaces the sum over the turns;
    groove_m: width and depth of the room for the winding;
    q: a measured value of the whole tank, which replaces the computed resistance and the loss of the capacitances;
    own_capacitance_f: a measured value that replaces the estimate;
    cable_f, cable_ohm, cable_h: capacitance, resistance and inductance of the cable;
    shield: a word of `shield.CONDUCTIVITY` or "none", with its distance shield_gap_m and its thickness shield_m;
    the rest: see `make_winding`.
    Raises ValueError if the coil cannot be wound, or if its frequency is out of the board's range.
    """
    winding = make_winding(
        diameter_m,
        turns,
        read_wire(wire),
        layout,
        pitch_m,
        inner_diameter_m=inner_diameter_m,
        shape=shape,
        width_m=width_m,
    )
    if groove_m is not None and winding.section_m > groove_m:
        raise ValueError(
            f"{turns} turns of {winding.wire_diameter_m * 1e3:.3g} mm wire are {winding.section_m * 1e3:.3g} mm thick, "
            f"but there is room for only {groove_m * 1e3:.3g} mm"
        )
    own = estimate_own_f(winding, layout) if own_capacitance_f is None else (own_capacitance_f,) * 3
    shielded = shield != "none"
    shield_f = shield_capacitance_f(winding, shield_gap_m) if shielded else 0.0
    whole_f = capacitance_f + own[1] + cable_f + shield_f
    bare_h = inductance(winding)
    frequency = oscillator.resonance_hz(bare_h if inductance_h is None else inductance_h, whole_f)
    for _ in range(3):  # frequency and resistance depend on each other; three rounds are enough for them to converge
        copper = wire_impedance(winding, frequency)
        screen_h, screen_ohm = (
            shield_response(winding, shield, shield_gap_m, shield_m, frequency) if shielded else (0.0, 0.0)
        )
        computed = bare_h + copper.imag / (2 * pi * frequency) + screen_h + cable_h
        henry = computed if inductance_h is None else inductance_h
        resistance = copper.real + screen_ohm + cable_ohm if q is None else 2 * pi * frequency * henry / q
        frequency = oscillator.resonance_hz(henry, whole_f, resistance)
    if not LOWEST_HZ <= frequency <= HIGHEST_HZ:
        raise ValueError(f"it would oscillate at {frequency / 1000:.3g} kHz; the board counts 1 to 200 kHz")
    lossy = capacitance_f * DIELECTRICS[dielectric].loss + (own[1] + shield_f) * STRAY_LOSS + cable_f * CABLE_LOSS
    return Tank(
        winding=winding,
        inductance_h=henry,
        computed_h=computed,
        capacitor_f=capacitance_f,
        frequency_hz=frequency,
        resistance_ohm=resistance,
        q=oscillator.q_factor(henry, resistance, frequency),
        own_f=own,
        cable_f=cable_f,
        shield_f=shield_f,
        loss=lossy / whole_f if q is None else 0.0,
        shield_h=screen_h,
        shield_ohm=screen_ohm,
    )


def inductance_from_frequency(winding: Winding, capacitance_f: float, frequency_hz: float) -> float:
    """Compute the inductance in H of a coil that oscillates at frequency_hz with a known capacitance.

    capacitance_f: of everything together, `Tank.capacitance_f`.
    Formula: `resonance_hz` solved for L, the larger root of w^2 C L^2 - L + R^2 C = 0.  R is that of the winding at
    this frequency.  Raises ValueError if no inductance fits.
    """
    w = 2 * pi * frequency_hz
    r = wire_impedance(winding, frequency_hz).real
    inside = 1 - 4 * (w * capacitance_f * r) ** 2
    if inside <= 0:
        raise ValueError("no coil of this wire oscillates at this frequency with this capacitor: Q would be below 1")
    return float((1 + np.sqrt(inside)) / (2 * w**2 * capacitance_f))
