"""Options of `coilcount plan` for the coil's shape, cable and shield, and for an object beside its axis."""

import argparse
from dataclasses import replace
from typing import Any

from coilcount.errors import InputError
from coilcount.schema.coil import Coil

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
# Keys of the coil that make it another coil, to which a measured inductance does not belong.
NEW_COIL = {
    "shape", "diameter_mm", "width_mm", "inner_diameter_mm", "turns", "wire", "layout", "pitch_mm", "shield",
    "shield_gap_mm", "shield_um",
}  # fmt: skip
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


def settle_sizes(coil: dict[str, Any], before: Coil) -> None:
    """Drop the sizes of `before` that the new ones in `coil` replace.  Raises InputError if two exclude each other."""
    if "inner_diameter_mm" in coil and "diameter_mm" in coil:
        raise InputError(
            "both --diameter and --inner-diameter are given",
            remedy="Give one: --diameter is the mean diameter, --inner-diameter that of the former",
        )
    shape = coil.get("shape", before.shape)
    if "diameter_mm" in coil or shape != "circle":
        coil.setdefault("inner_diameter_mm", None)
    if shape == "circle":
        coil.setdefault("width_mm", None)
    elif before.shape == "circle" and coil.get("width_mm") is None:
        coil["width_mm"] = None
    if shape == "circle" and coil["width_mm"] is not None:
        raise InputError("--width needs an oval or a rectangle", remedy="Add --shape oval or --shape rectangle")
    if shape != "circle" and coil["inner_diameter_mm"] is not None:
        raise InputError("--inner-diameter is for a circle", remedy="Give the mean --diameter and --width instead")


def check_ranges(coil: dict[str, Any]) -> None:
    """Check each value against the limits of a coil's table.  Raises InputError."""
    from coilcount.schema.tables import read_table

    # One by one, because a value may be right only together with those of the plan file.
    for name, value in coil.items():
        if name not in ("width_mm", "inner_diameter_mm"):
            read_table(Coil, {name: value}, "the command line")


def changed(before: Coil, coil: dict[str, Any]) -> Coil:
    """Return the coil with these values.  Raises InputError if they do not fit together."""
    try:
        return replace(before, **coil)
    except ValueError as error:
        raise InputError(str(error), "the coil") from None


def need_capacitor(capacitor: str | None, plan_file: str | None) -> None:
    """Raise InputError if a frequency was measured and nobody knows with which capacitor."""
    if capacitor is None and plan_file is None:
        raise InputError(
            "--measured-frequency is given without a capacitor",
            remedy="Add --capacitor with the value in the tank, or --plan with the plan of this coil",
        )
