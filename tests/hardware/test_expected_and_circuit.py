"""What `check --build` expects of the default oscillator, beside its circuit simulation on the supply's own voltage."""

import circuit_checks
import numpy as np
from circuits import oscillate
from coilcount.plan.expected import expectations
from coilcount.schema.build_check import PAIR
from coilcount.schema.plan import PlanFile
from pytest import approx
from spice import needs_ngspice

pytestmark = needs_ngspice
LEG_V = 4.26  # behind the 100 ohm of the supply (circuit_checks.supply_voltages)


def emitters_v(found) -> float:
    return float(np.mean(found.waves["v(xosc.emitters)"]))


def test_current_swing_and_emitters_of_the_pair():
    ranges = expectations(PlanFile(), PAIR, 0.02, 60.0).ranges
    probes = ("v(xosc.emitters)",)
    running = oscillate(supply_v=LEG_V, probes=probes, **circuit_checks.SETTLED)
    dead = oscillate(supply_v=LEG_V, resistance=60.0, probes=probes, **circuit_checks.SETTLED)  # Q 0.6
    print(f"\ncurrent {running.supply_a * 1e3:.2f} mA, swing {running.peak_v:.2f} V (circuit simulation);", end=" ")
    print(f"emitters {emitters_v(running):.2f} V, at rest {emitters_v(dead):.2f} V")
    assert ranges["oscillator_ma"].value == approx(running.supply_a * 1e3, rel=0.03)
    assert ranges["end_swing_v"].value == approx(running.peak_v, rel=0.05)
    assert ranges["emitters_v"].value == approx(emitters_v(running), abs=0.03)
    assert ranges["emitters_v"].low > emitters_v(dead) + 0.1
    assert dead.peak_v < 1e-3
