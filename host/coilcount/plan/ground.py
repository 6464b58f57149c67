"""The effect of the ground on the coil: soils from weak to strong, and salt water."""

import numpy as np

from coilcount.model.plan import GroundFigures, GroundRow
from coilcount.physics.ground import plane_response, soil_response
from coilcount.physics.tank import Tank
from coilcount.schema.plan import PlanFile

# Volume susceptibility (SI): middle of the ranges in the literature on soil magnetism, quoted from memory.
SOILS = {
    "sand, limestone": 3e-5,
    "topsoil": 3e-4,
    "mineral soil": 1e-3,
    "basalt, laterite, burnt": 5e-3,
}
SEA_WATER_S_M = 4.0
USUAL_WOBBLE_CM = 0.4  # rms of the height in the benchmark's garden


def ground_section(plan: PlanFile, tank: Tank) -> GroundFigures:
    """Compute the shift and its change with height at plan.height_cm, and the shift by the wobbling hand."""
    height, f = plan.height_cm / 100, tank.frequency_hz
    step = height * 0.01
    rows = []
    for name, chi in SOILS.items():
        lower, here, upper = (
            f * float(tank.shift(*soil_response(tank.winding, z, chi, f)))
            for z in (height - step, height, height + step)
        )
        rows.append(_row(name, here, (upper - lower) / (2 * step), plan, susceptibility=chi))
    lower, here, upper = (
        f * float(tank.shift(*plane_response(tank.winding, z, SEA_WATER_S_M, 1.0, f)))
        for z in (height - step, height, height + step)
    )
    rows.append(_row("salt water", here, (upper - lower) / (2 * step), plan, conductivity_s_m=SEA_WATER_S_M))
    return GroundFigures(height_cm=plan.height_cm, wobble_cm=_wobble_cm(plan), soils=tuple(rows))


def _row(name: str, shift_hz: float, slope_hz_per_m: float, plan: PlanFile, **of: float) -> GroundRow:
    return GroundRow(
        ground=name,
        susceptibility=of.get("susceptibility"),
        conductivity_s_m=of.get("conductivity_s_m"),
        shift_hz=shift_hz,
        slope_hz_per_cm=slope_hz_per_m / 100,
        wobble_hz=float(np.abs(slope_hz_per_m)) / 100 * _wobble_cm(plan),
    )


def _wobble_cm(plan: PlanFile) -> float:
    return USUAL_WOBBLE_CM if plan.wobble_cm is None else plan.wobble_cm
