"""Noise in the circuits: jitter of the edges at the pin, and the frequency noise of the default oscillator."""

from math import sqrt
from pathlib import Path

import numpy as np
from circuits import PAIR, STRONG_KICK, SUPPLY_V, at_pin, oscillator_deck
from spice import HARDWARE, edges, run

NOISE_STEP_S = 1e-6  # the noise sources take a new value so often; their band then ends near 0.5 MHz
# What stands before the input of the chip in the netlist of each stage.
CHIP = {"input_comparator": "XU61 plus", "input_schmitt": "XU51 gate"}
BOLTZMANN, ELECTRON = 1.380649e-23, 1.602176634e-19


def noisy_stage(kind: str, rms_v: float, folder: Path = HARDWARE) -> str:
    """Return lines that define the stage "noisy", with a noise voltage in series with the input of its chip."""
    text = (folder / f"{kind.replace('_', '-')}.cir").read_text(encoding="utf-8")
    before = CHIP[kind]
    assert before in text
    chip, node = before.split()
    noise = f"VNOISE noisy_input {node} TRNOISE({rms_v} {NOISE_STEP_S} 0 0)"
    return text.replace(before, f"{noise}\n{chip} noisy_input").replace(f".subckt {kind} ", ".subckt noisy ")


def jitter_s(kind: str, peak: float, rms_v: float = 1e-3, stop_s: float = 4.4e-3) -> float:
    """Return the standard deviation of an edge's time, for `peak` volts at the coil end and noise at the chip's input.

    A cubic through the edges is taken away: it holds the frequency and the settling of the coupling capacitor.
    """
    found = at_pin("noisy", peak, noise=noisy_stage(kind, rms_v), stop_s=stop_s)
    k = np.linspace(-1, 1, len(found.edges_s))
    return float(np.std(found.edges_s - np.polyval(np.polyfit(k, found.edges_s, 3), k), ddof=4))


def _source(name: str, nodes: str, density: float, factor: float) -> str:
    """Return a noise current; density: one-sided, A^2/Hz; factor: by which its amplitude is exaggerated."""
    return f"INOISE{name} {nodes} TRNOISE({factor * sqrt(density / (2 * NOISE_STEP_S)):.6g} {NOISE_STEP_S} 0 0)"


def white_frequency_noise(stop_s: float = 40e-3, factor: float = 1e4, folder: Path = HARDWARE) -> float:
    """Return h0 in 1/Hz of the default oscillator: S_y(f) = h0 of the thermal and shot noise of its parts at 300 K.

    The noise of tank (890 ohm), base circuits (1.1k), collectors (2.3 mA each) and tail (91 ohm) is exaggerated by
    `factor`, so that it stands above the rounding of the simulation, and h0 is divided by its square.  Flicker noise
    of the transistors is not in it.  From the Allan deviation at 1 ms: h0 = 2 tau sigma^2.
    """
    four_kt = 4 * BOLTZMANN * 300
    noise = [
        _source("TANK", "a b", four_kt / 890, factor),
        _source("BASEA", "xosc.base_a 0", four_kt / 1100, factor),
        _source("BASEB", "xosc.base_b 0", four_kt / 1100, factor),
        _source("COLLA", "a xosc.emitters", 2 * ELECTRON * 2.3e-3, factor),
        _source("COLLB", "b xosc.emitters", 2 * ELECTRON * 2.3e-3, factor),
        _source("TAIL", "xosc.emitters 0", four_kt / 91, factor),
    ]
    deck = oscillator_deck(PAIR, SUPPLY_V[PAIR], {}, "\n".join([STRONG_KICK, *noise]), folder)
    found = run(deck, ("v(a)", "v(b)"), stop_s, 2e-7, 5e-3, 27.0, folder)
    crossings = edges(found["time"], found["v(a)"] - found["v(b)"])
    cycles = 25  # 1 ms
    times = crossings[::cycles]
    period = np.diff(times)
    y = period / period.mean() - 1
    return float(2 * period.mean() * np.mean(np.diff(y) ** 2) / 2 / factor**2)
