"""What `coilcount plan` computes for a coil, beside the simulation of the same coil with the default oscillator."""

from math import pi

import circuit_checks
import numpy as np
import pytest
from circuit_noise import white_frequency_noise
from circuits import PAIR, oscillate, parts, ring_down
from coilcount.physics.noise import NOISE_CLASSES
from coilcount.physics.oscillator import supply_pushing
from coilcount.physics.tank import Tank
from coilcount.plan.coil import coil_section, tank_of
from coilcount.plan.power import power_section
from coilcount.schema.plan import PlanFile, read_plan
from pytest import approx
from spice import frequency_hz, needs_ngspice, run

pytestmark = needs_ngspice
PLANS = {
    "default": "",
    "wide-and-flat": 'diameter_mm = 250\nturns = 30\nwire = "0.6 mm"\nlayout = "flat"\ncapacitor_nf = 330\n',
    "one-layer": 'diameter_mm = 80\nturns = 50\nwire = "0.4 mm"\nlayout = "solenoid"\ncapacitor_nf = 100\n',
}

TAIL_A = 4.75e-3  # mean current of Q3 in the circuit simulation; `test_the_tail` holds it


def plan_and_head(folder, name: str) -> tuple[Tank, dict, dict[str, float]]:
    """Return the tank and the power section of a plan, and the same coil with a centre tap as parameters of head.cir.

    The loss of the capacitor is put into the coil's resistance, because the capacitor of head.cir has none.
    """
    path = folder / f"{name}.toml"
    path.write_text(f"schema = 1\n[coil]\ncentre_tap = true\n{PLANS[name]}", encoding="utf-8")
    plan = read_plan(path)
    tank = tank_of(plan.coil)
    head = {
        "inductance": tank.inductance_h,
        "resistance": tank.resistance_ohm * tank.q / q_of(tank),
        "coupling": coil_section(plan.coil, tank)["centre_tap"]["coupling"],
        "capacitance": tank.capacitance_f,
    }
    return tank, power_section(plan, tank), head


def q_of(tank: Tank) -> float:
    """Return the Q of the whole tank; a plan that knows no loss of the capacitor has only the coil's."""
    return getattr(tank, "q_tank", tank.q)


def pair_peak_v(parallel_ohm: float) -> float:
    """Compute the fundamental of the tail's current, switched from half to half, in the tank and the base circuits.

    A square wave of +-I/2 has a fundamental of 2 I / pi.  The base circuits load the coil with both their resistors.
    """
    found = parts.read_netlist("oscillator-pair")
    load = sum(found[name].number for name in ("R2", "R3", "R4", "R5"))
    return 2 / pi * TAIL_A / (1 / parallel_ohm + 1 / load)


def test_the_tail():
    found = oscillate(probes=("v(xosc.tail_emitter)",), **circuit_checks.SETTLED)
    resistor = parts.read_netlist("oscillator-pair")["R6"].number
    assert np.mean(found.waves["v(xosc.tail_emitter)"]) / resistor == approx(TAIL_A, rel=0.02)


@pytest.mark.parametrize("name", PLANS)
def test_frequency_q_and_voltage_of_three_plans(tmp_path, name):
    tank, power, head = plan_and_head(tmp_path, name)
    ring_hz, ring_q = ring_down(**head)
    found = oscillate(PAIR, stop_s=8e-3, start_s=6e-3, probes=("l.xhead.l1a#branch",), **head)
    expected_v = pair_peak_v(power["parallel_ohm"])
    print(f"\n{name}: plan {tank.frequency_hz:.0f} Hz, Q {q_of(tank):.2f}, tank {expected_v:.2f} V;", end=" ")
    print(f"circuit simulation {found.frequency_hz:.0f} Hz, Q {ring_q:.2f} at {ring_hz:.0f} Hz, {found.peak_v:.2f} V")
    assert found.frequency_hz == approx(tank.frequency_hz, rel=5e-4)
    assert ring_q == approx(q_of(tank), rel=0.005)
    assert found.peak_v == approx(expected_v, rel=0.02)
    current = np.abs(found.waves["l.xhead.l1a#branch"]).max()
    # The plan's current is that of its own tank voltage.
    assert current == approx(power["current_peak_a"] * found.peak_v / power["tank_peak_v"], rel=0.05)


def test_the_tank_voltage_that_a_plan_assumes_is_that_of_the_default_coil():
    assert oscillate(PAIR, **circuit_checks.SETTLED).peak_v == approx(PlanFile().tank_peak_v, rel=0.02)


def test_the_formula_of_supply_pushing():
    """A tank with van der Pol's limiter: the formula gives the shift from a loop gain of 1.8 to one of 2.2."""

    def with_gain(r: float) -> float:
        ohm = 225e-6 / (1.44 * 180e-9)
        deck = f"Xhead a 0 b head\nBLIMIT a b I=-{r / ohm:.9g}*V(a,b)+{r / ohm * 0.1:.9g}*V(a,b)*V(a,b)*V(a,b)\n"
        deck += "IKICK a b PULSE(0 20m 0 10n 10n 20u 1)\nRA a 0 1Meg\nRB b 0 1Meg"
        found = run(deck, ("v(a)", "v(b)"), 8e-3, 1e-7, 6e-3)
        return frequency_hz(found["time"], found["v(a)"] - found["v(b)"])

    q = 2 * pi * 25e3 * 225e-6 / 1.44
    steps = np.geomspace(1.8, 2.2, 21)
    expected = sum(supply_pushing(q, r) for r in np.sqrt(steps[:-1] * steps[1:])) * np.log(2.2 / 1.8) / 20
    assert with_gain(2.2) / with_gain(1.8) - 1 == approx(expected, rel=0.05)


def test_the_default_oscillator_pushes_less_than_a_scene_assumes():
    """Scenes take the formula with a loop gain of 1.5.  The pair's current does not follow its supply."""
    base, low = oscillate(**circuit_checks.SETTLED), oscillate(supply_v=4.5, **circuit_checks.SETTLED)
    assumed = supply_pushing(24.5, 1.5) * np.log(0.9) * 1e6
    print(f"\n10 % less supply: {base.ppm(low):+.2f} ppm (circuit simulation), {assumed:+.1f} ppm (formula of scenes)")
    assert abs(base.ppm(low)) < abs(assumed) / 3


def test_thermal_and_shot_noise_are_far_below_the_noise_classes_of_the_plan():
    """So the classes stand for flicker noise, air, supply and hand, which this simulation does not have."""
    h0 = white_frequency_noise(12e-3, factor=1e3)
    print(f"\nh0 {h0:.1g}/Hz (circuit simulation), {NOISE_CLASSES['careful'].h0:.1g}/Hz (class careful)")
    assert 1e-22 < h0 < NOISE_CLASSES["careful"].h0 / 100
