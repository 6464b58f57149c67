"""How an object beside the coil's axis, and a tilted coil, change the shift."""

from math import cos, radians, sin
from typing import Any

import numpy as np

from coilcount.physics.field_vector import field_vector
from coilcount.physics.tank import Tank
from coilcount.schema.plan import PlanFile


def offset_section(plan: PlanFile, tank: Tank, under_cm: float) -> dict[str, Any]:
    """Compute the shift of small objects at plan.offset_cm and plan.tilt_deg, over that of a centred level coil.

    The object lies under_cm below the middle of the coil, and offset_cm to its side.  The coil is tilted about
    its middle: the side over the object is the lower one, so below the coil its axis leans away from the object.
    By reciprocity the shift is proportional to the square of the field along the object's axis (flat disc: vertical;
    rod: lying, pointing at the coil's axis), or of the whole field (ball).  The lying rod is compared with a ball of
    the same response, centred.
    """
    depth, offset, tilt = under_cm / 100, plan.offset_cm / 100, radians(plan.tilt_deg)
    centred = float(np.sum(field_vector(tank.winding, [0.0, 0.0, -depth]) ** 2))
    # The object's place in the coil's frame, whose axis points up and leans to the object's side.
    x, z = offset * cos(tilt) + depth * sin(tilt), offset * sin(tilt) - depth * cos(tilt)
    h = field_vector(tank.winding, [x, 0.0, z])
    vertical, level = h[2] * cos(tilt) - h[0] * sin(tilt), h[0] * cos(tilt) + h[2] * sin(tilt)
    return {
        "offset_cm": plan.offset_cm,
        "tilt_deg": plan.tilt_deg,
        "under_coil_cm": under_cm,
        "flat": float(vertical**2) / centred,
        "ball": float(h @ h) / centred,
        "lying_rod": float(level**2) / centred,
    }
