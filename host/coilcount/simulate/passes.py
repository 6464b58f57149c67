"""The passes of a scene: when and how the coil moves over each object."""

from dataclasses import dataclass

import numpy as np

from coilcount.simulate.scene import Scene, Target

# A pass reaches to this many times the object's distance (or the coil's radius).  The shift falls with the sixth power
# of the distance, so it is then below 1e-4 of its peak.
REACH = 6.0


@dataclass(frozen=True, slots=True)
class Pass:
    """One movement of the coil over one object.  direction: +1 or -1 along the path."""

    target: Target
    at_s: float
    direction: int
    speed_m_s: float
    start_s: float
    end_s: float

    def along_m(self, t: np.ndarray) -> np.ndarray:
        """Compute how far the object lies ahead of the coil's centre at times t, in m along the path."""
        half = self.target.dwell_s / 2
        since = t - self.at_s
        moving = np.sign(since) * np.maximum(np.abs(since) - half, 0)
        return self.target.ahead_cm / 100 - self.direction * self.speed_m_s * moving

    @property
    def closest_s(self) -> float:
        """The time of closest approach."""
        shift_s = self.direction * self.target.ahead_cm / 100 / self.speed_m_s
        return self.at_s + shift_s + np.sign(shift_s) * self.target.dwell_s / 2


def passes_of(scene: Scene) -> list[Pass]:
    """List all passes of a scene in order of time."""
    found = []
    for target in scene.target:
        speed = target.speed_m_s or scene.sweep.speed_m_s
        distance_m = (scene.sweep.height_cm + target.depth_cm) / 100
        reach_m = REACH * max(distance_m, scene.coil.diameter_mm / 2000) + abs(target.ahead_cm) / 100
        reach_s = reach_m / speed + target.dwell_s / 2
        for i, at_s in enumerate(target.at_s):
            found.append(Pass(target, at_s, -1 if i % 2 else 1, speed, at_s - reach_s, at_s + reach_s))
    return sorted(found, key=lambda a_pass: a_pass.at_s)
