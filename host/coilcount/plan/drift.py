"""What temperature and supply do to the frequency: the plan's drift section."""

from typing import Any

from coilcount.physics.drift import drift
from coilcount.physics.tank import Tank
from coilcount.plan.pair import PUSHING_PPM, PUSHING_UNTAPPED_PPM
from coilcount.schema.coil import USUAL_LOOP_GAIN
from coilcount.schema.plan import PlanFile


def drift_section(plan: PlanFile, tank: Tank) -> dict[str, Any]:
    """List the drift of an oscillator with this coil; `simulate` uses the same figures for a scene with this coil.

    Parts in ppm/K: former_ppm_per_k (its expansion), copper_ppm_per_k (resistance and eddy currents),
    capacitor_ppm_per_k and temperature_ppm_per_k ([low, middle, high], as the capacitor may be),
    oscillator_ppm_per_k (transistors).  supply_ppm_per_percent: by 1 % more supply voltage, of an oscillator whose
    gain follows its supply (`physics.oscillator.supply_pushing`).  pair_supply_ppm_per_percent: of the default
    oscillator with the default coil, by circuit simulation; its current does not follow the supply.  No scene uses it.
    """
    moves, ppm = drift(tank, plan.coil.former, plan.coil.dielectric, USUAL_LOOP_GAIN), 1e6
    total = [value * ppm for value in moves.total_per_k]
    return {
        "former_ppm_per_k": moves.size_per_k * ppm,
        "copper_ppm_per_k": moves.copper_per_k * ppm,
        "capacitor_ppm_per_k": [value * ppm for value in moves.capacitor_per_k],
        "oscillator_ppm_per_k": moves.devices_per_k * ppm,
        "temperature_ppm_per_k": total,
        "temperature_hz_per_k": [value * 1e-6 * tank.frequency_hz for value in total],
        "amplitude_percent_per_k": moves.amplitude_per_k * 100,
        "resistance_percent_per_k": moves.resistance_per_k * 100,
        "loop_gain": USUAL_LOOP_GAIN,
        "supply_ppm_per_percent": moves.supply * ppm / 100,
        "supply_hz_per_percent": moves.supply * tank.frequency_hz / 100,
        "pair_supply_ppm_per_percent": PUSHING_PPM if plan.coil.centre_tap else PUSHING_UNTAPPED_PPM,
    }
