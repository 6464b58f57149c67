"""How deep the tracker finds an object with this coil: the benchmark's depths, scaled by the physics.

The benchmark gives, for its own coil and for each soil, the peak shift of a coin that is found in half of the passes at
1 false alarm a minute.  Its ratio to the noise over that soil tells what the tracker needs there (`Needed`).  Another
coil has other noise: the soil's part changes with the coil's size and height, the oscillator's with its noise class.
The depth is where the shift of the object is what the tracker needs in the new noise.
"""

from dataclasses import dataclass, replace
from functools import lru_cache
from math import cos, exp, log, log2, radians, sqrt

import numpy as np
from numpy.typing import NDArray

from coilcount.model.plan_answer import Depth
from coilcount.physics.bodies import Body, coaxial_response
from coilcount.physics.field import mean_radius_field
from coilcount.physics.noise import NOISE_CLASSES
from coilcount.physics.tank import Tank
from coilcount.physics.winding import Winding
from coilcount.plan.detector import Detector, TestSoil, read_detector
from coilcount.plan.noise import SAME, SoilGain, noise_parts
from coilcount.plan.pass_width import pass_shape

# A usual pass: the median of the benchmark's passes, which go 0 to 5 cm beside the object, tilted by 0 to 25 degrees.
USUAL_OFFSET_M = 0.025
USUAL_TILT_DEG = 12.5
NODES = np.geomspace(0.15, 20, 11)  # distances in coil radii at which the responses are computed
BENCH_NOISE = "careful"  # noise class of the benchmark's oscillator
OUTSIDE = ("hand", "patches", "weather")  # the parts of the noise that do not come from the oscillator
# Greatest signal-to-noise ratio that is put down to the threshold and to chance.  In the benchmark the bound, which
# lets through no more noise than it must, finds half of the coins at 3.6 to 5.4.
USUAL_SNR = 4.5
GRID_POINTS = 240
NOISE_POINTS = 10  # distances at which the noise is computed; it changes slowly
# Factors by which single things may differ from the plan, either way.  Engineering estimates, chosen by hand.
OSCILLATOR_FACTOR = 2.0  # noise of an oscillator within its class; the classes are a factor of 5 to 10 apart
SOIL_FACTOR = 1.5  # susceptibility of the soil
HAND_FACTOR = 1.5  # how far the hand lets the height vary
WEATHER_FACTOR = 1.5
Q_FACTOR = 1.2
# Of the least shift, for a coil of twice or half the benchmark's size.  `tests/bench/plan_depth.py` with coils of 10 cm
# and 30 cm (garden and mineral soil, 12 minutes) found depths that differ from the plan's by -3.2 to +1.9 cm, 10 of 12
# by at most 1.5 cm.
SCALING_FACTOR = 1.6
DETECTOR_FACTOR = 1.15  # of the least shift: 0.4 cm of the depth that the benchmark found with some 340 passes


@dataclass(frozen=True, eq=False)
class Sweep:
    """The coil as it is swept: its height, speed and noise.

    noise: the class of the oscillator; gain: by condition, the soil's noise compared with the benchmark's coil;
    winding_factor: by which the inductance of a coil wound by hand may differ, either way.
    """

    tank: Tank
    height_m: float
    speed_m_s: float
    noise: str
    gain: dict[str, SoilGain]
    winding_factor: float


class PassResponse:
    """The peak shift of one body in one attitude in a usual pass, against the distance to its nearest surface."""

    def __init__(self, tank: Tank, body: Body, attitude: str) -> None:
        self._tank, self._to_centre = tank, body.to_centre_m(attitude)
        radius = tank.winding.mean_radius_m
        self._nodes = NODES * radius
        self._tilt = 1.0 if attitude == "any" else cos(radians(USUAL_TILT_DEG)) ** 2
        d_l, d_r, self.model = coaxial_response(body, attitude, tank.winding, self._nodes, tank.frequency_hz)
        scale = self._fall(self._nodes)
        # Both are smooth in the logarithm of the distance after division by the sixth power of the far field.
        self._d_l, self._d_r = (natural_spline(np.log(self._nodes), change / scale) for change in (d_l, d_r))

    def _fall(self, distance_m: NDArray) -> NDArray:
        return (self._tank.winding.mean_radius_m**2 + (distance_m + self._to_centre) ** 2) ** -3

    def grid(self, beyond_m: float) -> NDArray:
        """Return distances from near beyond_m to the last node, in m."""
        return np.geomspace(max(beyond_m, self._nodes[0]), self._nodes[-1], GRID_POINTS)

    def centred(self, distance_m: NDArray, tank: Tank | None = None) -> NDArray:
        """Compute the relative shift if the object is centred and not tilted; tank: one with another Q."""
        log_distance, scale = np.log(distance_m), self._fall(distance_m)
        return (tank or self._tank).shift(self._d_l(log_distance) * scale, self._d_r(log_distance) * scale)

    def of_pass(self, distance_m: NDArray) -> NDArray:
        """Compute the size of the relative peak shift of a usual pass."""
        beside = beside_factor(self._tank.winding, distance_m + self._to_centre)
        return np.abs(self.centred(distance_m)) * beside * self._tilt


def beside_factor(winding: Winding, down_m: NDArray) -> NDArray:
    """Compute the peak of a pass USUAL_OFFSET_M beside a small flat object, over the shift of a centred one.

    down_m: from the coil's plane to the object's centre, shape (n,).  The object is taken as a dipole that answers to
    the vertical field.
    """
    coarse = np.geomspace(down_m[0], down_m[-1], 16)
    along = np.linspace(0, 1.2 * winding.mean_radius_m, 25)
    rho, z = np.broadcast_arrays(np.hypot(along, USUAL_OFFSET_M), coarse[:, None])
    beside = (mean_radius_field(winding, rho, z)[1] ** 2).max(axis=1)
    centred = mean_radius_field(winding, np.zeros_like(coarse), coarse)[1] ** 2
    return np.interp(np.log(down_m), np.log(coarse), beside / centred)


class SweepNoise:
    """The least shift that is found in each soil, against the distance from the coil's plane to the object.

    The noise is computed at a few distances, because it changes slowly.
    """

    def __init__(self, sweep: Sweep, detector: Detector) -> None:
        self.sweep, self._detector = sweep, detector
        winding = sweep.tank.winding
        self._doublings = log2(winding.mean_radius_m / detector.tank.winding.mean_radius_m)
        self._nodes = np.geomspace(sweep.height_m, NODES[-1] * winding.mean_radius_m, NOISE_POINTS)
        self._shapes = [
            pass_shape(winding, z, USUAL_OFFSET_M, sweep.speed_m_s, detector.frequency_hz[0]) for z in self._nodes
        ]
        self._parts: dict[tuple[str, bool], dict[str, NDArray]] = {}

    def parts(self, soil: TestSoil, distance_m: NDArray, knows_soil: bool) -> dict[str, NDArray]:
        """Compute `noise.noise_parts` for passes over objects at these distances.

        A filter that does not know the soil is matched to the benchmark's oscillator.
        """
        key, noise = (soil.condition, knows_soil), self.sweep.noise if knows_soil else BENCH_NOISE
        if key not in self._parts:
            gain, speed_m_s = self.sweep.gain[soil.condition], self.sweep.speed_m_s
            rows = [
                noise_parts(soil, self._detector, gain, NOISE_CLASSES[noise], shape, speed_m_s, knows_soil)
                for shape in self._shapes
            ]
            self._parts[key] = {name: np.log([row[name] for row in rows]) for name in rows[0]}
        log_distance, nodes = np.log(distance_m), np.log(self._nodes)
        return {name: np.exp(np.interp(log_distance, nodes, value)) for name, value in self._parts[key].items()}

    def least_shift(self, soil: TestSoil, distance_m: NDArray, method: str = "tracker") -> tuple[NDArray, NDArray]:
        """Compute the least relative shift that is found in half of the passes, and the uncertainty of the noise.

        The uncertainty is the square of the logarithm of the factor by which the noise may differ, either way.
        """
        need = needed(soil.condition, method)
        square = {name: need.snr**2 * value for name, value in self.parts(soil, distance_m, True).items()}
        if need.outside:
            let_through = self.parts(soil, distance_m, False)
            square |= {name: square[name] + need.outside * let_through[name] for name in OUTSIDE}
        total = sum(square.values())
        oscillator, hand, patches, weather = (
            square[name] / total for name in ("oscillator", "hand", "patches", "weather")
        )
        spread = (
            (oscillator * log(OSCILLATOR_FACTOR)) ** 2
            + (hand * log(HAND_FACTOR)) ** 2
            + ((hand + patches) * log(SOIL_FACTOR)) ** 2
            + (weather * log(WEATHER_FACTOR)) ** 2
            + log(DETECTOR_FACTOR) ** 2
            + (log(SCALING_FACTOR) * self._doublings) ** 2
        )
        return np.sqrt(total), spread


@dataclass(frozen=True, slots=True)
class Needed:
    """What a method needs to find half of the passes: least shift^2 = snr^2 noise + outside (noise let through).

    noise: of a filter that is matched to all of the noise; snr: signal-to-noise ratio of this filter.
    noise let through: that of soil, hand and weather behind a filter that does not know them.  outside: the share of it
    that a method has to rise above; 0 if it knows the soil as well as a matched filter.
    """

    snr: float
    outside: float


@lru_cache
def needed(condition: str, method: str) -> Needed:
    """Compute what a method needs in one test condition, from the benchmark's depth and noise there."""
    detector = read_detector()
    soil = next(soil for soil in detector.soils if soil.condition == condition)
    z = (detector.height_cm + soil.depth_cm[method]) / 100
    shape = pass_shape(detector.tank.winding, z, USUAL_OFFSET_M, soil.speed_m_s, detector.frequency_hz[0])
    words = (soil, detector, SAME, NOISE_CLASSES[BENCH_NOISE], shape, soil.speed_m_s)
    parts, let_through = noise_parts(*words), noise_parts(*words, knows_soil=False)
    total, least = sum(parts.values()), soil.least_ppm[method] * 1e-6
    snr = min(least / sqrt(total), USUAL_SNR)
    return Needed(snr, max(least**2 - snr**2 * total, 0.0) / sum(let_through[name] for name in OUTSIDE))


def depth_in_soil(response: PassResponse, noise: SweepNoise, soil: TestSoil, method: str = "tracker") -> Depth:
    """Compute the depth at which half of the passes over an object are found in one soil."""
    distance = response.grid(noise.sweep.height_m)
    return _depth(response, noise.sweep, distance, *noise.least_shift(soil, distance, method))


def depth_above(response: PassResponse, sweep: Sweep, least: float) -> Depth:
    """Compute the depth at which a pass shifts by `least` (relative), such as the smallest shift above the noise."""
    distance = response.grid(sweep.height_m)
    return _depth(response, sweep, distance, np.full_like(distance, least), np.zeros_like(distance))


def _depth(response: PassResponse, sweep: Sweep, distance: NDArray, least: NDArray, spread: NDArray) -> Depth:
    """spread: square of the logarithm of the factor by which the noise may differ, either way."""
    tank = sweep.tank
    other_q = replace(tank, resistance_ohm=tank.resistance_ohm * Q_FACTOR, q=tank.q / Q_FACTOR)
    here, there = response.centred(distance), response.centred(distance, other_q)
    with np.errstate(divide="ignore", invalid="ignore"):
        by_q = np.clip(np.abs(np.log(np.abs(there / here))), 0, log(3))
    factor = np.exp(np.sqrt(spread + np.nan_to_num(by_q) ** 2 + log(sweep.winding_factor) ** 2))
    shift = response.of_pass(distance)
    likely, low, high = (_deepest(distance, shift / limit) for limit in (least, least * factor, least / factor))
    at = 0 if likely is None else int(np.searchsorted(distance, likely).clip(0, len(distance) - 1))

    def below(value: float | None) -> float | None:
        return None if value is None or value <= sweep.height_m else (value - sweep.height_m) * 100

    beyond = likely is not None and bool(likely >= distance[-1])
    return Depth(below(likely), below(low), below(high), float(least[at]) * 1e6, beyond)


def _deepest(distance: NDArray, ratio: NDArray) -> float | None:
    """Find the greatest distance at which a ratio is at least 1, by interpolation of logarithms."""
    above = np.flatnonzero(ratio >= 1)
    if not len(above):
        return None
    last = int(above[-1])
    if last == len(ratio) - 1:
        return float(distance[-1])
    share = log(ratio[last]) / log(ratio[last] / max(ratio[last + 1], 1e-12))
    return float(distance[last] * exp(share * log(distance[last + 1] / distance[last])))


def natural_spline(x: NDArray, y: NDArray):
    """Return the natural cubic spline through (x, y) as a function.

    It is here because importing the one of scipy takes longer than a short plan.
    """
    h, n = np.diff(x), len(x)
    matrix, right = np.eye(n), np.zeros(n)
    for i in range(1, n - 1):
        matrix[i, i - 1 : i + 2] = h[i - 1], 2 * (h[i - 1] + h[i]), h[i]
        right[i] = 6 * ((y[i + 1] - y[i]) / h[i] - (y[i] - y[i - 1]) / h[i - 1])
    bend = np.linalg.solve(matrix, right)

    def value(at: NDArray) -> NDArray:
        i = np.clip(np.searchsorted(x, at) - 1, 0, n - 2)
        a, b = (x[i + 1] - at) / h[i], (at - x[i]) / h[i]
        return a * y[i] + b * y[i + 1] + ((a**3 - a) * bend[i] + (b**3 - b) * bend[i + 1]) * h[i] ** 2 / 6

    return value
