"""The coil of a scene: its frequency and Q, and how objects, soil, temperature and supply change its frequency."""

import math

import numpy as np

from coilcount.errors import InputError
from coilcount.physics.bodies import FERROMAGNETIC, Body, body_response, named_body
from coilcount.physics.constants import MATERIALS
from coilcount.physics.drift import drift
from coilcount.physics.ground import soil_response
from coilcount.physics.tank import make_tank
from coilcount.simulate.path import along_path
from coilcount.simulate.scene import Scene, Target

# The response to soil is computed at these heights, and interpolated between them to save time.
SOIL_HEIGHTS_M = np.geomspace(0.001, 3, 400)
SMALL_CHI = 1e-6  # a susceptibility so small that the response is proportional to it


class CoilModel:
    """The coil of a scene.  Raises InputError if it cannot be built.

    f0_hz: frequency in air; q: of the coil; temperature_per_k, amplitude_per_k: coefficients of frequency and
    amplitude in 1/K.
    """

    def __init__(self, scene: Scene) -> None:
        coil = scene.coil
        try:
            self._tank = tank = make_tank(**coil.si(), q=scene.oscillator.q)
        except ValueError as error:
            raise InputError(f"[coil]: {error}") from None
        self.winding, self.f0_hz, self.q = tank.winding, tank.frequency_hz, tank.q
        self.inductance_h, self.resistance_ohm = tank.inductance_h, tank.resistance_ohm
        self._drift = drift(tank, coil.former, coil.dielectric, scene.oscillator.loop_gain)
        self.temperature_per_k = self._drift.total_per_k[1]
        if scene.oscillator.temperature_ppm_per_k is not None:
            self.temperature_per_k = scene.oscillator.temperature_ppm_per_k * 1e-6
        self.amplitude_per_k = self._drift.amplitude_per_k
        d_l, d_r = soil_response(self.winding, SOIL_HEIGHTS_M, SMALL_CHI, self.f0_hz)
        self._soil_per_chi = self._tank.shift(d_l, d_r) / SMALL_CHI

    def object_shift(self, target: Target, along_m: np.ndarray, down_m: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Compute the relative shifts of frequency and amplitude by one object.

        along_m, down_m: how far the object lies ahead of the coil and below it, shape (n,).
        """
        tilt, turn = math.radians(target.tilt_deg), math.radians(target.turn_deg)
        axis = np.array([math.sin(tilt) * math.cos(turn), math.sin(tilt) * math.sin(turn), math.cos(tilt)])
        body = body_of(target)

        def respond(along: np.ndarray, down: np.ndarray) -> np.ndarray:
            position = np.stack([along, np.full_like(along, target.offset_cm / 100), -down], axis=-1)
            return np.stack(body_response(body, self.winding, position, axis, self.f0_hz))

        try:
            d_l, d_r = along_path(respond, along_m, down_m, self.winding.mean_radius_m)
        except ValueError as error:
            raise InputError(f'the object "{target.object}": {error}') from None
        return self._tank.shift(d_l, d_r), self._tank.amplitude(d_l, d_r)

    def soil_shift(self, height_m: np.ndarray, chi: np.ndarray) -> np.ndarray:
        """Compute the relative frequency shift by level soil of susceptibility chi, to first order in chi."""
        return chi * np.interp(height_m, SOIL_HEIGHTS_M, self._soil_per_chi)

    def supply_shift(self, ratio: np.ndarray) -> np.ndarray:
        """Compute the relative frequency shift if the supply is `ratio` times the supply at the start."""
        return self._drift.supply * np.log(ratio)


def body_of(target: Target) -> Body:
    """Make the body of a scene's object."""
    return named_body(
        target.shape, target.metal, target.diameter_mm, target.thickness_mm, target.length_mm, target.hole_mm
    )


def is_iron(target: Target) -> bool:
    """True if the object's metal is ferromagnetic, whichever way its shape moves the frequency."""
    return MATERIALS[target.metal].mu_r > FERROMAGNETIC
