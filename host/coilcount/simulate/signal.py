"""The coil's frequency and amplitude on a 1 ms grid, as separate components, from a scene and a seed.

Every component is a relative shift y = df/f from the frequency f0 of the coil in air; the frequency is f0 (1 + their
sum).  Each component has its own random generator, so that a change of one does not change the others.
"""

from dataclasses import dataclass

import numpy as np

from coilcount.physics.noise import NOISE_CLASSES, PowerLawNoise
from coilcount.simulate.coil import CoilModel
from coilcount.simulate.edges import BLOCK_MS
from coilcount.simulate.passes import passes_of
from coilcount.simulate.scene import Oscillator, Scene

COMPONENTS = ("target", "ground", "vibration", "knock", "temperature", "supply", "oscillator")
AMPLITUDE_READING_MS = 20  # the amplitude noise of a scene is that of a mean over this time
BOARD_NOISE_K = 0.02  # of the chip's temperature sensor, after averaging
ZERO_C_K = 273.15


@dataclass(frozen=True, slots=True)
class Block:
    """One second of the signal; every array has 1000 entries.

    shift: component: relative frequency shift; amplitude: relative change of the amplitude (dV/V), noise included.
    """

    shift: dict[str, np.ndarray]
    amplitude: np.ndarray
    frequency_hz: np.ndarray
    amplitude_v: np.ndarray
    temperature_k: np.ndarray
    supply_v: np.ndarray


class Wander:
    """Band-limited, nearly Gaussian noise that can be computed for any time: a sum of random sinusoids.

    rms: of the sum; low, high: the band in Hz, evenly filled.  The sum does not repeat, because the frequencies are
    random.
    """

    def __init__(self, rng: np.random.Generator, rms: float, low: float, high: float, count: int = 24) -> None:
        self._omega = 2 * np.pi * rng.uniform(low, high, count)
        self._phase = rng.uniform(0, 2 * np.pi, count)
        self._size = rms * np.sqrt(2 / count)

    def __call__(self, t: np.ndarray) -> np.ndarray:
        """Values at t, of t's shape."""
        if not self._size:
            return np.zeros_like(t)
        return self._size * np.sin(np.multiply.outer(t, self._omega) + self._phase).sum(axis=-1)


def oscillator_noise(oscillator: Oscillator, rng: np.random.Generator) -> PowerLawNoise:
    """Make the scene's frequency noise, in samples 1 ms apart.

    It is that of the scene's noise class; an h that the scene gives replaces the one of the class.
    """
    preset = NOISE_CLASSES[oscillator.noise]
    given = {name: getattr(oscillator, name) for name in ("h0", "h_minus1", "h_minus2")}
    levels = {name: getattr(preset, name) if value is None else value for name, value in given.items()}
    return PowerLawNoise(rng, 1e-3, **levels)


class Signal:
    """The signal of a scene, in blocks of one second."""

    def __init__(self, scene: Scene, seed: int) -> None:
        self._scene = scene
        self._coil = CoilModel(scene)
        self.f0_hz = self._coil.f0_hz
        generators = [np.random.default_rng([seed, 2, i]) for i in range(10)]
        ground = scene.ground
        still = scene.sweep.kind == "still"
        speed = scene.sweep.speed_m_s
        self._wobble_m = Wander(generators[0], ground.wobble_cm / 100, ground.wobble_low_hz, ground.wobble_high_hz)
        self._chi = Wander(
            generators[1], 0.0 if still else ground.variation, speed / (8 * ground.patch_m), speed / ground.patch_m
        )
        shake = scene.vibration
        self._shake = Wander(generators[2], shake.rms_ppm * 1e-6, 0.9 * shake.frequency_hz, 1.1 * shake.frequency_hz)
        weather = scene.weather
        self._swing = Wander(generators[3], weather.swing_k, 0.3 / weather.swing_period_s, 1.5 / weather.swing_period_s)
        self._ripple_v = Wander(generators[4], scene.supply.ripple_mv / 1000, 0.1, 5)
        self._noise = oscillator_noise(scene.oscillator, generators[5])
        self._amplitude_rng = generators[6]
        self._board_rng = generators[7]
        self._passes = passes_of(scene)
        self._next_ms = 0

    def block(self) -> Block:
        """Compute the next second."""
        t = (self._next_ms + np.arange(BLOCK_MS)) * 1e-3
        self._next_ms += BLOCK_MS
        scene, coil = self._scene, self._coil
        event_t = t % scene.duration_s
        height_m = np.maximum(scene.sweep.height_cm / 100 + self._wobble_m(t), 0.002)
        target, target_amplitude = self._targets(event_t, height_m)
        soil = coil.soil_shift(height_m, scene.ground.chi * np.maximum(1 + self._chi(t), 0))
        warmer_k = self._warmer_k(t)
        supply_v = self._supply_v(t)
        shift = {
            "target": target,
            "ground": soil,
            "vibration": self._shake(t),
            "knock": self._knocks(event_t),
            "temperature": coil.temperature_per_k * warmer_k,
            "supply": coil.supply_shift(supply_v / scene.supply.volt),
            "oscillator": self._noise.block(BLOCK_MS),
        }
        white = self._amplitude_rng.standard_normal(BLOCK_MS)
        amplitude = (
            target_amplitude
            + coil.amplitude_per_k * warmer_k
            + scene.amplitude.noise * np.sqrt(AMPLITUDE_READING_MS) * white
        )
        temperature_k = ZERO_C_K + scene.weather.start_c + warmer_k
        return Block(
            shift=shift,
            amplitude=amplitude,
            frequency_hz=self.f0_hz * (1 + sum(shift.values())),
            amplitude_v=scene.amplitude.volt * (1 + amplitude),
            temperature_k=temperature_k + BOARD_NOISE_K * self._board_rng.standard_normal(BLOCK_MS),
            supply_v=supply_v,
        )

    def _targets(self, t: np.ndarray, height_m: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Relative shifts of frequency and amplitude by all objects; their effects simply add."""
        shift, amplitude = np.zeros_like(t), np.zeros_like(t)
        for a_pass in self._passes:
            near = (t >= a_pass.start_s) & (t < a_pass.end_s)
            if near.any():
                along_m = a_pass.along_m(t[near])
                down_m = height_m[near] + a_pass.target.depth_cm / 100
                frequency, voltage = self._coil.object_shift(a_pass.target, along_m, down_m)
                shift[near] += frequency
                amplitude[near] += voltage
        return shift, amplitude

    def _knocks(self, t: np.ndarray) -> np.ndarray:
        y = np.zeros_like(t)
        for knock in self._scene.knock:
            for knock_s in knock.at_s:
                since = np.maximum(t - knock_s, 0)
                swing = np.exp(-since / knock.decay_s) * np.cos(2 * np.pi * knock.frequency_hz * since)
                y += np.where(t >= knock_s, 1e-6 * (knock.size_ppm * swing + knock.stays_ppm), 0)
        return y

    def _warmer_k(self, t: np.ndarray) -> np.ndarray:
        weather = self._scene.weather
        return -weather.warm_up_k * np.expm1(-t / weather.warm_up_s) + self._swing(t)

    def _supply_v(self, t: np.ndarray) -> np.ndarray:
        supply = self._scene.supply
        return np.maximum(supply.volt - supply.sag_v_per_min * t / 60 + self._ripple_v(t), 0.1)


def components(scene: Scene, seed: int, names: tuple[str, ...] = COMPONENTS) -> dict[str, np.ndarray]:
    """Compute the relative shifts of a whole scene by component, on the 1 ms grid; each is (duration in ms,)."""
    signal = Signal(scene, seed)
    blocks = [signal.block() for _ in range(int(np.ceil(scene.duration_s)))]
    total_ms = round(scene.duration_s * 1000)
    return {name: np.concatenate([block.shift[name] for block in blocks])[:total_ms] for name in names}
