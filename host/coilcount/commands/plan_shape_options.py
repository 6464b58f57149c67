"""Options of `coilcount plan` for the coil's shape, cable and shield, and for an object beside its axis."""

import argparse

# Tables as in commands/plan.py: key of the plan file, unit, lowest, highest, an example, factor to the key, help.
COIL_QUANTITIES = {
    "inner-diameter": (
        "inner_diameter_mm", "m", 0.005, 1.0, "10cm", 1e3, "of the former that the winding lies on; replaces --diameter"
    ),
    "width": ("width_mm", "m", 0.01, 1.0, "8cm", 1e3, "mean width of an oval or rectangle; --diameter is its length"),
    "own-capacitance": ("own_capacitance_pf", "F", 0.0, 1e-7, "40pF", 1e12, "of the winding alone, if it was measured"),
    "cable": ("cable_m", "m", 0.0, 50.0, "1.5m", 1.0, "length of the cable between coil and oscillator"),
    "cable-capacitance": ("cable_pf_m", "F/m", 1e-12, 1e-9, "100pF/m", 1e12, "capacitance of this cable per metre"),
    "cable-resistance": ("cable_ohm_m", "ohm/m", 0.0, 10.0, "0.1ohm/m", 1.0, "of this cable, out and back"),
    "shield-gap": ("shield_gap_mm", "m", 1e-4, 0.1, "5mm", 1e3, "distance between winding and shield"),
    "shield-thickness": ("shield_um", "m", 1e-7, 1e-3, "50um", 1e6, "thickness of the shield"),
}  # fmt: skip
PLAN_QUANTITIES = {
    "offset": ("offset_cm", "m", 0.0, 1.0, "3cm", 1e2, "distance of the object from the coil's axis, sideways"),
    "tilt": ("tilt_deg", "deg", 0.0, 60.0, "10deg", 1.0, "of the coil, away from level"),
}
WORDS = ("shape", "shield", "capacitor_in_head")  # options whose value is the value of the coil's key


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options; the quantities are added by commands/plan.py, with its own."""
    from coilcount.schema.coil import SHAPES, SHIELDS

    parser.add_argument("--shape", choices=SHAPES, help="outline of the coil; a square is a rectangle without --width")
    parser.add_argument("--shield", choices=SHIELDS, help="slotted foil or paint around the winding")
    parser.add_argument(
        "--capacitor-at-board",
        dest="capacitor_in_head",
        action="store_false",
        default=None,
        help="the capacitor sits at the board's end of the cable, not at the coil",
    )
