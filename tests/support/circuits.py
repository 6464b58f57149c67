"""Test decks for the circuits of firmware/hardware, and what is measured in them.

Each function takes `folder`, so that a test can simulate netlists that it has changed.
"""

import importlib.util
import sys
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np
from spice import HARDWARE, edges, frequency_hz, mean, peak_v, run


def _parts_module():
    """Load firmware/hardware/parts.py, which is a script and in no package."""
    spec = importlib.util.spec_from_file_location("hardware_parts", HARDWARE / "parts.py")
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module  # dataclasses look their module up
    spec.loader.exec_module(module)
    return module


parts = _parts_module()

PAIR, MOSFET, LIMITED = "oscillator_pair", "oscillator_mosfet", "oscillator_mosfet_limited"
SCHMITT, COMPARATOR = "input_schmitt", "input_comparator"
SUPPLY_V = {PAIR: 5.0, MOSFET: 9.0, LIMITED: 9.0}  # the pair's is in front of the filter of the supply
# A kick for the start, no larger than thermal noise: kT/C of 180 nF is 0.15 uV, or 27 fC.
KICK = "IKICK a b PULSE(0 5.4n 20u 10n 10n 5u 1)"
# A kick of 0.15 V, if only the settled oscillation matters.
STRONG_KICK = "IKICK a b PULSE(0 5.4m 20u 10n 10n 5u 1)"


@dataclass(frozen=True)
class Oscillation:
    """What an oscillator does after it has settled, and its waves.

    peak_v: of the fundamental across the whole coil; supply_a: mean; tap_v: mean at the tap; end_v: highest at a
    coil end; waves: vectors of ngspice, and d, the voltage across the coil.
    """

    frequency_hz: float
    peak_v: float
    supply_a: float
    tap_v: float
    end_v: float
    waves: dict[str, np.ndarray]

    def ppm(self, other: "Oscillation") -> float:
        """Return how far the other's frequency lies above this one."""
        return 1e6 * (other.frequency_hz / self.frequency_hz - 1)

    def percent(self, other: "Oscillation") -> float:
        """Return how far the other's amplitude lies above this one."""
        return 100 * (other.peak_v / self.peak_v - 1)

    def current_percent(self, other: "Oscillation") -> float:
        return 100 * (other.supply_a / self.supply_a - 1)


def oscillator_deck(kind: str, supply_v: float, head: dict[str, float], extra: str, folder: Path) -> str:
    """Return an oscillator with its coil and supply; extra: more lines, a kick for the start among them."""
    coil = " ".join(f"{name}={value:.9g}" for name, value in head.items())
    if kind == PAIR:
        leg = parts.read_netlist("supply", folder)["R81"].number
        supply = f"VREG five 0 PWL(0 0 10u {supply_v})\nRLEG five vcc {leg}"
        tap, ports = "vcc", "a b vcc 0"
    else:
        supply = f"VREG vcc 0 PWL(0 0 10u {supply_v})"
        tap, ports = "tap", "a tap b vcc 0"
    return f"{supply}\nXhead a {tap} b head {coil}\nXosc {ports} {kind}\n{extra}"


def oscillate(
    kind: str = PAIR,
    *,
    supply_v: float | None = None,
    extra: str = "",
    celsius: float = 27.0,
    stop_s: float = 5e-3,
    start_s: float = 3.5e-3,
    step_s: float = 2e-7,
    probes: tuple[str, ...] = (),
    untapped_ohm: float | None = None,
    folder: Path = HARDWARE,
    **head: float,
) -> Oscillation:
    """Simulate an oscillator.

    untapped_ohm: the pair with a coil without a tap, which is fed through this resistance at each end; head:
    inductance, resistance, coupling, capacitance, if they are not the default.
    """
    supply_v = SUPPLY_V[kind] if supply_v is None else supply_v
    deck = oscillator_deck(kind, supply_v, head, f"{STRONG_KICK}\n{extra}", folder)
    if untapped_ohm is not None:
        deck = deck.replace(
            "Xhead a vcc b", f"RFEEDA a vcc {untapped_ohm}\nRFEEDB b vcc {untapped_ohm}\nXhead a open b"
        )
    tap = "v(vcc)" if kind == PAIR else "v(tap)"
    found = run(deck, ("v(a)", "v(b)", tap, "i(vreg)", *probes), stop_s, step_s, start_s, celsius, folder)
    waves = dict(found) | {"d": found["v(a)"] - found["v(b)"]}
    at = partial(mean, waves["time"])
    return Oscillation(
        frequency_hz(waves["time"], waves["d"]),
        peak_v(waves["time"], waves["d"]),
        -at(waves["i(vreg)"]),
        at(waves[tap]),
        float(waves["v(a)"].max()),
        waves,
    )


def start_time_s(
    kind: str = PAIR,
    *,
    extra: str = "",
    celsius: float = 27.0,
    supply_v: float | None = None,
    folder: Path = HARDWARE,
    stop_s: float = 3e-3,
    **head: float,
) -> float:
    """Return how long after the supply the tank passes 90 % of its amplitude at stop_s; inf without oscillation."""
    supply_v = SUPPLY_V[kind] if supply_v is None else supply_v
    deck = oscillator_deck(kind, supply_v, head, f"{KICK}\n{extra}", folder)
    found = run(deck, ("v(a)", "v(b)"), stop_s, 4e-7, 0.0, celsius, folder)
    across = abs(found["v(a)"] - found["v(b)"])
    late = across[found["time"] > 0.85 * stop_s].max()
    if late < 0.05:
        return float("inf")
    return float(found["time"][np.argmax(across > 0.9 * late)])


def ring_down(folder: Path = HARDWARE, **head: float) -> tuple[float, float]:
    """Return frequency in Hz and Q of a coil's head alone, which rings after 1 V on its capacitor is let go."""
    coil = " ".join(f"{name}={value:.9g}" for name, value in head.items())
    deck = f"Xhead a 0 b head {coil}\nRA a 0 1G\nRB b 0 1G\nIRING b a PULSE(0 10m 0 10n 10n 20u 1)"
    found = run(deck, ("v(a)", "v(b)"), 2.5e-3, 1e-7, 1e-4, 27.0, folder)
    across = found["v(a)"] - found["v(b)"]
    frequency = frequency_hz(found["time"], across)
    period = 1 / frequency
    peaks = [
        across[(found["time"] > t) & (found["time"] <= t + period)].max()
        for t in np.arange(1e-4, min(2.4e-3, 1e-4 + 12 * period), period)
    ]
    decrement = -np.polyfit(np.arange(len(peaks)), np.log(peaks), 1)[0]
    return frequency, float(np.pi / decrement)


@dataclass(frozen=True)
class AtPin:
    """What an input stage does with a sine: counts of edges, volts at node and pin, and current into the 3.3 V rail."""

    rising: int
    falling: int
    duty: float
    node_v: tuple[float, float]
    pin_v: tuple[float, float]
    rail_a: float  # mean current into the rail; negative: the stage takes current from it
    rise_s: float  # from 10 to 90 % of 3.3 V
    edges_s: np.ndarray


def at_pin(
    kind: str,
    peak: float,
    *,
    half: bool = False,
    rail_v: float = 3.3,
    frequency: float = 25e3,
    stop_s: float = 2.4e-3,
    start_s: float = 0.4e-3,
    noise: str = "",
    step_s: float = 1e-7,
    folder: Path = HARDWARE,
) -> AtPin:
    """Simulate an input stage between start_s and stop_s.

    peak: of the sine at the coil end, V; half: only the positive half, as at the MOSFET oscillators.
    """
    sine = f"sin({2 * np.pi * frequency:.12g}*time)"
    shape = f"max(0,{sine})" if half else sine
    deck = f"""BCOIL coil 0 V={peak}*{shape}
VDD vdd 0 {rail_v}
Xin coil pin vdd 0 {kind}
RPIN pin 0 10Meg
CPIN pin 0 10p
{noise}"""
    found = run(deck, ("v(pin)", "v(xin.node)", "i(vdd)"), stop_s, step_s, start_s, 27.0, folder, False)
    time, pin = found["time"], found["v(pin)"]
    middle = max(rail_v, 1.0) / 2
    rising, falling = edges(time, pin, middle), edges(time, pin, middle, rising=False)
    slow = edges(time, pin, 0.1 * rail_v)[:5], edges(time, pin, 0.9 * rail_v)[:5]
    rise = float(np.mean(slow[1] - slow[0])) if rail_v and len(slow[0]) == len(slow[1]) > 0 else float("nan")
    return AtPin(
        len(rising),
        len(falling),
        mean(time, (pin > middle).astype(float)),
        (float(found["v(xin.node)"].min()), float(found["v(xin.node)"].max())),
        (float(pin.min()), float(pin.max())),
        mean(time, found["i(vdd)"]),
        rise,
        rising,
    )


def powered(
    battery: str = "9",
    *,
    resistance: float = 1.5,
    board: str = "IBOARD vsys 0 25m",
    oscillator: str = "IOSC leg 0 7.4m",
    stop_s: float = 40e-3,
    start_s: float = 30e-3,
    step_s: float = 1e-5,
    folder: Path = HARDWARE,
) -> dict[str, np.ndarray]:
    """Simulate the supply between battery and loads; returns "input", "five", "vsys", "leg" and "battery_a"."""
    deck = f"VBAT cell 0 {battery}\nRBAT cell plus {resistance}\nXs plus 0 vsys leg supply\nRV vsys 0 1Meg\n"
    deck += f"{board}\n{oscillator}"
    names = {"input": "v(xs.input)", "five": "v(xs.five)", "vsys": "v(vsys)", "leg": "v(leg)", "battery_a": "i(vbat)"}
    found = run(deck, tuple(names.values()), stop_s, step_s, start_s, 27.0, folder, False)
    return {"time": found["time"]} | {name: found[vector] for name, vector in names.items()}
