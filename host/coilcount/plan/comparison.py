"""Compares coils that differ in one thing: diameter, turns, wire or frequency."""

from dataclasses import replace
from typing import Any

import numpy as np

from coilcount.errors import InputError, did_you_mean
from coilcount.model.plan_answer import ComparedCoil, Flat, PlanComparison
from coilcount.physics.bodies import Body
from coilcount.physics.tank import Tank
from coilcount.plan.answer import Reach, picked, soils_of, usual_attitude
from coilcount.plan.capacitor import choices
from coilcount.plan.coil import tank_of
from coilcount.plan.quantity import quantity
from coilcount.plan.reach import PassResponse
from coilcount.schema.coil import Coil
from coilcount.schema.plan import PlanFile

NAMES = ("diameter", "turns", "wire", "frequency")
UNITS = {"diameter": "cm", "turns": "turns", "wire": "mm", "frequency": "kHz"}
MOST = 12  # values in one comparison; more do not fit the screen
CURVE_POINTS = 11  # of the curve between and around the values
FINE = 200  # points between those of the curve, for the best value and its range
BEYOND = 1.5  # the curve of the diameter reaches so far beyond the values
NEARLY_CM = 0.5  # depths that differ by less count as the same; chosen by hand


def parse_comparison(text: str) -> tuple[str, tuple[Any, ...]]:
    """Read `diameter=10cm,15cm` into the name and the values: mm, turns, the wire's text or Hz.  Raises InputError."""
    name, sign, listed = text.partition("=")
    name, words = name.strip(), [word.strip() for word in listed.split(",") if word.strip()]
    if name not in NAMES:
        raise InputError(f'coils cannot be compared by "{name}"', "--compare", did_you_mean(name, NAMES))
    if not sign or not 2 <= len(words) <= MOST:
        raise InputError(
            f"--compare has {len(words)} value{'' if len(words) == 1 else 's'}",
            remedy=f"Give 2 to {MOST} values, as in {name}={_example(name)}",
        )
    values = tuple(_value(name, word) for word in words)
    if len(set(values)) < len(values):
        raise InputError("--compare has the same value twice", remedy="Give each value once")
    return name, values if name == "wire" else tuple(sorted(values))


def _example(name: str) -> str:
    return {"diameter": "10cm,20cm", "turns": "20,30,40", "wire": "0.2mm,0.4mm", "frequency": "15k,25k"}[name]


def _value(name: str, word: str) -> Any:
    if name == "diameter":
        return quantity(word, "m", "--compare diameter", 0.01, 1.0, "10cm") * 1e3
    if name == "frequency":
        return quantity(word, "Hz", "--compare frequency", 1e3, 2e5, "25k")
    if name == "turns":
        if not word.isdecimal() or not 1 <= int(word) <= 400:
            raise InputError(f'--compare turns has "{word}"', remedy="Give whole numbers from 1 to 400")
        return int(word)
    return word


def compare(plan: PlanFile, name: str, values: tuple[Any, ...], keep_capacitor: bool, object_: str) -> PlanComparison:
    """Compute every coil, the curve between them, and where the depth is nearly the best one.

    values: as `parse_comparison` returns them; keep_capacitor: leave the plan's capacitor, else choose one of the
    drawer for the plan's frequency, or for that of the plan's own coil; object_: the one that is looked for, as for
    `answer.picked`; "": the first of the usual ones.  Raises InputError if a coil cannot be made.
    """
    body_name, body = next(iter(picked(plan, (object_,) if object_ else ()).items()))
    own = tank_of(plan.coil)
    wanted_hz = None if keep_capacitor else plan.frequency_hz or own.frequency_hz
    coils = tuple(_compared(plan, name, value, wanted_hz, body) for value in values)
    curve: tuple[ComparedCoil, ...] = ()
    if name in ("diameter", "frequency"):
        low, high = min(values), max(values)
        if name == "diameter":
            low, high = max(10.0, low / BEYOND), min(1000.0, high * BEYOND)
        curve = tuple(_curve(plan, name, np.geomspace(low, high, CURVE_POINTS), wanted_hz, body))
    soils = soils_of(plan, own)
    kept = f"each with {plan.coil.capacitor_nf:.4g} nF" if wanted_hz is None else "each with a capacitor of the drawer"
    if wanted_hz is not None and name != "frequency":
        kept += f" for {wanted_hz / 1e3:.3g} kHz"
    return PlanComparison(
        name=name,
        unit=UNITS[name],
        object=body_name,
        attitude=usual_attitude(body),
        wanted_cm=plan.depth_cm,
        height_cm=plan.height_cm,
        oscillator=plan.oscillator,
        soils=soils,
        coils=coils,
        curve=curve,
        flat=tuple(_flat(soil.name, i, curve) for i, soil in enumerate(soils)) if curve else (),
        note=kept,
    )


def _curve(plan: PlanFile, name: str, values: np.ndarray, wanted_hz: float | None, body: Body):
    for value in values:
        try:
            yield _compared(plan, name, float(value), wanted_hz, body, exact=True)
        except InputError:  # such a small coil cannot be wound, or the board cannot count it
            continue


def _changed(plan: PlanFile, name: str, value: Any) -> tuple[Coil, str, float]:
    """Return the plan's coil with another value, the label of the value, and the value as a number for the picture."""
    key = {"diameter": "diameter_mm", "turns": "turns", "wire": "wire", "frequency": ""}[name]
    coil = replace(plan.coil, **{key: value}, inductance_uh=None) if key else plan.coil
    if name == "diameter":
        return coil, f"{value / 10:.4g} cm", value / 10
    if name == "turns":
        return coil, f"{value}", float(value)
    if name == "frequency":
        return coil, f"{value / 1e3:.4g} kHz", value / 1e3
    return coil, value, 0.0


def _compared(
    plan: PlanFile, name: str, value: Any, wanted_hz: float | None, body: Body, exact: bool = False
) -> ComparedCoil:
    """exact: with just the capacitance that gives the frequency; else with one of the drawer."""
    coil, label, number = _changed(plan, name, value)
    if name == "frequency":
        wanted_hz = value
    try:
        if wanted_hz is not None:
            coil = replace(coil, capacitor_nf=_capacitor_nf(plan, coil, wanted_hz, exact))
        tank = tank_of(coil)
    except InputError as error:
        raise InputError(f"{name} {label}: {error.what}", "--compare", error.remedy) from None
    changed = replace(plan, coil=coil)
    reach, response = Reach(changed, tank), PassResponse(tank, body, usual_attitude(body))
    distance_m = (plan.depth_cm + plan.height_cm) / 100
    return ComparedCoil(
        label=label,
        value=2000 * tank.winding.wire_diameter_m / 2 if name == "wire" else number,
        diameter_mm=coil.diameter_mm,
        turns=coil.turns,
        wire=coil.wire,
        capacitor_nf=coil.capacitor_nf,
        frequency_hz=tank.frequency_hz,
        inductance_uh=tank.inductance_h * 1e6,
        q_coil=tank.q,
        wire_length_m=tank.winding.wire_length_m,
        depths=reach.depths(response),
        least_ppm=reach.least_ppm(distance_m),
        shift_ppm=_shift_ppm(response, tank, distance_m),
    )


def _shift_ppm(response: PassResponse, tank: Tank, distance_m: float) -> float:
    grid = response.grid(distance_m)
    return float(response.of_pass(grid)[0]) * 1e6 if grid[0] <= distance_m * 1.001 else 0.0


def _capacitor_nf(plan: PlanFile, coil: Coil, wanted_hz: float, exact: bool) -> float:
    """Find the capacitance for a frequency: from the drawer, or exactly."""
    found = choices(replace(plan, coil=coil, frequency_hz=wanted_hz), free_turns=False)[0]
    if not exact:
        return round(found["capacitor_nf"], 9)
    return found["capacitor_nf"] * (found["frequency_hz"] / wanted_hz) ** 2


def _flat(soil: str, i: int, coils: tuple[ComparedCoil, ...]) -> Flat:
    """Find the best coil of a soil, and the range of values around it whose depth is less than NEARLY_CM smaller."""
    depths = np.array([coil.depths[i].depth_cm or 0.0 for coil in coils])
    values = np.array([coil.value for coil in coils])
    if len(coils) > 3 and values[0] > 0:  # a curve: look between its points as well
        fine = np.geomspace(values[0], values[-1], FINE)
        depths, values = np.interp(np.log(fine), np.log(values), depths), fine
    best = int(np.argmax(depths))
    inside = depths >= depths[best] - NEARLY_CM
    low = high = best
    while low > 0 and inside[low - 1]:
        low -= 1
    while high < len(values) - 1 and inside[high + 1]:
        high += 1
    return Flat(soil, float(values[best]), float(values[low]), float(values[high]), float(depths[best]) or None)
