"""The three oscillators under ngspice: what moves frequency, amplitude and supply current, and that they start."""

import circuit_checks
import numpy as np
import pytest
from circuit_checks import SETTLED
from circuit_faults import WIRES, worst
from circuits import LIMITED, MOSFET, PAIR, STRONG_KICK, oscillate, oscillator_deck, start_time_s
from pytest import approx
from spice import HARDWARE, needs_ngspice, run

pytestmark = needs_ngspice
HENRY, OHM = 225e-6, 1.44  # the default coil of head.cir


@pytest.mark.parametrize(
    "check",
    [
        circuit_checks.pair_frequency,
        circuit_checks.pair_amplitude,
        circuit_checks.pair_starts,
        circuit_checks.mosfet_amplitude,
        circuit_checks.limited_amplitude,
    ],
    ids=lambda check: check.__name__,
)
def test_the_default_coil(check):
    check()


@pytest.mark.parametrize("kind", [PAIR, MOSFET, LIMITED])
def test_inductance_moves_the_frequency_as_the_square_root_says(kind):
    """L - 0.1 % gives + 500 ppm; the choke of the MOSFET oscillator takes 1 % of it."""
    settled = SETTLED if kind == PAIR else {}
    shift = oscillate(kind, **settled).ppm(oscillate(kind, inductance=HENRY * 0.999, **settled))
    assert shift == approx(500, abs=8 if kind == MOSFET else 5)


def test_loss_moves_the_amplitude_of_a_current_fed_oscillator():
    """R + 1 %: dV/V = -dR/R where nothing else loads the tank; the pair's own resistors take 5 to 10 % of it."""
    assert oscillate(**SETTLED).percent(oscillate(resistance=OHM * 1.01, **SETTLED)) == approx(-0.95, abs=0.1)
    assert oscillate(LIMITED).percent(oscillate(LIMITED, resistance=OHM * 1.01)) == approx(-0.93, abs=0.13)


def test_loss_moves_the_supply_current_of_the_choke_fed_oscillator():
    base, lossy = oscillate(MOSFET), oscillate(MOSFET, resistance=OHM * 1.01)
    assert abs(base.percent(lossy)) < 0.1
    assert base.current_percent(lossy) == approx(0.9, abs=0.2)


def test_supply_10_percent_down_hardly_moves_the_pair():
    base, low = oscillate(**SETTLED), oscillate(supply_v=4.5, **SETTLED)
    assert abs(base.ppm(low)) < 5 and abs(base.percent(low)) < 0.05


def test_supply_moves_the_amplitude_of_the_choke_fed_oscillator_alone():
    for kind, change, tolerance in ((MOSFET, 1.0, 0.1), (LIMITED, 0.14, 0.1)):
        base, high = oscillate(kind), oscillate(kind, supply_v=9.09)
        assert base.percent(high) == approx(change, abs=tolerance)
        assert abs(base.ppm(high)) < 5


def test_ten_kelvin_at_the_devices():
    """The transistors alone move the pair by under 3 ppm in 10 K; its amplitude rises by 0.1 %/K."""
    base, warm = oscillate(**SETTLED), oscillate(celsius=37.0, **SETTLED)
    assert abs(base.ppm(warm)) < 3
    assert base.percent(warm) == approx(0.97, abs=0.1)


def test_pair_starts_in_50_draws_of_its_parts():
    """Coil 155 to 240 uH, 1 to 3.5 ohm, coupling 0.7 to 0.97; C1 5 %; supply 5 %; -10 to 50 C; unequal transistors.

    Their difference is an offset of +-5 mV between the bases, as a current into the bias resistor of one of them.
    """
    rng = np.random.default_rng(20)
    slowest = 0.0
    for _ in range(50):
        slowest = max(
            slowest,
            start_time_s(
                PAIR,
                stop_s=2.5e-3,
                inductance=rng.uniform(155e-6, 240e-6),
                resistance=rng.uniform(1.0, 3.5),
                coupling=rng.uniform(0.7, 0.97),
                capacitance=180e-9 * rng.uniform(0.95, 1.05),
                supply_v=rng.uniform(4.75, 5.25),
                celsius=rng.uniform(-10, 50),
                extra=f"IOFFSET 0 xosc.base_a {rng.uniform(-5e-3, 5e-3) / 1100:.4g}",
            ),
        )
    print(f"\nthe slowest of 50 starts takes {slowest * 1e3:.2f} ms (simulation)")
    assert slowest < 2.3e-3


def test_the_lowest_q_at_which_each_starts():
    for kind in (MOSFET, LIMITED):
        assert start_time_s(kind, resistance=7.0) < 2e-3  # Q 5
    assert start_time_s(PAIR, resistance=35.0) == float("inf")  # Q 1: nothing can start it


def test_an_opened_wire_is_harmless_only_without_a_choke():
    for wires in (("tap",), WIRES):
        assert worst(PAIR, wires, phases=2)["highest_v"] < 5.8
    assert worst(PAIR, ("end_a",), phases=2)["highest_v"] < 10
    assert worst(LIMITED, ("end_a",), phases=2)["highest_v"] < 20
    assert 36 < worst(MOSFET, ("tap",), phases=1)["highest_v"] < 40
    assert worst(MOSFET, ("tap",), phases=1, zeners=False)["highest_v"] > 100


def test_a_shorted_coil():
    assert worst(PAIR, shorted=True, phases=1)["supply_a"] < 10e-3
    assert worst(LIMITED, shorted=True, phases=1)["supply_a"] < 30e-3
    assert worst(MOSFET, shorted=True, phases=1)["supply_a"] > 1


def test_100_pf_of_cable():
    """Across the coil they count whole: -278 ppm.  From one end to ground a quarter of them counts."""
    base = oscillate(**SETTLED)
    expected = -0.5e6 * 100e-12 / 180e-9
    assert base.ppm(oscillate(extra="CCABLE a b 100p", **SETTLED)) == approx(expected, abs=5)
    assert base.ppm(oscillate(extra="CCABLE a 0 100p", **SETTLED)) == approx(expected / 4, abs=5)


def test_a_coil_without_a_tap_works_with_470_ohm_at_each_end():
    """The two resistors load the tank: half the voltage, and half the answer to loss."""
    changes = ({}, {"resistance": OHM * 1.01}, {"supply_v": 4.5})
    base, lossy, low = (oscillate(untapped_ohm=470, **change, **SETTLED) for change in changes)
    assert base.peak_v == approx(1.3, rel=0.05)
    assert base.percent(lossy) == approx(-0.5, abs=0.05)
    assert abs(base.ppm(low)) < 8 and abs(base.percent(low)) < 0.05


def test_the_cable_carries_no_tank_current_with_the_capacitor_in_the_head():
    deck = oscillator_deck(PAIR, 5.0, {}, STRONG_KICK, HARDWARE).replace("Xosc a b", "VWIRE a wire 0\nXosc wire b")
    wire = run(deck, ("i(vwire)",), 4e-3, 2e-7, 3e-3)["i(vwire)"]
    assert abs(wire).max() < 8e-3
    # The current that circulates in the tank is V sqrt(C/L).
    assert oscillate(**SETTLED).peak_v * (180e-9 / HENRY) ** 0.5 == approx(0.068, rel=0.03)
    assert oscillate(MOSFET).peak_v * (180e-9 / HENRY) ** 0.5 == approx(0.77, rel=0.03)
