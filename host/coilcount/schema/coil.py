"""The [coil] table: the winding, its capacitor, its cable and its shield."""

from dataclasses import dataclass
from typing import Any

from .tables import choice, flag, number, text, whole

# The same words as in coilcount.physics.  They are repeated so that reading a file does not load the physics; a test
# compares them.
LAYOUTS = ("bundle", "loose", "flat", "solenoid")
SHAPES = ("circle", "oval", "rectangle")
FORMERS = ("copper", "wood", "glass-fibre", "plastic")
DIELECTRICS = ("C0G", "polypropylene", "polyester")
SHIELDS = ("none", "copper", "aluminium", "graphite")
# Gain of the oscillator over the least gain that sustains the oscillation.  Chosen by hand: just above start.
USUAL_LOOP_GAIN = 1.5
# H/m.  Inductance of 50 ohm coaxial cable, out and back: the impedance squared times 100 pF/m.
CABLE_H_M = 0.25e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Coil:
    """A search coil and its capacitor.  The defaults and the limits are chosen by hand unless a comment says more."""

    shape: str = choice(SHAPES, "circle")
    diameter_mm: float = number(10, 1000, 180.0)  # mean diameter of the winding; of an oval or rectangle, its length
    width_mm: float | None = number(10, 1000, None)  # mean width of an oval or rectangle; None: as long as wide
    inner_diameter_mm: float | None = number(5, 1000, None)  # of the former under the winding; replaces diameter_mm
    turns: int = whole(1, 400, 60)
    wire: str = text("26 AWG")  # bare: "26 AWG", "0.4 mm", or "20x0.1mm" for 20 strands
    layout: str = choice(LAYOUTS, "bundle")
    pitch_mm: float | None = number(0.02, 20, None)  # distance of neighbouring turns; None: as the layout gives it
    capacitor_nf: float = number(0.1, 100_000, 23.5)
    former: str = choice(FORMERS, "glass-fibre")  # the material that holds the winding; it sets the thermal expansion
    dielectric: str = choice(DIELECTRICS, "C0G")  # of the capacitor; it sets temperature coefficient and loss
    centre_tap: bool = flag(False)
    groove_mm: float | None = number(0.1, 200, None)  # width and depth of the winding's room; None: as it needs
    inductance_uh: float | None = number(0.1, 1e6, None)  # measured; None: computed from the turns
    own_capacitance_pf: float | None = number(0, 1e5, None)  # measured, of the winding alone; None: estimated
    cable_m: float = number(0, 50, 0.0)  # length of the cable between coil and oscillator
    cable_pf_m: float = number(1, 1000, 100.0)  # of 50 ohm coaxial cable 100 pF/m, from memory
    cable_ohm_m: float = number(0, 10, 0.1)  # out and back; thin coaxial cable, from memory
    capacitor_in_head: bool = flag(True)  # the capacitor sits at the coil, not at the far end of the cable
    shield: str = choice(SHIELDS, "none")  # slotted foil or paint around the winding
    shield_gap_mm: float = number(0.1, 100, 5.0)  # between winding and shield
    shield_um: float = number(0.1, 1000, 50.0)  # thickness of the shield

    def __post_init__(self) -> None:
        if self.width_mm is not None and self.shape == "circle":
            raise ValueError('"width_mm" needs the shape "oval" or "rectangle"')
        if self.inner_diameter_mm is not None and self.shape != "circle":
            raise ValueError('"inner_diameter_mm" is for a circle; give the mean "diameter_mm" and "width_mm"')
        if self.width_mm is not None and self.width_mm > self.diameter_mm:
            raise ValueError('"width_mm" must not be more than the length, "diameter_mm"')

    def si(self) -> dict[str, Any]:
        """The arguments of coilcount.physics.tank.make_tank, in SI units."""
        return {
            "diameter_m": self.diameter_mm / 1000,
            "width_m": _scaled(self.width_mm, 1e-3),
            "inner_diameter_m": _scaled(self.inner_diameter_mm, 1e-3),
            "shape": self.shape,
            "turns": self.turns,
            "wire": self.wire,
            "layout": self.layout,
            "pitch_m": _scaled(self.pitch_mm, 1e-3),
            "capacitance_f": self.capacitor_nf * 1e-9,
            "dielectric": self.dielectric,
            "inductance_h": _scaled(self.inductance_uh, 1e-6),
            "groove_m": _scaled(self.groove_mm, 1e-3),
            "own_capacitance_f": _scaled(self.own_capacitance_pf, 1e-12),
            "cable_f": self.cable_m * self.cable_pf_m * 1e-12,
            "cable_ohm": 0.0 if self.capacitor_in_head else self.cable_m * self.cable_ohm_m,
            "cable_h": 0.0 if self.capacitor_in_head else self.cable_m * CABLE_H_M,
            "shield": self.shield,
            "shield_gap_m": self.shield_gap_mm / 1000,
            "shield_m": self.shield_um * 1e-6,
        }


def _scaled(value: float | None, factor: float) -> float | None:
    return None if value is None else value * factor
