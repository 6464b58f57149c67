"""The capacitor: values that give a frequency, their tolerance and drift, and the voltage and current they bear."""

from dataclasses import replace
from math import pi, sqrt
from typing import Any

from coilcount.errors import InputError
from coilcount.physics.coil import ac_resistance, dc_resistance, inductance
from coilcount.physics.oscillator import FORMER_EXPANSION, resistance_coefficient, temperature_coefficient
from coilcount.physics.tank import Tank, make_tank
from coilcount.physics.winding import Winding, make_winding
from coilcount.physics.wire import parse_wire
from coilcount.plan.coil import sizes_of, spread_h, tank_of
from coilcount.plan.eseries import combinations, drawer
from coilcount.schema.coil import Coil
from coilcount.schema.plan import PlanFile

# Dielectric: temperature coefficient in ppm/K (lowest, highest), dissipation factor at 25 kHz, remark.  From makers'
# comparison tables, quoted from memory.  X7R has no linear coefficient: it may change by 15 % from -55 to 125 C, which
# is taken as 15 % in 100 K.
DIELECTRICS = {
    "C0G": ((-30.0, 30.0), 1.0e-3, "the best choice"),
    "polypropylene": ((-300.0, -200.0), 1.2e-3, "good: steady, but it drifts"),
    "polyester": ((400.0, 600.0), 2.0e-2, "drifts, and costs Q"),
    "X7R": ((-1500.0, 1500.0), 2.5e-2, "never: -20 % with voltage, 2 % a decade of age"),
}
CLOSE_ENOUGH = 0.005  # relative frequency error below which fewer parts are better than a closer match; chosen by hand
# Reactance of the coil that suits the usual oscillators; chosen by hand around the 35 ohm of the default circuit.
LOWEST_OHM, HIGHEST_OHM = 22.0, 55.0
SHOWN = 6  # choices that are listed


def choices(plan: PlanFile, free_turns: bool) -> list[dict[str, Any]]:
    """List turns and capacitors of the drawer that give plan.frequency_hz, the best first.

    free_turns: whether the number of turns may be chosen too.  The `frequency_hz` of each choice is computed with the
    whole model of the tank.  Raises InputError if nothing fits.
    """
    values, wanted_hz = drawer(plan.drawer), plan.frequency_hz
    candidates = []
    for turns in _turns(plan) if free_turns else (plan.coil.turns,):
        coil = replace(plan.coil, turns=turns)
        needed = _capacitance_f(coil, wanted_hz)
        if not free_turns:
            tank_of(replace(coil, capacitor_nf=needed * 1e9))  # raises InputError if this only possible coil is wrong
        # Near the wanted frequency df/f = -1/2 dC/C.  That is good enough for sorting, but not for printing.
        candidates += [(coil, parts, (1 - parts.total_f / needed) / 2) for parts in combinations(needed, values)]
    candidates.sort(key=lambda row: _rank(abs(row[2]), len(row[1].parts_f), row[0].turns))
    found = []
    for coil, parts, _ in candidates:
        try:
            tank = make_tank(**(sizes_of(coil) | {"capacitance_f": parts.total_f}))
        except ValueError:  # the winding is too thick for its room, or the board cannot count the frequency
            continue
        off = tank.frequency_hz / wanted_hz - 1
        found.append(
            {
                "turns": coil.turns,
                "how": parts.how,
                "parts_nf": [part * 1e9 for part in parts.parts_f],
                "capacitor_nf": parts.total_f * 1e9,
                "frequency_hz": tank.frequency_hz,
                "off_percent": off * 100,
                "reactance_ohm": 2 * pi * tank.frequency_hz * tank.inductance_h,
            }
        )
        if len(found) == SHOWN:
            break
    if not found:
        raise InputError(
            f"nothing in the drawer brings this coil to {wanted_hz / 1e3:g} kHz", "the coil", "Change turns or diameter"
        )
    return found


def _rank(off: float, parts: int, turns: int) -> tuple:
    """Sort key of a choice: the smallest is the best."""
    return off > CLOSE_ENOUGH, parts if off <= CLOSE_ENOUGH else off, round(off, 9), turns


def _turns(plan: PlanFile) -> list[int]:
    """List the numbers of turns whose reactance suits the usual oscillators."""
    w = 2 * pi * plan.frequency_hz
    found = []
    for turns in range(2, 401):
        try:
            reactance = w * inductance(_winding(replace(plan.coil, turns=turns)))
        except ValueError:
            continue
        if LOWEST_OHM <= reactance <= HIGHEST_OHM:
            found.append(turns)
        elif reactance > HIGHEST_OHM:
            break
    return found


def _winding(coil: Coil) -> Winding:
    sizes = coil.si()
    return make_winding(sizes["diameter_m"], coil.turns, parse_wire(coil.wire), coil.layout, sizes["pitch_m"])


def _capacitance_f(coil: Coil, frequency_hz: float) -> float:
    """Compute the capacitance for a frequency: `oscillator.resonance_hz` solved for C.  Raises InputError."""
    try:
        winding = _winding(coil)
    except ValueError as error:
        raise InputError(str(error), "the coil", "Change wire, turns or diameter") from None
    henry = inductance(winding) if coil.inductance_uh is None else coil.inductance_uh * 1e-6
    w = 2 * pi * frequency_hz
    return 1 / (henry * (w * w + (ac_resistance(winding, frequency_hz) / henry) ** 2))


def capacitor_section(plan: PlanFile, tank: Tank) -> dict[str, Any]:
    """Compute tolerance, drift and load of the plan's capacitor."""
    f, coil = tank.frequency_hz, plan.coil
    tolerance = plan.tolerance_percent / 100
    peak_a = plan.tank_peak_v * 2 * pi * f * tank.capacitance_f
    copper = resistance_coefficient(dc_resistance(tank.winding), max(tank.resistance_ohm, dc_resistance(tank.winding)))
    rows = []
    for name, (slopes, loss, remark) in DIELECTRICS.items():
        both = [
            temperature_coefficient(tank.q, FORMER_EXPANSION[coil.former], slope * 1e-6, copper) for slope in slopes
        ]
        capacitor = sorted(-slope / 2 for slope in slopes)
        rows.append(
            {
                "dielectric": name,
                "capacitor_ppm_per_k": capacitor,
                "capacitor_hz_per_k": [slope * 1e-6 * f for slope in capacitor],
                "with_coil_ppm_per_k": sorted(slope * 1e6 for slope in both),
                "q_tank": 1 / (1 / tank.q + loss),
                "remark": remark,
            }
        )
    low, high = spread_h(coil, tank)
    return {
        "capacitor_nf": tank.capacitance_f * 1e9,
        "dielectric": coil.dielectric,
        "tolerance_percent": plan.tolerance_percent,
        "frequency_by_capacitor_hz": [f / sqrt(1 + tolerance), f / sqrt(1 - tolerance)],
        "frequency_by_coil_hz": [f * sqrt(tank.inductance_h / high), f * sqrt(tank.inductance_h / low)],
        "coil_ppm_per_k": temperature_coefficient(tank.q, FORMER_EXPANSION[coil.former], 0.0, copper) * 1e6,
        "dielectrics": rows,
        "peak_v": plan.tank_peak_v,
        "rms_v": plan.tank_peak_v / sqrt(2),
        "peak_a": peak_a,
        "rms_a": peak_a / sqrt(2),
        "rated_v": 2 * plan.tank_peak_v,
    }
