"""What a plan lets one expect of the finished build: the ranges that `check --build` compares.

Every range is a computation from the plan file.  The tolerances are engineering estimates, chosen by hand.
"""

from math import log, pi, sqrt

from coilcount.model.build import BuildExpectations, Expectation
from coilcount.physics.noise import NOISE_CLASSES
from coilcount.plan.capacitor import capacitor_section
from coilcount.plan.coil import coil_section, tank_of
from coilcount.plan.pair import OTHER_MA, SUPPLY_V, TAIL_MA, pair_peak_v, parallel_ohm
from coilcount.plan.power import REST_MA, power_section
from coilcount.schema.build_check import MOSFET, PAIR
from coilcount.schema.plan import PlanFile

# Shares.  A meter for L or C, and a hand-held oscilloscope, are taken to be good to this.
METER_SPREAD = 0.03
# Share by which an oscillator moves the frequency of its tank.  Simulated with ngspice (tests/hardware).
OSCILLATOR_SPREAD = 0.0015
# Shares and ohm.  Resistance of the winding: the wire's own tolerance, 2 % of the diameter, 10 K; test leads add some.
RESISTANCE_LOW, RESISTANCE_HIGH, LEADS_OHM = 0.9, 1.12, 0.3
# V.  The middle of the supply of the input stage: 3.3 V through 22k and 20k, all of them 5 %.
MID_V = Expectation(1.44, 1.57, 1.70)
# V.  Levels at the pin.  A pin accepts no more (from memory of the chip's data sheet).
PIN_HIGHEST_V, PIN_LOWEST_V = Expectation(2.9, 3.3, 3.5), Expectation(-0.2, 0.0, 0.4)
# Per cent of the time that the pin is high, for a full sine and for the half sine of the MOSFET oscillators.  Simulated
# (tests/hardware): the 74HC14 42 to 50 % and 60 %, the comparator 50 to 53 % and 40 %.  Each range accepts both input
# stages; the rest is for tolerances.
DUTY_PERCENT, HALF_SINE_PERCENT = Expectation(40.0, 50.0, 60.0), Expectation(35.0, 50.0, 65.0)
PIN_SUPPLY_V = 3.3
# Shares of the plan's supply current that are accepted: board and display differ.
SUPPLY_LOW, SUPPLY_HIGH = 0.5, 1.3

# mA.  The long-tailed pair of firmware/hardware as simulated with ngspice (tests/hardware): 7.4 mA at 4.26 V, which is
# 5 V behind the 100 ohm of the supply.  The range takes 3.8 to 5.1 V and 15 % of the tail current.
_PAIR_MA = Expectation(5.5, TAIL_MA + OTHER_MA, 9.3)
# V.  Mean voltage at the joined emitters of the pair: at rest, and what a swing of 1 V adds.  Simulated with ngspice:
# 1.04 V at rest and 1.38 V with 2.39 V across the coil.
_EMITTERS_V, _EMITTERS_PER_SWING = 1.04, 0.142
# V.  Behind the 100 ohm of the supply, or 5 V from a bench supply.
_PAIR_SUPPLY_V = Expectation(3.8, SUPPLY_V, 5.1)
# The MOSFET oscillators, simulated with ngspice: supply in V, share of pi times the supply that the choke leaves, its
# other currents in mA; limit and other currents of the current-limited one in mA.
_MOSFET_SUPPLY_V = Expectation(6.5, 9.0, 10.0)
_MOSFET_SHARE, _MOSFET_MA = 0.96, 2.0
_LIMIT_MA, _LIMITED_MA = 20.5, 4.5
# Shares around a computed amplitude or current of an oscillator: spread of transistors, resistors and Q.
_OSCILLATOR_LOW, _OSCILLATOR_HIGH = 0.7, 1.35


def expectations(plan: PlanFile, oscillator: str, interval_s: float, seconds: float) -> BuildExpectations:
    """Compute the ranges for a build of this plan.

    oscillator: one of `schema.build_check.OSCILLATORS`; interval_s: counting interval of the board in s; seconds: how
    long readings are taken.  Raises InputError if the plan makes no coil.
    """
    tank = tank_of(plan.coil)
    coil, capacitor = coil_section(plan.coil, tank), capacitor_section(plan, tank)
    tolerance = plan.tolerance_percent / 100
    f, dc = coil["frequency_hz"], coil["resistance_dc_ohm"]
    low_uh, usual_uh, high_uh = (coil[f"inductance_{name}"] for name in ("low_uh", "uh", "high_uh"))
    drift = next(row for row in capacitor["dielectrics"] if row["dielectric"] == plan.coil.dielectric)
    oscillator_ranges = _oscillator(oscillator, parallel_ohm(tank), plan.coil.centre_tap)
    if plan.supply_ma is None and oscillator != PAIR:  # the plan counts with the pair
        whole_ma = REST_MA + oscillator_ranges["oscillator_ma"].value
    else:
        whole_ma = power_section(plan, tank)["supply_ma"]
    duty_percent = DUTY_PERCENT if oscillator == PAIR else HALF_SINE_PERCENT
    ranges = {
        "coil_resistance_ohm": Expectation(dc * RESISTANCE_LOW, dc, dc * RESISTANCE_HIGH + LEADS_OHM),
        "inductance_uh": Expectation(low_uh * (1 - METER_SPREAD), usual_uh, high_uh * (1 + METER_SPREAD)),
        "capacitor_nf": _around(capacitor["capacitor_nf"], 1 - tolerance - METER_SPREAD, 1 + tolerance + METER_SPREAD),
        "frequency_hz": _around(
            f,
            sqrt(usual_uh / high_uh / (1 + tolerance)) * (1 - OSCILLATOR_SPREAD),
            sqrt(usual_uh / low_uh / (1 - tolerance)) * (1 + OSCILLATOR_SPREAD),
        ),
        **oscillator_ranges,
        "mid_v": MID_V,
        "pin_highest_v": PIN_HIGHEST_V,
        "pin_lowest_v": PIN_LOWEST_V,
        "pin_average_v": Expectation(*(PIN_SUPPLY_V * percent / 100 for percent in duty_percent)),
        "duty_percent": duty_percent,
        "supply_ma": _around(whole_ma, SUPPLY_LOW, SUPPLY_HIGH),
    }
    noise = {
        name: 1e6 * reading_sigma(NOISE_CLASSES[name], interval_s, seconds) for name in ("careful", "typical", "poor")
    }
    low_ppm, high_ppm = drift["with_coil_ppm_per_k"]
    return BuildExpectations(
        ranges, noise, (low_ppm, high_ppm), plan.coil.dielectric, oscillator != MOSFET, _note(plan, oscillator)
    )


def _note(plan: PlanFile, oscillator: str) -> str:
    """What the builder must know about the ranges of this coil with this oscillator; "" if nothing."""
    if plan.coil.centre_tap:
        return ""
    if oscillator == PAIR:
        return (
            "The plan's coil has no centre tap: the ranges are for 470 ohm from each coil end to the oscillator's "
            "supply. A coil with a tap has about twice the swing: plan it with --centre-tap."
        )
    return "This oscillator needs a centre tap, and the plan's coil has none: plan it with --centre-tap."


def reading_sigma(noise, interval_s: float, seconds: float) -> float:
    """Compute the standard deviation of relative readings over a time, for a `NoiseClass`.

    Formula: the integral of S_y from 1/seconds to 1/(2 interval_s), that is h0/(2 tau) + h_minus1 ln(T/(2 tau)) +
    h_minus2 T.  It leaves out that a slope is taken out of the readings, so it is rather too high.
    """
    h0, flicker, walk = noise.h0, noise.h_minus1, noise.h_minus2
    return sqrt(h0 / (2 * interval_s) + flicker * log(max(2.0, seconds / (2 * interval_s))) + walk * seconds)


def _oscillator(oscillator: str, tank_ohm: float, tapped: bool) -> dict[str, Expectation]:
    """Compute supply voltage, current and swing of an oscillator with a tank of this parallel resistance.

    tapped: whether the coil has a centre tap.  A coil end swings by half of the tank's voltage to each side, so its
    swing from peak to peak is the peak voltage across the coil.

    Pair: see `plan.pair`.  MOSFET: the mean of a half sine is its peak over pi, so the peak is pi times the supply, and
    the current follows from the tank's loss V^2 / (2 R).  With a limited current I the peak is 2 I R / pi.
    """
    low, high = _OSCILLATOR_LOW, _OSCILLATOR_HIGH
    if oscillator == PAIR:
        peak_v = pair_peak_v(tank_ohm, tapped)
        rest_v, share = _EMITTERS_V, _EMITTERS_PER_SWING * peak_v
        return {
            "oscillator_v": _PAIR_SUPPLY_V,
            "oscillator_ma": _PAIR_MA,
            # Half the share is the limit to an oscillator at rest; transistors differ by 0.1 V.
            "emitters_v": Expectation(rest_v + share / 2, rest_v + share, rest_v + 1.5 * share + 0.1),
            "end_swing_v": _around(peak_v, low, high),
        }
    if oscillator == MOSFET:
        supply_v = _MOSFET_SUPPLY_V
        peak_v = _MOSFET_SHARE * pi * supply_v.value
        current = _around(1e3 * pi * peak_v / (2 * tank_ohm) + _MOSFET_MA, 0.6, 1.5)
    else:
        supply_v = _MOSFET_SUPPLY_V
        peak_v = min(pi * supply_v.value, 2 * _LIMIT_MA / 1e3 * tank_ohm / pi)
        current = _around(_LIMIT_MA + _LIMITED_MA, low, high)
    return {"oscillator_v": supply_v, "oscillator_ma": current, "end_swing_v": _around(peak_v, low, high)}


def _around(value: float, low: float, high: float) -> Expectation:
    return Expectation(value * low, value, value * high)
