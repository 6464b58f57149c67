"""The [coil] table: what was wound and which capacitor it swings with."""

from dataclasses import dataclass

from .tables import choice, number, text, whole

LAYOUTS = ("bundle", "layer", "spiral")


@dataclass(frozen=True, slots=True, kw_only=True)
class Coil:
    """A circular search coil and its capacitor."""

    diameter_mm: float = number(10, 1000, 180.0)  # mean diameter of the winding
    turns: int = whole(1, 400, 60)
    wire: str = text("26 AWG")  # "26 AWG" or "0.4 mm", bare
    layout: str = choice(LAYOUTS, "bundle")  # scramble-wound; one layer along the axis; one flat layer
    pitch_mm: float | None = number(0.02, 20, None)  # distance of neighbouring turns; None: wire side by side
    capacitor_nf: float = number(0.1, 100_000, 27.0)
