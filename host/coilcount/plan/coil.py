"""The coil: inductance and its tolerance, wire, resistance, Q, own capacitance."""

from dataclasses import replace
from math import pi, sqrt
from typing import Any

import numpy as np

from coilcount.errors import InputError
from coilcount.physics import coil as physics
from coilcount.physics.tank import Tank, make_tank
from coilcount.physics.winding import Winding, make_winding, usual_pitch_m
from coilcount.physics.wire import ENAMEL, read_wire, skin_factor
from coilcount.schema.coil import Coil

COPPER_DENSITY = 8960.0  # kg/m^3, handbooks
# Tolerance of the pitch (factors) and of the mean diameter (share) of a coil wound by hand.  Engineering estimates.
PITCH_SPREAD = {"bundle": (0.95, 1.35), "loose": (0.8, 1.3), "flat": (0.97, 1.15), "solenoid": (0.97, 1.15)}
DIAMETER_SPREAD = 0.02
MOST_SECTION = 0.3  # of the width: room for a bundle if no groove is given; chosen by hand
MEASURED_SPREAD = 0.01  # relative tolerance of a measured inductance; engineering estimate


def sizes_of(coil: Coil) -> dict[str, Any]:
    """Return `Coil.si`; a bundle without a groove gets the room of `MOST_SECTION`."""
    sizes = coil.si()
    if coil.layout in ("bundle", "loose") and coil.groove_mm is None:
        width = sizes["width_m"] or sizes["inner_diameter_m"] or sizes["diameter_m"]
        sizes["groove_m"] = width * MOST_SECTION
    return sizes


def winding_of(coil: Coil) -> Winding:
    """Make the winding of a [coil] table.  Raises InputError if it cannot be wound."""
    try:
        return _wound(coil)
    except ValueError as error:
        raise InputError(str(error), "the coil", "Change wire, turns or diameter") from None


def _wound(coil: Coil, size: float = 1.0, pitch_m: float | None = None) -> Winding:
    """The winding of a [coil] table; size: a factor for its diameters; pitch_m: in place of the table's."""
    sizes = coil.si()
    inner, width = sizes["inner_diameter_m"], sizes["width_m"]
    return make_winding(
        sizes["diameter_m"] * size,
        coil.turns,
        read_wire(coil.wire),
        coil.layout,
        sizes["pitch_m"] if pitch_m is None else pitch_m,
        inner_diameter_m=None if inner is None else inner * size,
        shape=coil.shape,
        width_m=None if width is None else width * size,
    )


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
    """Return the lowest and highest own capacitance in pF: see `physics.stray.own_capacitance_f`."""
    return tank.own_f[0] * 1e12, tank.own_f[2] * 1e12


def self_resonance_hz(coil: Coil, tank: Tank) -> float:
    """Compute the self-resonance in Hz, without the capacitor.

    It counts the highest own capacitance, cable and shield, to be on the safe side.
    """
    stray = tank.own_f[2] + tank.cable_f + tank.shield_f
    return 1 / (2 * pi * sqrt(tank.inductance_h * max(stray, 1e-15)))


def spread_h(coil: Coil, tank: Tank) -> tuple[float, float]:
    """Estimate the lowest and highest inductance in H of a coil that is wound by hand to these sizes."""
    if coil.inductance_uh is not None:
        return tank.inductance_h * (1 - MEASURED_SPREAD), tank.inductance_h * (1 + MEASURED_SPREAD)
    wire = read_wire(coil.wire)
    pitch = usual_pitch_m(wire, coil.layout) if coil.pitch_mm is None else coil.pitch_mm / 1000
    close, wide = PITCH_SPREAD[coil.layout]
    added = tank.inductance_h - physics.inductance(tank.winding)  # by cable, shield and eddy currents in the wire
    found = []
    for factor, size in ((wide, 1 - DIAMETER_SPREAD), (close, 1 + DIAMETER_SPREAD)):
        spaced = max(pitch * factor, min(pitch, 1.03 * wire.diameter_m))
        try:
            winding = _wound(coil, size, spaced)
        except ValueError:  # such a loose winding does not fit: use the planned one
            winding = tank.winding
        found.append(physics.inductance(winding) + added)
    return found[0], found[1]


def centre_tap(tank: Tank) -> dict[str, float]:
    """Compute the inductance of each half of a coil with a centre tap, and their coupling.

    The halves lie beside each other, not interleaved.
    """
    winding = tank.winding
    order = np.lexsort((winding.r_m, winding.z_m))
    halves = [physics.inductance(_part(winding, half)) for half in np.array_split(order, 2)]
    whole = physics.inductance(winding)
    mutual = (whole - sum(halves)) / 2
    return {
        "half_uh": tank.inductance_h / whole * sum(halves) / 2 * 1e6,
        "coupling": mutual / sqrt(halves[0] * halves[1]),
    }


def _part(winding: Winding, turns: np.ndarray) -> Winding:
    out = None if winding.out_m is None else winding.out_m[turns]
    return replace(winding, r_m=winding.r_m[turns], z_m=winding.z_m[turns], out_m=out)


def coil_section(coil: Coil, tank: Tank) -> dict[str, Any]:
    """List the figures of the coil with units in their names.

    diameter_mm, width_mm: mean length and width of the winding; q_coil is without the loss of the capacitor, q_tank
    with it; own_capacitance_pf: lowest, usual and highest.
    """
    winding, f = tank.winding, tank.frequency_hz
    wire = winding.strands
    dc = physics.dc_resistance(winding)
    skin = skin_factor(wire.strand_m, f)
    copper = tank.resistance_ohm - tank.shield_ohm - coil.si()["cable_ohm"]
    low, high = spread_h(coil, tank)
    metres = winding.wire_length_m
    outline = winding.outline
    length_mm = 2e3 * (winding.mean_radius_m if outline is None else outline.half_length_m)
    inner_mm = None
    if outline is None:
        inner_mm = 2e3 * (float(winding.r_m.min()) - wire.diameter_m * (ENAMEL if wire.strands == 1 else 1) / 2)
    return {
        "shape": coil.shape,
        "diameter_mm": length_mm,
        "width_mm": length_mm if outline is None else 2e3 * outline.half_width_m,
        "inner_diameter_mm": inner_mm,
        "turns": coil.turns,
        "wire": coil.wire,
        "wire_mm": winding.wire_diameter_m * 1e3,
        "strands": wire.strands,
        "strand_mm": wire.strand_m * 1e3,
        "layout": coil.layout,
        "section_mm": winding.section_m * 1e3,
        "inductance_uh": tank.inductance_h * 1e6,
        "inductance_from": "the turns" if coil.inductance_uh is None else "measurement",
        "computed_uh": tank.computed_h * 1e6,
        "calibration": tank.inductance_h / tank.computed_h,
        "inductance_low_uh": low * 1e6,
        "inductance_high_uh": high * 1e6,
        "wire_length_m": metres,
        "wire_mass_g": metres * wire.length_factor * wire.copper_m2 * COPPER_DENSITY * 1e3,
        "resistance_dc_ohm": dc,
        "resistance_ohm": tank.resistance_ohm,
        "skin_factor": skin,
        "proximity_factor": copper / dc - skin + 1,
        "q_coil": tank.q,
        "q_tank": tank.q_tank,
        "frequency_hz": f,
        "own_capacitance_pf": [value * 1e12 for value in tank.own_f],
        "own_capacitance_from": "an estimate" if coil.own_capacitance_pf is None else "measurement",
        "self_capacitance_low_pf": tank.own_f[0] * 1e12,
        "self_capacitance_high_pf": tank.own_f[2] * 1e12,
        "self_resonance_hz": self_resonance_hz(coil, tank),
        "hand_5pf_hz": -f * 5e-12 / (2 * tank.capacitance_f),
        "cable": _cable(coil, tank),
        "shield": _shield(coil, tank),
        "centre_tap": centre_tap(tank) if coil.centre_tap and coil.turns > 1 else None,
    }


def _cable(coil: Coil, tank: Tank) -> dict[str, Any] | None:
    """What the cable adds: capacitance, and with the capacitor at the board inductance and resistance; None: no cable.

    shift_hz: the change of the frequency by all of it.
    """
    if not coil.cable_m:
        return None
    sizes = coil.si()
    without = tank.frequency_with(tank.inductance_h - sizes["cable_h"], tank.capacitance_f - tank.cable_f)
    return {
        "length_m": coil.cable_m,
        "capacitance_pf": tank.cable_f * 1e12,
        "inductance_uh": sizes["cable_h"] * 1e6,
        "resistance_ohm": sizes["cable_ohm"],
        "capacitor_in_head": coil.capacitor_in_head,
        "shift_hz": tank.frequency_hz - without,
    }


def _shield(coil: Coil, tank: Tank) -> dict[str, Any] | None:
    """What the slotted shield adds; None: no shield.  shift_hz: the change of the frequency by all of it."""
    if coil.shield == "none":
        return None
    without = tank.frequency_with(tank.inductance_h - tank.shield_h, tank.capacitance_f - tank.shield_f)
    return {
        "material": coil.shield,
        "gap_mm": coil.shield_gap_mm,
        "thickness_um": coil.shield_um,
        "capacitance_pf": tank.shield_f * 1e12,
        "inductance_uh": tank.shield_h * 1e6,
        "resistance_ohm": tank.shield_ohm,
        "shift_hz": tank.frequency_hz - without,
    }
