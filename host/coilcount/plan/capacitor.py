"""The capacitor: which values give a frequency, how much they scatter and drift, and what they must bear."""

from dataclasses import replace
from math import pi, sqrt
from typing import Any

from coilcount.errors import InputError
from coilcount.physics.coil import Winding, ac_resistance, dc_resistance, inductance, make_winding
from coilcount.physics.oscillator import FORMER_EXPANSION, resistance_coefficient, temperature_coefficient
from coilcount.physics.tank import Tank, make_tank
from coilcount.physics.wire import parse_wire
from coilcount.plan.coil import spread_h
from coilcount.plan.eseries import combinations, drawer
from coilcount.schema.coil import Coil
from coilcount.schema.plan import PlanFile

# Temperature coefficient in ppm/K (lowest, highest), dissipation at 25 kHz, remark.  Makers' dielectric comparison
# tables; slopes and dissipation from memory.  X7R has no slope: +-15 % over -55 to 125 C, averaged here.
DIELECTRICS = {
    "C0G": ((-30.0, 30.0), 1.0e-3, "the best choice"),
    "polypropylene": ((-300.0, -200.0), 1.2e-3, "good: steady, but it drifts"),
    "polyester": ((400.0, 600.0), 2.0e-2, "drifts, and costs Q"),
    "X7R": ((-830.0, 830.0), 2.5e-2, "never: -20 % with voltage, 2 % a decade of age"),
}
CLOSE_ENOUGH = 0.005  # of the frequency: fewer parts count for more than a better match
# Reactance of the coil that the usual oscillators like: the default circuit was simulated with 35 ohm.
LOWEST_OHM, HIGHEST_OHM = 22.0, 55.0
SHOWN = 6


def choices(plan: PlanFile, free_turns: bool) -> list[dict[str, Any]]:
    """Turns and capacitors for plan.frequency_hz from the drawer, best first; the plan's own turns unless free.

    `frequency_hz` of each is that of the whole forward model.  Raises InputError where nothing fits.
    """
    values = drawer(plan.drawer)
    found = []
    for turns in _turns(plan) if free_turns else (plan.coil.turns,):
        coil = replace(plan.coil, turns=turns)
        try:
            first = _swinging_near(coil, plan.frequency_hz)
        except ValueError:
            if not free_turns:
                raise InputError(
                    f"{turns} turns cannot swing at {plan.frequency_hz / 1e3:g} kHz", "the coil", "Change the turns"
                ) from None
            continue
        for one in combinations(first.capacitance_f, values):
            try:
                tank = make_tank(**(coil.si() | {"capacitance_f": one.total_f}))
            except ValueError:
                continue
            found.append(
                {
                    "turns": turns,
                    "how": one.how,
                    "parts_nf": [part * 1e9 for part in one.parts_f],
                    "capacitor_nf": one.total_f * 1e9,
                    "frequency_hz": tank.frequency_hz,
                    "off_percent": (tank.frequency_hz / plan.frequency_hz - 1) * 100,
                    "reactance_ohm": 2 * pi * tank.frequency_hz * tank.inductance_h,
                }
            )
    if not found:
        raise InputError(
            f"no number of turns brings this coil to {plan.frequency_hz / 1e3:g} kHz", "the coil", "Change its diameter"
        )
    found.sort(key=_worth)
    return found[:SHOWN]


def _worth(one: dict[str, Any]) -> tuple:
    off = abs(one["off_percent"]) / 100
    return (off > CLOSE_ENOUGH, len(one["parts_nf"]) if off <= CLOSE_ENOUGH else off, round(off, 12), one["turns"])


def _turns(plan: PlanFile) -> list[int]:
    """Numbers of turns whose reactance suits the usual oscillators."""
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


def _swinging_near(coil: Coil, frequency_hz: float) -> Tank:
    """The coil with the capacitor that brings it to frequency_hz."""
    sizes, winding = coil.si(), _winding(coil)
    henry = sizes["inductance_h"] or inductance(winding)
    resistance = ac_resistance(winding, frequency_hz)
    w = 2 * pi * frequency_hz
    return make_tank(**(sizes | {"capacitance_f": 1 / (henry * (w * w + (resistance / henry) ** 2))}))


def capacitor_section(plan: PlanFile, tank: Tank) -> dict[str, Any]:
    """Spread, drift and stress of the capacitor in force."""
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
                "capacitor_hz_per_k": [one * 1e-6 * f for one in capacitor],
                "with_coil_ppm_per_k": sorted(one * 1e6 for one in both),
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
