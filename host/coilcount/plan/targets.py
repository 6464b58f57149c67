"""Shift, loss and phase of each target against its distance, and the greatest depth at which it can be found."""

from collections.abc import Iterator
from math import pi
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from coilcount.physics.bodies import FERROMAGNETIC, Body, coaxial_response
from coilcount.physics.tank import Tank

# The response is computed at these distances (in coil radii) and interpolated between them.  It is smooth after
# division by the sixth power of the far field.
NODES = np.geomspace(0.15, 20, 11)
GRID = np.geomspace(NODES[0], NODES[-1], 400)
TABLE_CM = (1.0, 2.0, 3.0, 5.0, 8.0, 10.0, 15.0, 20.0, 30.0, 40.0)


class Response:
    """The response of one body in one attitude, centred under the coil, against the distance to its surface."""

    def __init__(self, tank: Tank, body: Body, attitude: str) -> None:
        self._tank = tank
        self._radius = tank.winding.mean_radius_m
        self._to_centre = body.to_centre_m(attitude)
        nodes = NODES * self._radius
        d_l, d_r, self.model = coaxial_response(body, attitude, tank.winding, nodes, tank.frequency_hz)
        scale = self._fall(nodes)
        self._d_l, self._d_r = (CubicSpline(np.log(nodes), change / scale) for change in (d_l, d_r))

    def _fall(self, distance_m: NDArray) -> NDArray:
        return (self._radius**2 + (distance_m + self._to_centre) ** 2) ** -3

    def at(self, distance_m: NDArray) -> tuple[NDArray, NDArray]:
        """Compute (d_l_h, d_r_ohm) at distances between the first and the last node."""
        log_distance, scale = np.log(distance_m), self._fall(distance_m)
        return self._d_l(log_distance) * scale, self._d_r(log_distance) * scale

    def shift(self, distance_m: NDArray) -> NDArray:
        """Compute the relative frequency shift at these distances."""
        return self._tank.shift(*self.at(distance_m))

    def depth_m(self, threshold: float) -> float | None:
        """Find the greatest distance in m at which |df/f| reaches the threshold, at most that of the last node.

        None if it is never reached.
        """
        distance = GRID * self._radius
        size = np.abs(self.shift(distance))
        above = np.flatnonzero(size >= threshold)
        if not len(above):
            return None
        last = int(above[-1])
        if last == len(size) - 1:
            return float(distance[-1])
        share = np.log(size[last] / threshold) / np.log(size[last] / size[last + 1])
        return float(distance[last] * (distance[last + 1] / distance[last]) ** share)


def rows(
    tank: Tank, bodies: dict[str, Body], thresholds: dict[str, float], depth_m: float, curves: bool
) -> Iterator[dict[str, Any]]:
    """Make a row for each object and attitude.

    thresholds: relative shifts by name; the row gives the greatest depths in cm under the same names.
    curves: whether a fine curve for the picture is wanted.

    In a row: at_depth is [Hz, ppm, loss_ppm, phase_deg] at depth_m.  phase_deg is that of the magnetic moment against
    the field: 0 pure magnetisation, 90 pure loss, 180 a perfect conductor.  loss_ppm is the relative loss of amplitude
    of a current-limited oscillator.  model and note say how the figures are computed and how far off they may be.
    """
    lowest, highest = NODES[0] * tank.winding.mean_radius_m, NODES[-1] * tank.winding.mean_radius_m
    distance = np.array([depth_m] + [cm / 100 for cm in TABLE_CM if lowest <= cm / 100 <= highest])
    w, f = 2 * pi * tank.frequency_hz, tank.frequency_hz
    for name, body in bodies.items():
        for attitude in body.attitudes():
            response = Response(tank, body, attitude)
            d_l, d_r = response.at(distance)
            shift = tank.shift(d_l, d_r)
            loss, phase = d_r / tank.resistance_ohm * 1e6, np.degrees(np.arctan2(d_r / w, d_l))
            depths = {key: response.depth_m(level) for key, level in thresholds.items()}
            row = {
                "object": name,
                "attitude": attitude,
                "iron": body.mu_r > FERROMAGNETIC,
                "model": response.model,
                "note": body.note(attitude),
                "at_depth": [float(value) for value in (shift[0] * f, shift[0] * 1e6, loss[0], phase[0])],
                "distance_cm": (distance[1:] * 100).tolist(),
                "shift_hz": (shift[1:] * f).tolist(),
                "shift_ppm": (shift[1:] * 1e6).tolist(),
                "d_l_nh": (d_l[1:] * 1e9).tolist(),
                "d_r_mohm": (d_r[1:] * 1e3).tolist(),
                "loss_ppm": loss[1:].tolist(),
                "phase_deg": phase[1:].tolist(),
                "depth_cm": {key: None if depth is None else depth * 100 for key, depth in depths.items()},
            }
            if curves:
                fine = GRID[::4] * tank.winding.mean_radius_m
                row["curve"] = {
                    "distance_cm": (fine * 100).tolist(),
                    "shift_hz": (response.shift(fine) * f).tolist(),
                }
            yield row
