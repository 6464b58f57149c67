"""A winding as a set of rings, one for each turn, with its own radius and height.

The turns of an oval or rectangular coil have an outline as well; their rings enclose the same area.
"""

from dataclasses import dataclass
from functools import lru_cache
from math import ceil, pi, sqrt

import numpy as np
from numpy.typing import NDArray

from coilcount.physics.outline import SHAPES, Outline
from coilcount.physics.wire import ENAMEL, Wire

LAYOUTS = ("bundle", "loose", "flat", "solenoid")
# Pitch (distance of neighbouring turns) over the bare wire diameter, used if no pitch is given.  It allows for enamel,
# and for air in a loose hand-wound bundle.  Engineering estimates: measure your coil if the inductance matters.
PITCH_PER_DIAMETER = {"bundle": 1.11, "loose": 1.5, "flat": 1.11, "solenoid": 1.11}
STRANDED_PITCH = 1.05  # the same for a stranded wire, over the diameter of its bundle, which holds the enamel already
_KEPT = 128  # windings that are kept for the next call: a plan asks for the same ones again; chosen by hand


@dataclass(frozen=True, eq=False)
class Winding:
    """Turns as rings.  r_m, z_m: shape (turns,), radius and height of each turn from the coil's centre.

    wire_diameter_m: bare, or of the bundle of a stranded wire; outline: of an oval or rectangle, with the distance
    out_m, shape (turns,), of each turn from it; None for a circle.
    """

    r_m: NDArray
    z_m: NDArray
    wire_diameter_m: float
    wire: Wire | None = None
    outline: Outline | None = None
    out_m: NDArray | None = None

    @property
    def turns(self) -> int:
        return len(self.r_m)

    @property
    def strands(self) -> Wire:
        """The wire with its strands; a single one if nothing else is known."""
        return Wire(self.wire_diameter_m) if self.wire is None else self.wire

    @property
    def mean_radius_m(self) -> float:
        return float(self.r_m.mean())

    @property
    def length_radius_m(self) -> NDArray:
        """Radius in m of the circles that are as long as the turns, shape (turns,)."""
        return self.r_m if self.outline is None else self.outline.perimeter_m(self.out_m) / (2 * pi)

    @property
    def section_m(self) -> float:
        """The larger of the winding's width and height, including the bare wire."""
        across = self.r_m if self.outline is None else self.out_m
        return float(max(np.ptp(across), np.ptp(self.z_m)) + self.wire_diameter_m)

    @property
    def wire_length_m(self) -> float:
        return float(2 * pi * self.length_radius_m.sum())


def usual_pitch_m(wire: Wire, layout: str) -> float:
    """The distance in m of neighbouring turns if no pitch is given."""
    if wire.strands == 1:
        return PITCH_PER_DIAMETER[layout] * wire.diameter_m
    return STRANDED_PITCH * PITCH_PER_DIAMETER[layout] / PITCH_PER_DIAMETER["bundle"] * wire.diameter_m


@lru_cache(maxsize=_KEPT)
def make_winding(
    diameter_m: float,
    turns: int,
    wire_diameter_m: float | Wire,
    layout: str = "bundle",
    pitch_m: float | None = None,
    *,
    inner_diameter_m: float | None = None,
    shape: str = "circle",
    width_m: float | None = None,
) -> Winding:
    """Make a winding of the given mean diameter.

    layout: "bundle", a tight round bundle; "loose", the same with air between the turns; "flat", one spiral layer in
    a plane; "solenoid", one layer along the axis.
    pitch_m: distance between the centres of neighbouring turns; None: the usual one, `usual_pitch_m`.
    inner_diameter_m: of the former that the innermost turns touch; if it is given, it replaces diameter_m.
    shape: "circle", "oval" (an ellipse) or "rectangle"; for the last two diameter_m is the mean length, and width_m
    the mean width; None: as wide as long.
    The same arguments give the same object, whose arrays must not be changed.
    Raises ValueError if such a coil cannot be wound.
    """
    if layout not in LAYOUTS:
        raise ValueError(f'no layout "{layout}": known are {", ".join(LAYOUTS)}')
    if shape not in SHAPES:
        raise ValueError(f'no shape "{shape}": known are {", ".join(SHAPES)}')
    if turns < 1 or turns != int(turns):
        raise ValueError("a coil needs a whole number of turns, at least one")
    wire = wire_diameter_m if isinstance(wire_diameter_m, Wire) else None
    wire_m = wire.diameter_m if wire else wire_diameter_m
    if not wire_m > 0 or not diameter_m > 0 or (inner_diameter_m is not None and not inner_diameter_m > 0):
        raise ValueError("diameters must be positive")
    pitch = usual_pitch_m(wire or Wire(wire_m), layout) if pitch_m is None else pitch_m
    if pitch < wire_m:
        raise ValueError(f"a pitch of {pitch * 1e3:g} mm is less than the wire's {wire_m * 1e3:g} mm")
    radial, axial = _places(int(turns), layout)
    out, z = pitch * radial, pitch * axial
    mean = diameter_m / 2
    if inner_diameter_m is not None:
        enamelled_m = wire_m if wire and wire.strands > 1 else ENAMEL * wire_m
        mean = inner_diameter_m / 2 - out.min() + min(pitch, enamelled_m) / 2
    r, outline = mean + out, None
    narrowest = r.min()
    if shape != "circle":
        outline = Outline(shape, mean, mean if width_m is None else width_m / 2)
        narrowest = outline.room_m() + out.min()
    if outline is not None and narrowest <= wire_m:
        raise ValueError(
            f"{turns} turns at a pitch of {pitch * 1e3:g} mm do not fit the inside of this {shape}: it is too narrow"
        )
    if narrowest <= wire_m:
        raise ValueError(f"{turns} turns at a pitch of {pitch * 1e3:g} mm do not fit a diameter of {diameter_m:g} m")
    if outline is not None:
        r = np.sqrt(outline.area_m2(out) / pi)
    return Winding(r, z, wire_m, wire, outline, None if outline is None else out)


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
    slices = _slices(winding, most)
    r, z = (np.array([position[part].mean() for part in slices]) for position in (winding.r_m, winding.z_m))
    return r, z, np.array([len(part) for part in slices])


def outline_filaments(winding: Winding, most: int = 6) -> tuple[NDArray, NDArray, NDArray]:
    """Return `filaments` with the distance from the outline in place of the radius; only with an outline."""
    slices = _slices(winding, most)
    out, z = (np.array([position[part].mean() for part in slices]) for position in (winding.out_m, winding.z_m))
    return out, z, np.array([len(part) for part in slices])


def _slices(winding: Winding, most: int) -> list[NDArray]:
    along = winding.r_m if np.ptp(winding.r_m) > np.ptp(winding.z_m) else winding.z_m
    return np.array_split(np.argsort(along, kind="stable"), min(most, winding.turns))
