"""The default oscillator, a long-tailed pair, as its circuit simulation found it: voltage, current, supply pushing.

Every figure is simulated with ngspice (firmware/hardware/oscillator-pair.cir) and held by tests/hardware.
"""

from math import pi, sqrt

import numpy as np

from coilcount.model.plan import TankVoltage
from coilcount.physics.tank import Tank
from coilcount.schema.plan import PlanFile

# mA.  Mean current of the tail transistor, and everything else: the reference and the bias.  Together 7.4 mA at 4.26 V,
# which is 5 V behind the 100 ohm of the supply; 1 V more or less at the oscillator changes it by 1.5 mA.
TAIL_MA, OTHER_MA = 4.75, 2.62
# V.  Supply of the oscillator behind the 100 ohm.
SUPPLY_V = 4.26
# ohm.  The base circuits load the whole coil with four resistors of 2.2k in series; a coil without a centre tap is fed
# through 470 ohm at each end, which load it as well.
BASES_OHM, FEEDS_OHM = 4 * 2200.0, 2 * 470.0
# V, peak.  Up to here the formula of `pair_peak_v` holds and the amplitude answers to the loss by -0.85 % for 1 %.
# Above it the transistors begin to saturate.
LINEAR_V = 3.7
# V, peak.  What the formula gives, and what the circuit simulation gives.
_FORMULA_V = (0.0, 3.81, 4.24, 4.77, 5.46, 6.39)
_SIMULATED_V = (0.0, 3.81, 4.23, 4.61, 5.01, 5.46)
# ppm for 1 % more supply, of the default coil with and without a centre tap: -2.0 and -5.6 ppm for 10 % less.
PUSHING_PPM, PUSHING_UNTAPPED_PPM = 0.20, 0.56


def pair_peak_v(parallel_ohm: float, tapped: bool) -> float:
    """Compute the peak voltage across the whole coil in V.

    parallel_ohm: of the tank alone; tapped: whether the coil has a centre tap.  Formula: the tail current is switched
    from half to half of the coil.  That is a square wave of half of it across the whole coil, with a fundamental of
    2 I / pi.  Above `LINEAR_V` the result is taken from the circuit simulation, and above 5.46 V it is constant.
    """
    formula = 2 / pi * TAIL_MA / 1e3 * loaded_ohm(parallel_ohm, tapped)
    return float(np.interp(formula, _FORMULA_V, _SIMULATED_V))


def loaded_ohm(parallel_ohm: float, tapped: bool) -> float:
    """Compute the resistance in ohm of the tank in parallel with the oscillator's own resistors."""
    return 1 / (1 / parallel_ohm + 1 / BASES_OHM + (0.0 if tapped else 1 / FEEDS_OHM))


def parallel_ohm(tank: Tank) -> float:
    """Compute the resistance in ohm of the tank at resonance, with the loss of the capacitances."""
    return tank.q_tank * sqrt(tank.inductance_h / tank.capacitance_f)


def tank_peak_v(plan: PlanFile, tank: Tank) -> float:
    """Return the peak voltage across the coil in V: that of the plan, or the one that the default oscillator gives."""
    if plan.tank_peak_v is not None:
        return plan.tank_peak_v
    return pair_peak_v(parallel_ohm(tank), plan.coil.centre_tap)


def tank_voltage(plan: PlanFile, tank: Tank) -> TankVoltage:
    """Return the plan's voltage beside that of the default oscillator."""
    return TankVoltage(
        peak_v=tank_peak_v(plan, tank),
        peak_v_from="the default oscillator" if plan.tank_peak_v is None else "given",
        pair_peak_v=pair_peak_v(parallel_ohm(tank), plan.coil.centre_tap),
        tapped_peak_v=pair_peak_v(parallel_ohm(tank), tapped=True),
        centre_tap=plan.coil.centre_tap,
    )


def oscillator_ma(plan: PlanFile, tank: Tank) -> float:
    """Compute the current in mA of the default oscillator.

    If the plan gives a voltage, the tail current that this voltage needs is taken in place of `TAIL_MA`.
    """
    if plan.tank_peak_v is None:
        return TAIL_MA + OTHER_MA
    ohm = loaded_ohm(parallel_ohm(tank), plan.coil.centre_tap)
    return plan.tank_peak_v * pi / 2 / ohm * 1e3 + OTHER_MA
