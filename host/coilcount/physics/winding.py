"""A circular winding as a set of coaxial rings: one ring for each turn, with its own radius and height."""

from dataclasses import dataclass
from math import ceil, pi, sqrt

import numpy as np
from numpy.typing import NDArray

LAYOUTS = ("bundle", "loose", "flat", "solenoid")
# Pitch (distance of neighbouring turns) over the bare wire diameter, used if no pitch is given.  It allows for enamel,
# and for air in a loose hand-wound bundle.  Engineering estimates: measure your coil if the inductance matters.
PITCH_PER_DIAMETER = {"bundle": 1.11, "loose": 1.5, "flat": 1.11, "solenoid": 1.11}


@dataclass(frozen=True, eq=False)
class Winding:
    """Turns as rings.  r_m, z_m: shape (turns,), radius and height of each turn from the coil's centre."""

    r_m: NDArray
    z_m: NDArray
    wire_diameter_m: float

    @property
    def turns(self) -> int:
        return len(self.r_m)

    @property
    def mean_radius_m(self) -> float:
        return float(self.r_m.mean())

    @property
    def section_m(self) -> float:
        """The larger of the winding's width and height, including the bare wire."""
        return float(max(np.ptp(self.r_m), np.ptp(self.z_m)) + self.wire_diameter_m)

    @property
    def wire_length_m(self) -> float:
        return float(2 * pi * self.r_m.sum())


def make_winding(
    diameter_m: float, turns: int, wire_diameter_m: float, layout: str = "bundle", pitch_m: float | None = None
) -> Winding:
    """Make a winding of the given mean diameter.

    layout: "bundle", a tight round bundle; "loose", the same with air between the turns; "flat", one spiral layer in
    a plane; "solenoid", one layer along the axis.
    pitch_m: distance between the centres of neighbouring turns; None: the usual one, `PITCH_PER_DIAMETER`.
    Raises ValueError if such a coil cannot be wound.
    """
    if layout not in LAYOUTS:
        raise ValueError(f'no layout "{layout}": known are {", ".join(LAYOUTS)}')
    if turns < 1 or turns != int(turns):
        raise ValueError("a coil needs a whole number of turns, at least one")
    if not wire_diameter_m > 0 or not diameter_m > 0:
        raise ValueError("diameters must be positive")
    pitch = PITCH_PER_DIAMETER[layout] * wire_diameter_m if pitch_m is None else pitch_m
    if pitch < wire_diameter_m:
        raise ValueError(f"a pitch of {pitch * 1e3:g} mm is less than the wire's {wire_diameter_m * 1e3:g} mm")
    radial, axial = _places(int(turns), layout)
    r = diameter_m / 2 + pitch * radial
    z = pitch * axial
    if r.min() <= wire_diameter_m:
        raise ValueError(f"{turns} turns at a pitch of {pitch * 1e3:g} mm do not fit a diameter of {diameter_m:g} m")
    return Winding(r, z, wire_diameter_m)


def _places(turns: int, layout: str) -> tuple[NDArray, NDArray]:
    """Radial and axial positions of the turns from their mean, in units of the pitch."""
    line = np.arange(turns) - (turns - 1) / 2
    if layout in ("flat", "solenoid"):
        return (line, 0 * line) if layout == "flat" else (0 * line, line)
    # Piled round wire forms a hexagonal lattice, and a tight bundle is round: take the lattice points nearest to 0.
    reach = np.arange(-ceil(sqrt(turns)) - 1, ceil(sqrt(turns)) + 2)
    i, j = (grid.ravel() for grid in np.meshgrid(reach, reach))
    radial, axial = j * sqrt(3) / 2, i + j / 2
    nearest = np.lexsort((axial, radial, np.round(np.hypot(radial, axial), 9)))[:turns]
    radial, axial = radial[nearest], axial[nearest]
    return radial - radial.mean(), axial - axial.mean()


def filaments(winding: Winding, most: int = 6) -> tuple[NDArray, NDArray, NDArray]:
    """Replace the turns by at most `most` filaments, which is faster and good enough at some distance.

    Returns (r_m, z_m, turns in each filament).  Neighbouring turns along the longer side of the winding are averaged;
    the error of the field is of order (slice / distance)^2.
    """
    along = winding.r_m if np.ptp(winding.r_m) > np.ptp(winding.z_m) else winding.z_m
    slices = np.array_split(np.argsort(along, kind="stable"), min(most, winding.turns))
    r, z = (np.array([position[part].mean() for part in slices]) for position in (winding.r_m, winding.z_m))
    return r, z, np.array([len(part) for part in slices])
