"""The supply under ngspice: battery voltage, a reversed battery, USB beside the battery, ripple and pulses."""

import circuit_checks
import pytest
from circuits import powered
from pytest import approx
from spice import mean, needs_ngspice

pytestmark = needs_ngspice


@pytest.mark.parametrize(
    "check", [circuit_checks.supply_voltages, circuit_checks.supply_filter], ids=lambda check: check.__name__
)
def test_six_cells_at_9_v(check):
    check()


def test_it_works_down_to_5_4_v():
    """Six alkaline cells at 0.9 V each: the oscillator's leg loses less than 0.05 V."""
    full, empty = powered("9"), powered("5.4")
    assert mean(full["time"], full["leg"]) - mean(empty["time"], empty["leg"]) < 0.05
    below = powered("5.0")
    assert mean(below["time"], below["leg"]) < 4.0  # the regulator has no room left: the oscillator follows the battery


def test_a_reversed_battery_reaches_nothing():
    found = powered("-9", board="RBOARD vsys 0 190", oscillator="ROSC leg 0 600")
    assert found["input"].min() > -0.7  # the leakage of D81 alone
    for name in ("five", "vsys", "leg"):
        assert abs(found[name]).max() < 0.01, name
    assert abs(found["battery_a"]).max() < 1e-3


def test_usb_does_not_feed_the_oscillator_or_the_battery():
    usb = "VUSB usb 0 5\nDUSB usb vsys schottky\nRBOARD vsys 0 190"
    alone = powered("0", board=usb, oscillator="ROSC leg 0 600")
    assert alone["vsys"].min() > 4.5 and abs(alone["leg"]).max() < 0.05
    both = powered("9", board=usb)
    assert both["leg"].min() == approx(4.26, abs=0.05) and both["vsys"].max() < 5.5


def test_vsys_stays_below_its_limit_with_a_battery_of_12_v():
    assert powered("12")["vsys"].max() < 5.5
