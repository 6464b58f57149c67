"""Makes a plan, whole or short, as a record for the text, the pictures and the JSON output."""

from dataclasses import replace
from typing import Any

from coilcount.errors import InputError
from coilcount.model.plan import NoiseLevel, Plan, ShortPlan, SweepFigures
from coilcount.physics.tank import Tank, inductance_from_frequency
from coilcount.plan.answer import answer_section, picked
from coilcount.plan.capacitor import capacitor_section, choices
from coilcount.plan.catalogue import CATALOGUE, own_body
from coilcount.plan.coil import coil_section, refuse_above_self_resonance, tank_of
from coilcount.plan.ground import ground_section
from coilcount.plan.noise import thresholds
from coilcount.plan.pair import tank_voltage
from coilcount.plan.reach import NODES
from coilcount.plan.records import (
    capacitor_figures,
    coil_figures,
    drift_figures,
    iron_figures,
    offset_figures,
    power_figures,
    target_figures,
    warnings_of,
)
from coilcount.plan.warnings import warnings_section
from coilcount.schema.plan import PlanFile

ONE_HZ = "1 Hz"
GIVEN = "given"


def calibrated(plan: PlanFile, measured_hz: float) -> PlanFile:
    """Return the plan with the inductance that follows from a measured frequency and the known capacitor.

    Raises InputError if the inductance differs from that of the turns by more than a factor of 5.
    """
    tank = tank_of(plan.coil)
    try:
        henry = inductance_from_frequency(tank.winding, tank.capacitance_f, measured_hz)
    except ValueError as error:
        raise InputError(str(error), "the measured frequency", "Look at the capacitor and its unit") from None
    if not 0.2 <= henry / tank.computed_h <= 5:
        raise InputError(
            f"{measured_hz / 1e3:g} kHz with {plan.coil.capacitor_nf:g} nF means {henry * 1e6:.4g} uH; these turns "
            f"make about {tank.computed_h * 1e6:.3g} uH",
            "the measured frequency",
            "Look at turns, diameter and capacitor",
        )
    return replace(plan, coil=replace(plan.coil, inductance_uh=henry * 1e6))


def chosen(plan: PlanFile, free_turns: bool) -> tuple[PlanFile, list[dict[str, Any]]]:
    """Return the plan with the best turns and capacitor for its wanted frequency, and all choices."""
    found = choices(plan, free_turns)
    coil = replace(plan.coil, turns=found[0]["turns"], capacitor_nf=round(found[0]["capacitor_nf"], 9))
    return replace(plan, coil=coil), found


def short_plan(
    plan: PlanFile, found: list[dict[str, Any]] | None = None, objects: tuple[str, ...] = ()
) -> ShortPlan:
    """Make the short answer with coil and capacitor.  It loads and computes only what these need.

    found, objects: as for `make_plan`.  Raises InputError if the plan makes no coil.
    """
    return _short(plan, found, objects, whole=False)


def _short(plan: PlanFile, found: list[dict[str, Any]] | None, objects: tuple[str, ...], whole: bool) -> ShortPlan:
    tank, found = _tank_and_choices(plan, found)
    coil, capacitor = coil_section(plan.coil, tank), capacitor_section(plan, tank)
    _within_reach(plan, tank)
    return ShortPlan(
        coil=coil_figures(coil),
        tank=tank_voltage(plan, tank),
        capacitor=capacitor_figures({**capacitor, "wanted_hz": plan.frequency_hz, "choices": found}),
        warnings=warnings_of(warnings_section(plan, tank)),
        answer=answer_section(plan, tank, capacitor, picked(plan, objects), whole),
    )


def make_plan(
    plan: PlanFile, found: list[dict[str, Any]] | None = None, curves: bool = False, objects: tuple[str, ...] = ()
) -> Plan:
    """Make the whole plan.

    found: the choices of capacitors; None: those for plan.frequency_hz, or for the frequency of the plan's coil.
    curves: whether the data for the pictures are wanted.  objects: those of the answer, as for `answer.picked`; empty:
    the usual ones.  Raises InputError if the plan makes no coil.
    """
    # Loaded here, because they need parts of scipy that would make the short answer twice as slow.
    from coilcount.plan.drift import drift_section
    from coilcount.plan.iron import iron_section, response_curves
    from coilcount.plan.offset import offset_section
    from coilcount.plan.power import CAUTIONS, power_section
    from coilcount.plan.sweep import sweep_section
    from coilcount.plan.targets import rows

    short = _short(plan, found, objects, whole=True)
    tank = tank_of(plan.coil)
    sweep = sweep_section(plan, tank.winding)
    levels = _levels(plan, tank, sweep)
    bodies = CATALOGUE | {target.object: own_body(target) for target in plan.target}
    table = list(rows(tank, bodies, levels, (plan.depth_cm + plan.height_cm) / 100, curves))
    return Plan(
        kind="plan",
        basis="computation",
        coil=short.coil,
        capacitor=short.capacitor,
        tank=short.tank,
        answer=short.answer,
        warnings=short.warnings,
        drift=drift_figures(drift_section(plan, tank)),
        offset=offset_figures(offset_section(plan, tank, plan.depth_cm + plan.height_cm)),
        noise={name: NoiseLevel(level * 1e6, level * tank.frequency_hz) for name, level in levels.items()},
        depth_cm=plan.depth_cm,
        targets=target_figures(_below_surface(row, plan.height_cm) for row in table),
        iron=iron_figures(iron_section(tank, table)),
        sweep=sweep,
        ground=ground_section(plan, tank),
        power=power_figures(power_section(plan, tank)),
        cautions=CAUTIONS,
        response=response_curves(tank.frequency_hz) if curves else None,
    )


def _tank_and_choices(plan: PlanFile, found: list[dict[str, Any]] | None) -> tuple[Tank, list[dict[str, Any]]]:
    tank = tank_of(plan.coil)
    if plan.frequency_hz is not None:
        refuse_above_self_resonance(plan.coil, tank, plan.frequency_hz)
    if found is None:
        wanted = plan.frequency_hz or round(tank.frequency_hz, -2)
        found = choices(replace(plan, frequency_hz=wanted), free_turns=False)
    return tank, found


def _below_surface(row: dict[str, Any], height_cm: float) -> dict[str, Any]:
    """Count the depths of a row from the surface of the soil in place of the coil's plane."""
    depths = {name: None if cm is None or cm <= height_cm else cm - height_cm for name, cm in row["depth_cm"].items()}
    return {**row, "depth_cm": depths}


def _within_reach(plan: PlanFile, tank: Tank) -> None:
    low, high = (node * tank.winding.mean_radius_m * 100 - plan.height_cm for node in (NODES[0], NODES[-1]))
    if not low - 0.01 <= plan.depth_cm <= high + 0.01:
        raise InputError(
            f"a depth of {plan.depth_cm:g} cm is out of this coil's reach",
            "the depth",
            f"Give {max(low, 0.5):.2g} to {high:.3g} cm",
        )


def _levels(plan: PlanFile, tank: Tank, sweep: SweepFigures) -> dict[str, float]:
    """The least relative shifts that can be found: in three noise classes, 1 Hz, and in the user's own recording."""
    pass_s = next(row.duration_s for row in sweep.passes if abs(row.depth_cm - plan.depth_cm) < 1e-9)
    levels = thresholds(pass_s) | {ONE_HZ: 1 / tank.frequency_hz}
    return levels if plan.noise_ppm is None else levels | {GIVEN: plan.noise_ppm * 1e-6}
