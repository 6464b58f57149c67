"""Garden-like scenes by the number: isolated passes over common objects, at random speeds, depths and attitudes."""

from dataclasses import replace

import numpy as np

from coilcount.schema.tables import read_table
from coilcount.simulate.scene import Ground, Oscillator, Scene, Supply, Sweep, Target, Weather

# (what the label says, shape, metal, sizes in mm, lying or standing as found: tilt range in degrees)
OBJECTS = (
    ("coin 24 mm", "disc", "copper", {"diameter_mm": 24.0, "thickness_mm": 1.75}, (0, 35)),
    ("coin 24 mm", "disc", "cupronickel", {"diameter_mm": 24.0, "thickness_mm": 1.75}, (0, 35)),
    ("coin 20 mm", "disc", "brass", {"diameter_mm": 20.0, "thickness_mm": 1.6}, (0, 35)),
    ("ring 20 mm", "ring", "gold-alloy", {"diameter_mm": 20.0, "thickness_mm": 2.0}, (0, 45)),
    ("foil 40 mm", "disc", "aluminium", {"diameter_mm": 40.0, "thickness_mm": 0.015}, (0, 45)),
    ("ball 12 mm", "ball", "lead", {"diameter_mm": 12.0}, (0, 0)),
    ("nail 75 mm", "rod", "steel", {"diameter_mm": 3.5, "length_mm": 75.0}, (45, 90)),
    ("nail 100 mm", "rod", "steel", {"diameter_mm": 4.0, "length_mm": 100.0}, (45, 90)),
    ("bolt 60 mm", "rod", "steel", {"diameter_mm": 10.0, "length_mm": 60.0}, (45, 90)),
    ("ball 20 mm", "ball", "steel", {"diameter_mm": 20.0}, (0, 0)),
)
FIRST_S = 6.0  # the tracker's boxes fill before


def garden_scene(seed: int, duration_s: float = 120.0, passes_a_minute: float = 15.0) -> Scene:
    """A scene of its own for each seed, on moderate soil, with an oscillator between careful and typical.

    The coil is that of [coil]'s defaults: 18 cm, 60 turns, 25 kHz.  Speeds 0.3 to 1.2 m/s, depths 4 to 20 cm, all
    passes isolated (at least 2.5 s apart).
    """
    rng = np.random.default_rng([seed, 77])
    base = read_table(Scene, {"schema": 1, "duration_s": duration_s, "seed": seed}, "garden")
    spacing_s = 60 / passes_a_minute
    if spacing_s < 3.5:
        raise ValueError("more than 17 passes a minute are not isolated")
    targets = []
    at_s = FIRST_S
    while at_s < duration_s - 3:
        targets.append(_target(rng, round(at_s, 3)))
        at_s += spacing_s + rng.uniform(-0.5, 0.5)
    return replace(
        base,
        title=f"Garden {seed}",
        oscillator=replace(Oscillator(), h0=5e-15, h_minus1=2e-13, h_minus2=3e-15),
        sweep=replace(Sweep(), height_cm=3.0),
        ground=replace(Ground(), chi=3e-4, variation=0.15, patch_m=1.0, wobble_cm=0.3, wobble_high_hz=1.5),
        weather=replace(Weather(), warm_up_k=2.0, warm_up_s=200.0, swing_k=0.1),
        supply=replace(Supply(), sag_v_per_min=0.002, ripple_mv=2.0),
        target=tuple(targets),
    )


def _target(rng: np.random.Generator, at_s: float) -> Target:
    name, shape, metal, sizes, tilts = OBJECTS[rng.integers(len(OBJECTS))]
    return Target(
        object=name,
        shape=shape,
        metal=metal,
        **{"thickness_mm": None, "length_mm": None, **sizes},
        depth_cm=round(float(rng.uniform(4, 20)), 1),
        offset_cm=round(float(rng.uniform(-4, 4)), 1),
        ahead_cm=0.0,
        tilt_deg=round(float(rng.uniform(*tilts)), 1),
        turn_deg=round(float(rng.uniform(-180, 180)), 1),
        at_s=(at_s,),
        speed_m_s=round(float(rng.uniform(0.3, 1.2)), 2),
        dwell_s=0.0,
    )
