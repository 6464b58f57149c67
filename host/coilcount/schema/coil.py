"""The [coil] table: what was wound and which capacitor it swings with."""

from dataclasses import dataclass

from .tables import choice, number, text, whole

# The words of coilcount.physics, written again so that reading a file does not load the physics (a test compares).
LAYOUTS = ("bundle", "loose", "flat", "solenoid")
FORMERS = ("copper", "wood", "glass-fibre", "plastic")
DIELECTRICS = ("C0G", "polypropylene", "polyester")


@dataclass(frozen=True, slots=True, kw_only=True)
class Coil:
    """A circular search coil and its capacitor."""

    diameter_mm: float = number(10, 1000, 180.0)  # mean diameter of the winding
    turns: int = whole(1, 400, 60)
    wire: str = text("26 AWG")  # "26 AWG" or "0.4 mm", bare
    layout: str = choice(LAYOUTS, "bundle")
    pitch_mm: float | None = number(0.02, 20, None)  # distance of neighbouring turns; None: by the layout
    capacitor_nf: float = number(0.1, 100_000, 23.5)
    former: str = choice(FORMERS, "glass-fibre")  # what holds the winding: its expansion
    dielectric: str = choice(DIELECTRICS, "C0G")  # of the capacitor: its temperature coefficient
