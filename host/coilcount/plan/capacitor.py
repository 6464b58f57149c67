"""The capacitor: values that give a frequency, their tolerance and drift, and the voltage and current they bear."""

from dataclasses import replace
from math import pi, sqrt
from typing import Any

from coilcount.errors import InputError
from coilcount.physics.coil import inductance
from coilcount.physics.dielectric import DIELECTRICS
from coilcount.physics.drift import Drift, drift
from coilcount.physics.tank import Tank, make_tank
from coilcount.plan.coil import refuse_above_self_resonance, sizes_of, spread_h, tank_of, winding_of
from coilcount.plan.eseries import combinations, drawer
from coilcount.plan.pair import tank_peak_v
from coilcount.schema.coil import USUAL_LOOP_GAIN, Coil
from coilcount.schema.plan import PlanFile

REMARKS = {
    "C0G": "the best choice",
    "polypropylene": "good: steady, but it drifts",
    "polyester": "drifts, and costs Q",
    "X7R": "never: -20 % with voltage, 2 % a decade of age",
}
CLOSE_ENOUGH = 0.005  # relative frequency error below which fewer parts are better than a closer match; chosen by hand
# Reactance of the coil that suits the usual oscillators; chosen by hand around the 35 ohm of the default circuit.
LOWEST_OHM, HIGHEST_OHM = 22.0, 55.0
SHOWN = 6  # choices that are listed
_ROUNDS = 4  # of the search for a capacitance, at most; each reduces its error by a factor of more than 100
_NEAR = 1e-10  # relative error of the frequency at which the search ends


def choices(plan: PlanFile, free_turns: bool) -> list[dict[str, Any]]:
    """List turns and capacitors of the drawer that give plan.frequency_hz, the best first.

    free_turns: whether the number of turns may be chosen too.  The `frequency_hz` of each choice is computed with the
    whole model of the tank.  Raises InputError if nothing fits.
    """
    values, wanted_hz = drawer(plan.drawer), plan.frequency_hz
    candidates = []
    for turns in _turns(plan) if free_turns else (plan.coil.turns,):
        coil = replace(plan.coil, turns=turns)
        try:
            needed = capacitance_f(coil, wanted_hz)
        except InputError:
            if free_turns:
                continue
            raise
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
            reactance = w * inductance(winding_of(replace(plan.coil, turns=turns)))
        except InputError:
            continue
        if LOWEST_OHM <= reactance <= HIGHEST_OHM:
            found.append(turns)
        elif reactance > HIGHEST_OHM:
            break
    return found


def capacitance_f(coil: Coil, frequency_hz: float) -> float:
    """Compute the capacitor in F that brings a coil to a frequency, beside own capacitance, cable and shield.

    Raises InputError if the coil cannot be built, or if the frequency is above its own resonance.
    """
    winding = winding_of(coil)
    henry = inductance(winding) if coil.inductance_uh is None else coil.inductance_uh * 1e-6
    whole = 1 / (henry * (2 * pi * frequency_hz) ** 2)
    part = whole
    for _ in range(_ROUNDS):
        tank = tank_of(replace(coil, capacitor_nf=part * 1e9))
        refuse_above_self_resonance(coil, tank, frequency_hz)
        # The frequency is proportional to the whole capacitance to the power of -1/2.
        whole = tank.capacitance_f * (tank.frequency_hz / frequency_hz) ** 2
        part = whole - (tank.capacitance_f - tank.capacitor_f)
        if abs(tank.frequency_hz / frequency_hz - 1) < _NEAR:
            break
    return part


def frequency_range(coil: Coil, tank: Tank, tolerance: float) -> dict[str, list[float]]:
    """Compute how far the frequency in Hz may lie off, [low, high], by each cause and by all of them.

    tolerance: of the capacitor, a share.  The causes are independent, so the whole is the root of the sum of squares.
    """
    f, c, henry = tank.frequency_hz, tank.capacitance_f, tank.inductance_h
    low_h, high_h = spread_h(coil, tank)
    spread = tank.capacitor_f * tolerance
    own_low, own_usual, own_high = tank.own_f
    causes = {
        "frequency_by_capacitor_hz": [tank.frequency_with(henry, c + spread), tank.frequency_with(henry, c - spread)],
        "frequency_by_coil_hz": [f * sqrt(henry / high_h), f * sqrt(henry / low_h)],
        "frequency_by_own_capacitance_hz": [
            tank.frequency_with(henry, c + own_high - own_usual),
            tank.frequency_with(henry, c + own_low - own_usual),
        ],
    }
    below, above = (sqrt(sum((pair[side] / f - 1) ** 2 for pair in causes.values())) for side in (0, 1))
    return causes | {"frequency_range_hz": [f * (1 - below), f * (1 + above)]}


def capacitor_section(plan: PlanFile, tank: Tank) -> dict[str, Any]:
    """Compute tolerance, drift and load of the plan's capacitor.

    capacitor_ppm_per_k: frequency change by the capacitor alone, for each dielectric; with_coil_ppm_per_k: with the
    coil; q_tank: of coil and capacitances together.  temperature_ppm_per_k: for the plan's own dielectric, all causes
    together: [low, middle, high].
    """
    f, coil = tank.frequency_hz, plan.coil
    peak_v = tank_peak_v(plan, tank)
    peak_a = peak_v * 2 * pi * f * tank.capacitor_f
    by_name = {
        name: (replace(tank, loss=_loss_with(tank, coil, name)), drift(tank, coil.former, name, USUAL_LOOP_GAIN))
        for name in DIELECTRICS
    }
    rows = [_row(name, variant, moves, f) for name, (variant, moves) in by_name.items()]
    own = by_name[coil.dielectric][1]
    return {
        "capacitor_nf": tank.capacitor_f * 1e9,
        "whole_nf": tank.capacitance_f * 1e9,
        "dielectric": coil.dielectric,
        "tolerance_percent": plan.tolerance_percent,
        **frequency_range(coil, tank, plan.tolerance_percent / 100),
        "loss_tangent": DIELECTRICS[coil.dielectric].loss,
        "coil_ppm_per_k": own.coil_per_k * 1e6,
        "temperature_ppm_per_k": [value * 1e6 for value in own.total_per_k],
        "dielectrics": rows,
        "peak_v": peak_v,
        "rms_v": peak_v / sqrt(2),
        "peak_a": peak_a,
        "rms_a": peak_a / sqrt(2),
        "rated_v": 2 * peak_v,
    }


def _loss_with(tank: Tank, coil: Coil, dielectric: str) -> float:
    """Dissipation factor of all capacitances together if the capacitor had this dielectric."""
    change = DIELECTRICS[dielectric].loss - DIELECTRICS[coil.dielectric].loss
    return tank.loss + change * tank.capacitor_f / tank.capacitance_f


def _row(name: str, tank: Tank, moves: Drift, frequency_hz: float) -> dict[str, Any]:
    capacitor = [moves.capacitor_per_k[0] * 1e6, moves.capacitor_per_k[2] * 1e6]
    return {
        "dielectric": name,
        "capacitor_ppm_per_k": capacitor,
        "capacitor_hz_per_k": [slope * 1e-6 * frequency_hz for slope in capacitor],
        "with_coil_ppm_per_k": [slope + moves.coil_per_k * 1e6 for slope in capacitor],
        "q_tank": tank.q_tank,
        "loss_tangent": DIELECTRICS[name].loss,
        "remark": REMARKS[name],
    }
