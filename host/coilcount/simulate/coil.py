"""A scene's coil as the simulation needs it: frequency, Q, and what objects, soil, warmth and supply do to it."""

import math
from functools import lru_cache

import numpy as np

from coilcount.errors import InputError
from coilcount.physics import oscillator
from coilcount.physics.coil import ac_resistance, dc_resistance, inductance, make_winding
from coilcount.physics.constants import MATERIALS
from coilcount.physics.eddy import skin_depth_m
from coilcount.physics.field import mean_radius_field
from coilcount.physics.ground import soil_response
from coilcount.physics.response import frequency_shift, target_response
from coilcount.physics.rings import coin
from coilcount.physics.targets import Polarizability, disc, flat_iron, loop, rod, sphere
from coilcount.physics.wire import parse_wire
from coilcount.schema.coil import Coil
from coilcount.simulate.scene import Scene, Target

# Soil per unit of susceptibility is tabulated over these heights and read between them.
SOIL_HEIGHTS_M = np.geomspace(0.001, 3, 400)
SMALL_CHI = 1e-6  # where the response is still proportional


class CoilModel:
    """The numbers behind a scene's coil.  f0_hz: frequency in air; q; temperature_per_k, amplitude_per_k: 1/K."""

    def __init__(self, scene: Scene) -> None:
        coil = scene.coil
        try:
            self.winding = make_winding(
                coil.diameter_mm / 1000,
                coil.turns,
                parse_wire(coil.wire),
                coil.layout,
                None if coil.pitch_mm is None else coil.pitch_mm / 1000,
            )
            self.inductance_h = inductance(self.winding)
            self._swing(coil, scene)
        except ValueError as error:
            raise InputError(f"[coil]: {error}") from None
        resistance_per_k = oscillator.resistance_coefficient(
            dc_resistance(self.winding), max(ac_resistance(self.winding, self.f0_hz), dc_resistance(self.winding))
        )
        self.temperature_per_k = oscillator.temperature_coefficient(
            self.q,
            oscillator.FORMER_EXPANSION[coil.former],
            oscillator.DIELECTRIC_COEFFICIENT[coil.dielectric],
            resistance_per_k,
        )
        if scene.oscillator.temperature_ppm_per_k is not None:
            self.temperature_per_k = scene.oscillator.temperature_ppm_per_k * 1e-6
        self.amplitude_per_k = -resistance_per_k
        self._loop_gain = scene.oscillator.loop_gain
        d_l, d_r = soil_response(self.winding, SOIL_HEIGHTS_M, SMALL_CHI, self.f0_hz)
        self._soil_per_chi = self._shift(d_l, d_r) / SMALL_CHI

    def _swing(self, coil: Coil, scene: Scene) -> None:
        """Frequency and resistance belong together: a few rounds settle them."""
        capacitance_f = coil.capacitor_nf * 1e-9
        self.f0_hz = oscillator.resonance_hz(self.inductance_h, capacitance_f)
        for _ in range(3):
            if scene.oscillator.q is None:
                self.resistance_ohm = ac_resistance(self.winding, self.f0_hz)
            else:
                self.resistance_ohm = 2 * math.pi * self.f0_hz * self.inductance_h / scene.oscillator.q
            self.f0_hz = oscillator.resonance_hz(self.inductance_h, capacitance_f, self.resistance_ohm)
        self.q = oscillator.q_factor(self.inductance_h, self.resistance_ohm, self.f0_hz)
        if not 1e3 <= self.f0_hz <= 2e5:
            raise ValueError(f"it would swing at {self.f0_hz / 1000:.3g} kHz; the board counts 1 to 200 kHz")

    def object_shift(self, target: Target, along_m: np.ndarray, down_m: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Relative shifts of frequency and amplitude by an object along_m ahead of the coil and down_m below it."""
        position = np.stack([along_m, np.full_like(along_m, target.offset_cm / 100), -down_m], axis=-1)
        tilt, turn = math.radians(target.tilt_deg), math.radians(target.turn_deg)
        axis = np.array([math.sin(tilt) * math.cos(turn), math.sin(tilt) * math.sin(turn), math.cos(tilt)])
        alpha = polarizability(
            target.shape, target.metal, target.diameter_mm, target.thickness_mm, target.length_mm, self.f0_hz
        )
        d_l, d_r = target_response(self.winding, alpha, position, axis, self.f0_hz, mean_radius_field)
        return self._shift(d_l, d_r), oscillator.amplitude_change(d_l, d_r, self.inductance_h, self.resistance_ohm)

    def soil_shift(self, height_m: np.ndarray, chi: np.ndarray) -> np.ndarray:
        """Relative frequency shift by level soil of susceptibility chi (to first order in it) under the coil."""
        return chi * np.interp(height_m, SOIL_HEIGHTS_M, self._soil_per_chi)

    def supply_shift(self, ratio: np.ndarray) -> np.ndarray:
        """Relative frequency shift where the supply is `ratio` times what it was at the start."""
        return oscillator.supply_pushing(self.q, self._loop_gain) * np.log(ratio)

    def _shift(self, d_l: np.ndarray, d_r: np.ndarray) -> np.ndarray:
        return frequency_shift(d_l, d_r, self.inductance_h, self.resistance_ohm, self.f0_hz)


def is_iron(target: Target) -> bool:
    """Whether the object's metal is ferromagnetic, whatever its shape makes of it."""
    return MATERIALS[target.metal].mu_r > 1.1


@lru_cache(maxsize=256)  # a thick coin takes a tenth of a second, and comes again and again
def polarizability(
    shape: str,
    metal: str,
    diameter_mm: float,
    thickness_mm: float | None,
    length_mm: float | None,
    frequency_hz: float,
) -> Polarizability:
    """Of a scene's object, from its shape, metal and sizes."""
    sigma, mu_r = MATERIALS[metal].conductivity, MATERIALS[metal].mu_r
    radius_m = diameter_mm / 2000
    if shape == "ball":
        return sphere(radius_m, sigma, mu_r, frequency_hz)
    if shape == "rod":
        return rod(length_mm / 1000, diameter_mm / 1000, sigma, mu_r, frequency_hz)
    thickness_m = thickness_mm / 1000
    if shape == "flat-iron":
        return flat_iron(radius_m, thickness_m, sigma, mu_r, frequency_hz)
    if shape == "ring":
        return loop(radius_m - thickness_m / 2, thickness_m, sigma, frequency_hz)
    if thickness_m < 0.5 * skin_depth_m(frequency_hz, sigma):
        return disc(radius_m, thickness_m, sigma, frequency_hz)
    # A thick coin: the disc's formula is off by 10 to 25 %.
    return coin(radius_m, thickness_m, sigma, frequency_hz)
