"""The coil: inductance and its tolerance, wire, resistance, Q, self-capacitance."""

from math import pi, sqrt
from typing import Any

import numpy as np

from coilcount.errors import InputError
from coilcount.physics import coil as physics
from coilcount.physics.tank import Tank, make_tank
from coilcount.physics.winding import PITCH_PER_DIAMETER, Winding, make_winding
from coilcount.physics.wire import parse_wire, skin_factor
from coilcount.schema.coil import Coil

COPPER_DENSITY = 8960.0  # kg/m^3, handbooks
# Tolerance of the pitch (factors) and of the mean diameter (share) of a coil wound by hand.  Engineering estimates.
PITCH_SPREAD = {"bundle": (0.95, 1.35), "loose": (0.8, 1.3), "flat": (0.97, 1.15), "solenoid": (0.97, 1.15)}
DIAMETER_SPREAD = 0.02
MOST_SECTION = 0.3  # of the diameter: room for a bundle if no groove is given; chosen by hand
MEASURED_SPREAD = 0.01  # relative tolerance of a measured inductance; engineering estimate
# Least and greatest self-capacitance of a hand-wound bundle 10 cm wide; proportional to the width.  An estimate.
BUNDLE_PF = (10.0, 150.0)


def sizes_of(coil: Coil) -> dict[str, Any]:
    """Return `Coil.si`; a bundle without a groove gets the room of `MOST_SECTION`."""
    sizes = coil.si()
    if coil.layout in ("bundle", "loose") and coil.groove_mm is None:
        sizes["groove_m"] = sizes["diameter_m"] * MOST_SECTION
    return sizes


def tank_of(coil: Coil) -> Tank:
    """Compute the tank of a [coil] table.

    Raises InputError if it cannot be built, or if its frequency is above the self-resonance of the coil.
    """
    try:
        tank = make_tank(**sizes_of(coil))
    except ValueError as error:
        raise InputError(str(error), "the coil", "Change wire, turns, diameter or capacitor") from None
    refuse_above_self_resonance(coil, tank, tank.frequency_hz)
    return tank


def refuse_above_self_resonance(coil: Coil, tank: Tank, frequency_hz: float) -> None:
    """Raise InputError if a frequency is above the self-resonance of the coil."""
    own = self_resonance_hz(coil, tank)
    if frequency_hz > own:
        raise InputError(
            f"{frequency_hz / 1e3:.4g} kHz is above the coil's own resonance, which may lie at {own / 1e3:.3g} kHz",
            "the coil",
            "Take fewer turns, a smaller coil or a lower frequency",
        )


def self_capacitance_pf(coil: Coil, tank: Tank) -> tuple[float, float]:
    """Estimate the lowest and highest self-capacitance in pF.

    Single layer: C/D = 0.1126 l/D + 0.08 + 0.27 sqrt(D/l) in pF per cm (R. G. Medhurst 1947, published, quoted from
    memory).  Bundles and flat spirals: `BUNDLE_PF`.
    """
    diameter_cm = coil.diameter_mm / 10
    if coil.layout == "solenoid" and coil.turns > 1:
        ratio = tank.winding.section_m * 100 / diameter_cm
        value = diameter_cm * (0.1126 * ratio + 0.08 + 0.27 / sqrt(ratio))
        return value, value
    return BUNDLE_PF[0] * diameter_cm / 10, BUNDLE_PF[1] * diameter_cm / 10


def self_resonance_hz(coil: Coil, tank: Tank) -> float:
    """Compute the self-resonance in Hz, with the highest self-capacitance, to be on the safe side."""
    return 1 / (2 * pi * sqrt(tank.inductance_h * self_capacitance_pf(coil, tank)[1] * 1e-12))


def spread_h(coil: Coil, tank: Tank) -> tuple[float, float]:
    """Estimate the lowest and highest inductance in H of a coil that is wound by hand to these sizes."""
    if coil.inductance_uh is not None:
        return tank.inductance_h * (1 - MEASURED_SPREAD), tank.inductance_h * (1 + MEASURED_SPREAD)
    wire = parse_wire(coil.wire)
    pitch = PITCH_PER_DIAMETER[coil.layout] * wire if coil.pitch_mm is None else coil.pitch_mm / 1000
    close, wide = PITCH_SPREAD[coil.layout]
    found = []
    for factor, diameter in ((wide, 1 - DIAMETER_SPREAD), (close, 1 + DIAMETER_SPREAD)):
        spaced = max(pitch * factor, min(pitch, 1.03 * wire))
        try:
            winding = make_winding(coil.diameter_mm / 1000 * diameter, coil.turns, wire, coil.layout, spaced)
        except ValueError:  # such a loose winding does not fit: use the planned one
            winding = tank.winding
        found.append(physics.inductance(winding))
    return found[0], found[1]


def centre_tap(tank: Tank) -> dict[str, float]:
    """Compute the inductance of each half of a coil with a centre tap, and their coupling.

    The halves lie beside each other, not interleaved.
    """
    winding = tank.winding
    order = np.lexsort((winding.r_m, winding.z_m))
    first, second = np.array_split(order, 2)
    halves = [
        physics.inductance(Winding(winding.r_m[half], winding.z_m[half], winding.wire_diameter_m))
        for half in (first, second)
    ]
    mutual = (tank.computed_h - sum(halves)) / 2
    scale = tank.inductance_h / tank.computed_h
    return {
        "half_uh": scale * sum(halves) / 2 * 1e6,
        "coupling": mutual / sqrt(halves[0] * halves[1]),
    }


def coil_section(coil: Coil, tank: Tank) -> dict[str, Any]:
    """List the figures of the coil with units in their names.  q_coil is without the loss of the capacitor."""
    winding, f = tank.winding, tank.frequency_hz
    dc = physics.dc_resistance(winding)
    skin = skin_factor(winding.wire_diameter_m, f)
    low, high = spread_h(coil, tank)
    pf = self_capacitance_pf(coil, tank)
    metres = winding.wire_length_m
    return {
        "diameter_mm": coil.diameter_mm,
        "turns": coil.turns,
        "wire": coil.wire,
        "wire_mm": winding.wire_diameter_m * 1e3,
        "layout": coil.layout,
        "section_mm": winding.section_m * 1e3,
        "inductance_uh": tank.inductance_h * 1e6,
        "inductance_from": "the turns" if coil.inductance_uh is None else "measurement",
        "computed_uh": tank.computed_h * 1e6,
        "calibration": tank.inductance_h / tank.computed_h,
        "inductance_low_uh": low * 1e6,
        "inductance_high_uh": high * 1e6,
        "wire_length_m": metres,
        "wire_mass_g": metres * pi / 4 * winding.wire_diameter_m**2 * COPPER_DENSITY * 1e3,
        "resistance_dc_ohm": dc,
        "resistance_ohm": tank.resistance_ohm,
        "skin_factor": skin,
        "proximity_factor": tank.resistance_ohm / dc - skin + 1,
        "q_coil": tank.q,
        "frequency_hz": f,
        "self_capacitance_low_pf": pf[0],
        "self_capacitance_high_pf": pf[1],
        "self_resonance_hz": self_resonance_hz(coil, tank),
        "hand_5pf_hz": -f * 5e-12 / (2 * tank.capacitance_f),
        "centre_tap": centre_tap(tank) if coil.centre_tap and coil.turns > 1 else None,
    }
