"""Checks of the circuits.  Each takes a folder of netlists, so that a test can show that a changed value fails one."""

from pathlib import Path

from circuits import COMPARATOR, LIMITED, MOSFET, PAIR, SCHMITT, at_pin, oscillate, parts, powered, start_time_s
from pytest import approx
from spice import HARDWARE, mean

# The pair settles slowly after a start, because its bias does.
SETTLED = {"stop_s": 8e-3, "start_s": 6.5e-3}
PIN_V = (-0.1, 3.4)  # of a board with 3.3 V; the circuits keep 0.2 V from the limits that are quoted for the chip


def pair_frequency(folder: Path = HARDWARE) -> None:
    found = oscillate(PAIR, folder=folder)
    # 1/(2 pi sqrt(LC)) of 225 uH and 180 nF is 25,009 Hz.  Its loss and the phase of the base circuits lower it.
    assert found.frequency_hz == approx(25_009, rel=1.5e-3)
    # 100 nF at the bases add little phase: within 300 ppm of w^2 = 1/(LC) - (R/L)^2.
    assert found.frequency_hz == approx(24_988, rel=3e-4)


def pair_amplitude(folder: Path = HARDWARE) -> None:
    found = oscillate(PAIR, folder=folder)
    # `plan.pair` computes both for a plan: the voltage gives its field, the current its battery life.
    assert found.peak_v == approx(2.4, rel=0.05)
    assert found.supply_a == approx(7.4e-3, rel=0.05)


def pair_starts(folder: Path = HARDWARE) -> None:
    assert start_time_s(PAIR, folder=folder) < 2e-3
    assert start_time_s(PAIR, resistance=7.0, folder=folder) < 2e-3  # Q 5


def mosfet_amplitude(folder: Path = HARDWARE) -> None:
    found = oscillate(MOSFET, folder=folder)
    assert found.peak_v == approx(3.14159 * 9.0, rel=0.06)
    assert found.end_v < 33  # the lowest zener of 36 V and 5 % stays dark
    assert found.supply_a == approx(0.051, rel=0.06)


def limited_amplitude(folder: Path = HARDWARE) -> None:
    found = oscillate(LIMITED, folder=folder)
    assert found.peak_v == approx(11.3, rel=0.05)
    assert found.supply_a == approx(25e-3, rel=0.05)
    # The mean voltage of the tap is a linear measure of the amplitude.
    assert found.tap_v == approx(found.peak_v / 3.14159, rel=0.07)


def pin_of_schmitt(folder: Path = HARDWARE) -> None:
    _pin(SCHMITT, 0.5, folder)
    _pin(SCHMITT, 60, folder)


def pin_of_comparator(folder: Path = HARDWARE) -> None:
    _pin(COMPARATOR, 0.5, folder)
    _pin(COMPARATOR, 60, folder)


def _pin(kind: str, peak: float, folder: Path) -> None:
    found = at_pin(kind, peak, folder=folder)
    assert (found.rising, found.falling) == (50, 50)
    assert PIN_V[0] < found.pin_v[0] < 0.1 and 3.2 < found.pin_v[1] < PIN_V[1]
    assert found.node_v[0] > -0.1 and found.node_v[1] < 3.4  # the gate's own diodes stay dark
    assert 0.4 < found.duty < 0.6


def unpowered_schmitt(folder: Path = HARDWARE) -> None:
    _unpowered(SCHMITT, folder)


def unpowered_comparator(folder: Path = HARDWARE) -> None:
    _unpowered(COMPARATOR, folder)


def _unpowered(kind: str, folder: Path) -> None:
    """The default oscillator pushes under 5 uA into the rail of a board without power, and 60 V push under 10 uA."""
    for peak, limit_a in ((2.4, 5e-6), (60, 10e-6)):
        found = at_pin(kind, peak, rail_v=0.0, stop_s=1.4e-3, folder=folder)
        assert abs(found.rail_a) < limit_a
        assert abs(found.pin_v[0]) < 0.05 and abs(found.pin_v[1]) < 0.05


def middle_of_the_supply(folder: Path = HARDWARE) -> None:
    for circuit, upper, lower in (("input-schmitt", "R54", "R55"), ("input-comparator", "R64", "R65")):
        found = parts.read_netlist(circuit, folder)
        assert 3.3 * found[lower].number / (found[upper].number + found[lower].number) == approx(1.57, abs=0.01)


def supply_voltages(folder: Path = HARDWARE) -> None:
    found = powered(folder=folder)
    at = {name: mean(found["time"], found[name]) for name in ("five", "vsys", "leg")}
    assert at["five"] == approx(5.0, rel=0.01)
    assert 4.5 < at["vsys"] < 5.0
    assert at["leg"] == approx(4.26, abs=0.05)


def supply_filter(folder: Path = HARDWARE) -> None:
    """Pulses of 100 mA at the board, 100 times a second, reach the oscillator as less than 5 mV."""
    board = "IBOARD vsys 0 PULSE(25m 125m 10m 1u 1u 5m 10m)"
    found = powered(board=board, stop_s=60e-3, folder=folder)
    assert found["vsys"].max() - found["vsys"].min() > 0.03
    assert found["leg"].max() - found["leg"].min() < 5e-3
