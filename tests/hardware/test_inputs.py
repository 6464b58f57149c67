"""The two input stages under ngspice: exact edges, safe levels at the pin, and a board without power."""

from math import pi

import circuit_checks
import pytest
from circuit_noise import jitter_s
from circuits import COMPARATOR, LIMITED, MOSFET, PAIR, SCHMITT, at_pin, oscillate
from pytest import approx
from replaced_parts import with_line
from spice import needs_ngspice, run

pytestmark = needs_ngspice
BOTH = pytest.mark.parametrize("kind", [SCHMITT, COMPARATOR])


@pytest.mark.parametrize(
    "check",
    [
        circuit_checks.pin_of_schmitt,
        circuit_checks.pin_of_comparator,
        circuit_checks.unpowered_schmitt,
        circuit_checks.unpowered_comparator,
    ],
    ids=lambda check: check.__name__,
)
def test_from_half_a_volt_to_60_v(check):
    """50 edges in 2 ms at the ends of the range; levels at node and pin; current into a rail without power."""
    check()


@BOTH
@pytest.mark.parametrize("peak", [1.2, 28])
def test_every_edge_once_within_the_range(kind, peak):
    found = at_pin(kind, peak, stop_s=1.4e-3)
    assert (found.rising, found.falling) == (25, 25)
    assert found.pin_v[0] > circuit_checks.PIN_V[0] and found.pin_v[1] < circuit_checks.PIN_V[1]
    assert 0.45 < found.duty < 0.55
    assert found.rise_s < 30e-9


@BOTH
@pytest.mark.parametrize("peak", [11.4, 60])
def test_half_sines_of_the_mosfet_oscillators(kind, peak):
    """The duty is not one half, and the node stays below 3.45 V."""
    start_s = 8e-3 if kind == SCHMITT else 3e-3  # the coupling capacitor has to settle
    found = at_pin(kind, peak, half=True, start_s=start_s, stop_s=start_s + 0.6e-3, step_s=1e-6)
    assert (found.rising, found.falling) == (15, 15)
    assert 0.35 < found.duty < 0.65
    assert found.node_v[0] > -0.1 and found.node_v[1] < 3.45


@BOTH
def test_a_spike_of_400_v_and_5_us(kind):
    deck = f"VCOIL coil 0 PULSE(0 400 1e-3 50n 50n 5u 1)\nVDD vdd 0 3.3\nXin coil pin vdd 0 {kind}\nRPIN pin 0 10Meg"
    found = run(deck, ("v(pin)", "v(xin.node)"), 1.1e-3, 5e-8, 0.9e-3, initial=False)
    assert found["v(xin.node)"].min() > 0 and found["v(xin.node)"].max() < 3.5
    assert found["v(pin)"].min() > -0.1 and found["v(pin)"].max() < 3.4


@BOTH
def test_the_whole_way_from_the_default_coil_to_the_pin(kind):
    """The stage pulls the default oscillator by a few ppm, and the pin counts what the tank does."""
    settled = {"stop_s": 4.5e-3, "start_s": 3.5e-3}
    alone = oscillate(**settled)
    stage = f"VDD vdd 0 3.3\nXin a pin vdd 0 {kind}\nRPIN pin 0 10Meg"
    loaded = oscillate(extra=stage, probes=("v(pin)",), **settled)
    assert abs(alone.ppm(loaded)) < 15
    assert loaded.percent(alone) < 3
    tank, pin = loaded.waves["d"], loaded.waves["v(pin)"]
    assert abs(((tank[:-1] < 0) & (tank[1:] >= 0)).sum() - ((pin[:-1] < 1.65) & (pin[1:] >= 1.65)).sum()) <= 1
    assert pin.min() > -0.2 and pin.max() < 3.5


@pytest.mark.parametrize(("rising", "falling"), [(0.7, 0.45), (0.65, 0.25)])
def test_a_gate_with_other_thresholds_counts_the_default_oscillator(tmp_path, rising, falling):
    """A coil end of the default oscillator has 1.2 V peak.  Thresholds are shares of 3.3 V: 0.82 to 2.31 V."""
    other = f"schmitt_inverter rising={rising} falling={falling}"
    found = at_pin(SCHMITT, 1.2, stop_s=1.4e-3, folder=with_line(tmp_path, "input-schmitt", "schmitt_inverter", other))
    assert (found.rising, found.falling) == (25, 25)


def test_jitter_of_the_comparator_is_noise_over_slope():
    """1 mV rms at its input; 100k, 470k and 2.2M leave 0.79 of the 1.2 V at a coil end of the default oscillator."""
    slope_v_s = 2 * pi * 25e3 * 1.2 * 0.79
    jitter = jitter_s(COMPARATOR, 1.2)
    print(f"\njitter {jitter * 1e9:.1f} ns (circuit simulation), {1e-3 / slope_v_s * 1e9:.1f} ns (noise over slope)")
    assert jitter == approx(1e-3 / slope_v_s, rel=0.25)


@pytest.mark.parametrize(("kind", "end_v"), [(PAIR, 5.5), (LIMITED, 11.4), (MOSFET, 27.4)])
def test_what_the_coil_end_of_each_oscillator_reaches(kind, end_v):
    settled = circuit_checks.SETTLED if kind == PAIR else {}
    assert oscillate(kind, **settled).end_v == approx(end_v, abs=0.3)
