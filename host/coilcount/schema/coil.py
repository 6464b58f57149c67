"""The [coil] table: the winding and its capacitor."""

from dataclasses import dataclass
from typing import Any

from .tables import choice, flag, number, text, whole

# The same words as in coilcount.physics.  They are repeated so that reading a file does not load the physics; a test
# compares them.
LAYOUTS = ("bundle", "loose", "flat", "solenoid")
FORMERS = ("copper", "wood", "glass-fibre", "plastic")
DIELECTRICS = ("C0G", "polypropylene", "polyester")


@dataclass(frozen=True, slots=True, kw_only=True)
class Coil:
    """A circular search coil and its capacitor.  The defaults are chosen by hand, and so are the limits."""

    diameter_mm: float = number(10, 1000, 180.0)  # mean diameter of the winding
    turns: int = whole(1, 400, 60)
    wire: str = text("26 AWG")  # "26 AWG" or "0.4 mm", bare
    layout: str = choice(LAYOUTS, "bundle")
    pitch_mm: float | None = number(0.02, 20, None)  # distance of neighbouring turns; None: as the layout gives it
    capacitor_nf: float = number(0.1, 100_000, 23.5)
    former: str = choice(FORMERS, "glass-fibre")  # the material that holds the winding; it sets the thermal expansion
    dielectric: str = choice(DIELECTRICS, "C0G")  # of the capacitor; it sets the temperature coefficient
    centre_tap: bool = flag(False)
    groove_mm: float | None = number(0.1, 200, None)  # width and depth of the winding's room; None: as it needs
    inductance_uh: float | None = number(0.1, 1e6, None)  # measured; None: computed from the turns

    def si(self) -> dict[str, Any]:
        """The arguments of coilcount.physics.tank.make_tank, in SI units."""
        return {
            "diameter_m": self.diameter_mm / 1000,
            "turns": self.turns,
            "wire": self.wire,
            "layout": self.layout,
            "pitch_m": None if self.pitch_mm is None else self.pitch_mm / 1000,
            "capacitance_f": self.capacitor_nf * 1e-9,
            "inductance_h": None if self.inductance_uh is None else self.inductance_uh * 1e-6,
            "groove_m": None if self.groove_mm is None else self.groove_mm / 1000,
        }
