"""The coil's frequency on a 1 ms grid, as separate components, from a scene and a seed."""

from dataclasses import dataclass

import numpy as np

from coilcount.simulate.edges import BLOCK_MS
from coilcount.simulate.scene import Scene


@dataclass(frozen=True, slots=True)
class Block:
    """One second of the signal; every array has 1000 entries."""

    frequency_hz: np.ndarray
    amplitude_v: np.ndarray
    temperature_k: np.ndarray
    supply_v: np.ndarray


class Signal:
    def __init__(self, scene: Scene, seed: int) -> None:
        self._scene = scene
        self._rng = np.random.default_rng([seed, 2])

    def block(self) -> Block:
        y = 3e-7 * self._rng.standard_normal(BLOCK_MS)
        ones = np.ones(BLOCK_MS)
        return Block(25_000.0 * (1 + y), self._scene.amplitude.volt * ones, 293.15 * ones, 5.0 * ones)
