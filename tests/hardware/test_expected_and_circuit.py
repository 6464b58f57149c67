"""What `check --build` expects of the default instrument, beside its circuit simulation."""

from dataclasses import replace

import circuit_checks
import numpy as np
import pytest
from circuits import COMPARATOR, LIMITED, MOSFET, SCHMITT, at_pin, oscillate
from coilcount.plan.expected import DUTY_PERCENT, HALF_SINE_PERCENT, expectations
from coilcount.schema.build_check import PAIR
from coilcount.schema.plan import PlanFile
from pytest import approx
from spice import needs_ngspice

pytestmark = needs_ngspice
TAPPED = replace(PlanFile(), coil=replace(PlanFile().coil, centre_tap=True))


def mean_v(found, node: str) -> float:
    return float(np.mean(found.waves[f"v({node})"]))


@pytest.mark.parametrize(("plan", "untapped_ohm"), [(TAPPED, None), (PlanFile(), 470.0)], ids=["tapped", "untapped"])
def test_supply_current_swing_and_emitters_of_the_pair(plan, untapped_ohm):
    """The supply is 5 V; the oscillator stands behind its 100 ohm."""
    ranges = expectations(plan, PAIR, 0.02, 60.0).ranges
    probes = ("v(vcc)", "v(xosc.emitters)", "v(xosc.bias)")
    given = {"untapped_ohm": untapped_ohm, "probes": probes, **circuit_checks.SETTLED}
    running, dead = oscillate(**given), oscillate(resistance=60.0, **given)  # Q 0.6
    swing_v = float(np.ptp(running.waves["v(a)"]))
    print(f"\ncurrent {running.supply_a * 1e3:.2f} mA at {mean_v(running, 'vcc'):.2f} V;", end=" ")
    print(f"swing {swing_v:.2f} V;", end=" ")
    print(f"emitters {mean_v(running, 'xosc.emitters'):.2f} V, at rest {mean_v(dead, 'xosc.emitters'):.2f} V", end=" ")
    print("(circuit simulation)")
    assert ranges["oscillator_v"].value == approx(mean_v(running, "vcc"), abs=0.02)
    assert ranges["oscillator_ma"].value == approx(running.supply_a * 1e3, rel=0.02)
    assert swing_v == approx(running.peak_v, rel=0.01)  # a coil end has half of the tank's voltage to each side
    assert ranges["end_swing_v"].value == approx(swing_v, rel=0.05)
    assert ranges["emitters_v"].value == approx(mean_v(running, "xosc.emitters"), abs=0.03)
    assert ranges["emitters_v"].low > mean_v(dead, "xosc.emitters") + 0.05
    assert mean_v(running, "xosc.bias") == approx(1.74, abs=0.01)
    assert dead.peak_v < 1e-3


def test_the_range_of_the_current_takes_the_range_of_the_supply():
    ranges = expectations(TAPPED, PAIR, 0.02, 60.0).ranges
    probes = ("v(vcc)",)
    for supply_v in (4.6, 5.8):
        found = oscillate(supply_v=supply_v, probes=probes, **circuit_checks.SETTLED)
        assert ranges["oscillator_v"].holds(mean_v(found, "vcc"))
        assert ranges["oscillator_ma"].holds(found.supply_a * 1e3)


@pytest.mark.parametrize("kind", [SCHMITT, COMPARATOR])
def test_the_expected_duty_accepts_both_input_stages(kind):
    """At the coil ends of the default oscillator, of an untapped one, and of the MOSFET oscillators."""
    for peak in (0.65, 1.2, 2.4):
        assert DUTY_PERCENT.holds(100 * at_pin(kind, peak, stop_s=1.4e-3).duty), peak
    start_s = 8e-3 if kind == SCHMITT else 3e-3  # the coupling capacitor has to settle
    for name, peak in ((LIMITED, 11.4), (MOSFET, 27.4)):
        found = at_pin(kind, peak, half=True, start_s=start_s, stop_s=start_s + 0.6e-3, step_s=1e-6)
        assert HALF_SINE_PERCENT.holds(100 * found.duty), name
