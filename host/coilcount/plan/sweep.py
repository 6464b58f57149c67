"""The best coil size for a depth, the duration of a pass, and the board and tracker settings that follow from it."""

from dataclasses import replace
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize_scalar

from coilcount import settings
from coilcount.model.plan import BestDiameter, PassFigures, SweepFigures
from coilcount.physics.coil import inductance
from coilcount.physics.field import mean_radius_field
from coilcount.physics.winding import Winding, make_winding
from coilcount.physics.wire import parse_wire
from coilcount.plan.pass_width import pass_width_m
from coilcount.schema.coil import Coil
from coilcount.schema.plan import PlanFile

INTERVALS_MS = (5, 10, 20, 25, 40, 50, 100)  # intervals of the board to choose from
READINGS_IN_A_PASS = 6  # least number of readings in the shortest pass; chosen by hand
WIDTHS = 4  # number of the tracker's widths
SMALLEST_M, LARGEST_M = 0.03, 1.5  # diameters between which the best one is searched


def sensitivity(winding: Winding, depth_m: float) -> float:
    """Compute h^2/L on the axis.  At one frequency the shift by a small object is proportional to it."""
    _, h_z = mean_radius_field(winding, 0.0, depth_m)
    return float(h_z) ** 2 / inductance(winding)


def best_diameter_m(coil: Coil, depth_m: float) -> float:
    """Find the mean diameter in m that gives the largest shift for a small object at a depth.

    Turns, wire and layout are those of `coil`.
    """
    wire = parse_wire(coil.wire)
    pitch = None if coil.pitch_mm is None else coil.pitch_mm / 1000

    def loss(log_diameter: float) -> float:
        try:
            winding = make_winding(float(np.exp(log_diameter)), coil.turns, wire, coil.layout, pitch)
        except ValueError:  # the turns do not fit such a small diameter
            return 0.0
        return -np.log(sensitivity(winding, depth_m) + 1e-300)

    bounds = (np.log(SMALLEST_M), np.log(LARGEST_M))
    return float(np.exp(minimize_scalar(loss, bounds=bounds, method="bounded", options={"xatol": 2e-3}).x))


def sweep_section(plan: PlanFile, winding: Winding) -> SweepFigures:
    """Compute the best diameters, passes at three depths, and the settings that follow from them.

    Depths are below the surface of the soil; the coil is plan.height_cm above it.
    """
    height_m = plan.height_cm / 100
    wanted_m = height_m + plan.depth_cm / 100  # from the coil's plane
    sizes = []
    for cm in sorted({5.0, 10.0, 15.0, 20.0, 30.0, plan.depth_cm}):
        best = best_diameter_m(plan.coil, height_m + cm / 100)
        sizes.append(BestDiameter(depth_cm=cm, best_diameter_cm=best * 100))
    aimed = next(row.best_diameter_cm for row in sizes if row.depth_cm == plan.depth_cm)
    wire, pitch = parse_wire(plan.coil.wire), plan.coil.pitch_mm
    ideal = make_winding(aimed / 100, plan.coil.turns, wire, plan.coil.layout, pitch and pitch / 1000)
    passes = []
    for depth_cm in (plan.depth_cm / 2, plan.depth_cm, 2 * plan.depth_cm):
        for flat in (True, False):
            width = pass_width_m(winding, height_m + depth_cm / 100, flat)
            passes.append(
                PassFigures(
                    depth_cm=depth_cm,
                    object="flat disc" if flat else "ball",
                    width_cm=width * 100,
                    duration_s=width / plan.speed_m_s,
                )
            )
    durations = [row.duration_s for row in passes]
    return SweepFigures(
        speed_m_s=plan.speed_m_s,
        best_diameter=tuple(sizes),
        gain_of_best=sensitivity(ideal, wanted_m) / sensitivity(winding, wanted_m),
        passes=tuple(passes),
        interval_ms=interval_ms(min(durations)),
        widths_s=tuple(tracker_widths(durations)),
    )


def interval_ms(shortest_s: float) -> int:
    """Choose the longest interval that gives READINGS_IN_A_PASS readings in the shortest pass."""
    fitting = [ms for ms in INTERVALS_MS if ms / 1000 * READINGS_IN_A_PASS <= shortest_s]
    return fitting[-1] if fitting else INTERVALS_MS[0]


def tracker_widths(durations_s: list[float]) -> list[float]:
    """Compute the tracker's widths in s, from the shortest pass to the longest, in equal ratios."""
    low, high = (float(np.clip(duration_s, 0.05, 2.0)) for duration_s in (min(durations_s), max(durations_s)))
    high = min(2.0, max(high, 1.5 * low))
    low = min(low, high / 1.5)
    widths: NDArray = np.geomspace(low, high, WIDTHS)
    return [round(float(width_s), 2) for width_s in widths]


def settings_text(widths_s: tuple[float, ...], interval_ms: int) -> str:
    """Write a settings file with this interval and these widths, and defaults for everything else."""
    usual = settings.defaults()
    tracker = {**usual.tracker, "widths_s": widths_s}
    board = {**usual.board, "interval_ms": interval_ms}
    return replace(usual, tracker=MappingProxyType(tracker), board=MappingProxyType(board)).to_toml()
