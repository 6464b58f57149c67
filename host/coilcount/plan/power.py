"""Current and field of the running coil, compared with exposure and emission limits, and the battery life."""

from math import log10, pi, sqrt
from typing import Any

from coilcount.physics.constants import MU0
from coilcount.physics.field_vector import axis_field
from coilcount.physics.tank import Tank
from coilcount.plan.pair import LINEAR_V, oscillator_ma, parallel_ohm, tank_peak_v
from coilcount.schema.plan import PlanFile

PUBLIC_UT = 27.0  # ICNIRP 2010, general public, 3 kHz to 10 MHz, rms
EMISSION_DBUA_M = 72.0  # CEPT ERC/REC 70-03 annex 9, at 10 m, 9 to 90 kHz; 3 dB an octave less above 30 kHz
FCC_UV_M = 2400.0  # divided by f in kHz, at 300 m: 47 CFR 15.209, quoted from memory
FREE_SPACE_OHM = 376.73
# Everything else on the battery.  Board 25, display 15, piezo 2 and the rest 3 mA, from memory.
REST_MA = 45.0
CAUTIONS = (
    "Not a safety device: it does not show that no cable or pipe is there. Get the utility plans, have the ground "
    "located by those who do that, and dig by hand.",
    "Never for munitions. On former military land do not dig after a strong signal: stop, mark, leave, "
    "call the police.",
    "Ask the landowner, keep off protected sites, report finds as the heritage law of the place says.",
    "An isolated low-voltage battery with a fuse, nothing from the mains; do not charge it in use.",
    "Keep the running coil away from pacemakers and other implants.",
)


def limit_dbua_m(frequency_hz: float) -> float | None:
    """Compute the emission limit at 10 m in dBuA/m; None outside the band of the rule."""
    if not 9e3 <= frequency_hz <= 90e3:
        return None
    return EMISSION_DBUA_M - 3 * max(0.0, log10(frequency_hz / 30e3) / log10(2))


def power_section(plan: PlanFile, tank: Tank) -> dict[str, Any]:
    """Compute current, field, emission and battery life.  Values are rms unless the name says peak.

    The emission is that on the axis of the coil, taken as a magnetic dipole in free space.
    """
    from scipy.optimize import brentq  # loaded here: it is slow to load, and the short answer does not need it

    f, winding = tank.frequency_hz, tank.winding
    reactance = 2 * pi * f * tank.inductance_h
    peak_v = tank_peak_v(plan, tank)
    current = peak_v / sqrt(2) / reactance

    def field_ut(z: float) -> float:
        return float(MU0 * axis_field(winding, z)) * current * 1e6

    centre = field_ut(0.0)
    spacing = None if centre <= PUBLIC_UT else brentq(lambda z: field_ut(z) - PUBLIC_UT, 0.0, 10.0) * 100
    moment = current * float(pi * (winding.r_m**2).sum())
    at_10, at_300 = (moment / (2 * pi * r**3) for r in (10.0, 300.0))
    limit = limit_dbua_m(f)
    emission = 20 * log10(at_10 * 1e6)
    supply = REST_MA + oscillator_ma(plan, tank) if plan.supply_ma is None else plan.supply_ma
    return {
        "tank_peak_v": peak_v,
        "current_a": current,
        "current_peak_a": current * sqrt(2),
        "tank_loss_mw": current**2 * tank.resistance_ohm * 1e3,
        "parallel_ohm": parallel_ohm(tank),
        "centre_ut": centre,
        "public_limit_ut": PUBLIC_UT,
        "limit_spacing_cm": spacing,
        "highest_peak_v": peak_v * PUBLIC_UT / centre,
        "moment_a_m2": moment,
        "emission_dbua_m_10m": emission,
        "emission_limit_dbua_m": limit,
        "emission_margin_db": None if limit is None else limit - emission,
        "emission_uv_m_300m": at_300 * FREE_SPACE_OHM * 1e6,
        "emission_limit_uv_m": FCC_UV_M / (f / 1e3),
        "oscillator_ma": oscillator_ma(plan, tank),
        "oscillator_most_v": LINEAR_V,
        "supply_ma": supply,
        "supply_from": "the tank" if plan.supply_ma is None else "given",
        "battery_mah": plan.battery_mah,
        "battery_h": plan.battery_mah / supply,
    }
