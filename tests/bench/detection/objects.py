"""The objects of the benchmark: one list for choosing constants, another for the reported figures.

The sizes are chosen by hand.  Diameters are in mm.  Depths are in cm from the surface of the soil to the centre of the
object.  The coil is 3 cm above the surface.
"""

from dataclasses import dataclass


@dataclass(frozen=True)
class Thing:
    """An object without its place and time.  shallow_cm, deep_cm: range of depth; least_tilt, most_tilt: in degrees."""

    name: str
    shape: str
    metal: str
    diameter_mm: float
    thickness_mm: float | None = None
    length_mm: float | None = None
    shallow_cm: float = 2.0
    deep_cm: float = 16.0
    least_tilt: float = 0.0
    most_tilt: float = 25.0


def disc(name, metal, diameter, thickness, shallow=2.0, deep=16.0, most_tilt=25.0):
    return Thing(name, "disc", metal, diameter, thickness, None, shallow, deep, 0.0, most_tilt)


def rod(name, diameter, length, deep, least_tilt, most_tilt):
    return Thing(name, "rod", "steel", diameter, None, length, 3.0, deep, least_tilt, most_tilt)


def flat_iron(name, diameter, thickness, deep=13.0, most_tilt=60.0):
    return Thing(name, "flat-iron", "steel", diameter, thickness, None, 2.0, deep, 0.0, most_tilt)


TEST = (
    disc("copper coin 24 mm", "copper", 24, 1.75, 2, 18),
    disc("cupronickel coin 21 mm", "cupronickel", 21, 1.7, 2, 16),
    disc("silver coin 19 mm", "silver", 19, 1.2, 2, 15),
    Thing("gold ring 20 mm", "ring", "gold-alloy", 20, 2.0, None, 2, 16),
    Thing("aluminium ring 22 mm", "ring", "aluminium", 22, 1.5, None, 2, 16, 0, 40),
    disc("brass button 16 mm", "brass", 16, 1.2, 2, 12),
    Thing("lead ball 12 mm", "ball", "lead", 12, None, None, 2, 11),
    disc("foil 30 mm", "aluminium", 30, 0.02, 2, 15, 40),
    Thing("steel ball 12 mm", "ball", "steel", 12, None, None, 2, 13),
    rod("nail 70 mm, lying", 3, 70, 13, 75, 90),
    rod("nail 60 mm, upright", 3, 60, 16, 0, 30),
    rod("bolt 50 mm", 8, 50, 16, 40, 90),
)
TUNING = (
    disc("copper coin 22 mm", "copper", 22, 1.6, 2, 17),
    disc("cupronickel coin 25 mm", "cupronickel", 25, 1.9, 2, 18),
    disc("bronze coin 18 mm", "bronze", 18, 1.4, 2, 14),
    Thing("gold ring 18 mm", "ring", "gold-alloy", 18, 1.6, None, 2, 14),
    Thing("brass ring 25 mm", "ring", "brass", 25, 2.0, None, 2, 17, 0, 40),
    disc("zinc disc 14 mm", "zinc", 14, 1.0, 2, 11),
    Thing("lead ball 15 mm", "ball", "lead", 15, None, None, 2, 13),
    disc("foil 25 mm", "aluminium", 25, 0.03, 2, 14, 40),
    Thing("steel ball 9 mm", "ball", "steel", 9, None, None, 2, 11),
    rod("nail 50 mm, lying", 2.5, 50, 11, 75, 90),
    rod("nail 80 mm, upright", 3.5, 80, 18, 0, 30),
    rod("bolt 40 mm", 6, 40, 14, 40, 90),
)

DEEP_TEST = (
    disc("copper coin 24 mm", "copper", 24, 1.75, 9, 20),
    disc("silver coin 28 mm", "silver", 28, 1.8, 9, 22),
    disc("cupronickel coin 24 mm", "cupronickel", 24, 1.8, 9, 20),
)
DEEP_TUNING = (
    disc("copper coin 21 mm", "copper", 21, 1.7, 9, 18),
    disc("bronze coin 30 mm", "bronze", 30, 2.0, 9, 22),
    disc("brass coin 25 mm", "brass", 25, 1.8, 9, 20),
)

SMALL_TEST = (
    disc("foil 15 mm", "aluminium", 15, 0.02, 1, 8, 40),
    disc("foil 20 mm", "aluminium", 20, 0.015, 1, 9, 40),
    Thing("gold ring 12 mm", "ring", "gold-alloy", 12, 1.2, None, 1, 8),
    Thing("lead ball 6 mm", "ball", "lead", 6, None, None, 1, 5),
)
SMALL_TUNING = (
    disc("foil 17 mm", "aluminium", 17, 0.02, 1, 8, 40),
    disc("brass disc 9 mm", "brass", 9, 0.8, 1, 6),
    Thing("silver ring 14 mm", "ring", "silver", 14, 1.0, None, 1, 9),
    Thing("lead ball 8 mm", "ball", "lead", 8, None, None, 1, 6),
)

# Flat iron at any tilt up to 60 degrees.  A steel-core coin and a washer are modelled as discs of iron.
IRON_TEST = (
    flat_iron("crown cap", 30, 0.24),
    flat_iron("lid 70 mm", 70, 0.2, 20),
    flat_iron("washer 25 mm", 25, 1.5),
    flat_iron("plate 100 mm", 100, 2.0, 25),
    flat_iron("steel-core coin 20 mm", 20, 1.65, 8),
)
IRON_TUNING = (
    flat_iron("crown cap 27 mm", 27, 0.22),
    flat_iron("lid 55 mm", 55, 0.25, 18),
    flat_iron("washer 30 mm", 30, 2.5),
    flat_iron("plate 80 mm", 80, 1.5, 22),
    flat_iron("steel-core coin 22 mm", 22, 1.7, 8),
)
