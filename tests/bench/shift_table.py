"""Prints the computed shifts of common objects, as ratios to an independent computation.  It checks nothing.

    python tests/bench/shift_table.py

The coils are 10, 20 and 30 cm wide, of 26 AWG wire at a pitch of 0.45 mm, at 25 kHz.  Neither side is a measurement:
both are computations, from different code.  The two should agree within 20 % for coins, ring, foil, can and balls, and
within 35 % for rods and caps.  A * marks a ratio outside this bound.
The reference models rods, caps, steel coins and steel cans as dipoles at their middle.  Here the side that faces the
coil is solved in the field of the coil.  For this reason the two must differ at short distances.
"""

import json
import os
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
from coilcount.physics.bodies import Body, coaxial_response
from coilcount.physics.coil import ac_resistance, inductance
from coilcount.physics.response import frequency_shift
from coilcount.physics.winding import make_winding
from coilcount.physics.wire import awg_diameter_m

F = 25e3
TABLE = json.loads((Path(__file__).parents[1] / "data/shift-table.json").read_text(encoding="utf-8"))
TURNS = {"10": 30, "20": 20, "30": 16}
STEEL = (6e6, 100.0)

# name in the reference: (body, attitude, bound in per cent, or None if the object has no bound)
BODIES = {
    "Cu coin 24x1.75 flat (5.8e7)": (Body("disc", 58e6, 1.0, 0.024, 1.75e-3), "flat", 20),
    "CuNi coin 24x1.75 flat (3.1e6)": (Body("disc", 3.1e6, 1.0, 0.024, 1.75e-3), "flat", 20),
    # The reference does not give the section.  22.2 mm outside and 2.2 mm wire are chosen by hand.
    "gold-alloy ring 20mm flat (1e7)": (Body("ring", 1e7, 1.0, 0.0222, 2.2e-3), "flat", 20),
    "lead ball 12 mm (4.8e6)": (Body("ball", 4.8e6, 1.0, 0.012), "any", 20),
    "Al foil 10x10cm 15um (disc r56)": (Body("disc", 35e6, 1.0, 0.1128, 15e-6), "flat", 20),
    # The reference does not give the wall.  0.1 mm is usual for drink cans.
    "Al drink can 66x115 upright": (Body("can", 37.7e6, 1.0, 0.066, 1e-4, 0.115), "upright", 20),
    "Cu ball 50 mm": (Body("ball", 58e6, 1.0, 0.05), "any", 20),
    "steel ball 20 mm mu100": (Body("ball", *STEEL, 0.02), "any", 20),
    "steel ball 50 mm mu100": (Body("ball", *STEEL, 0.05), "any", 20),
    # Soft iron: the reference uses 1e7 S/m for a permeability of 500 in another table.
    "steel ball 50 mm mu500": (Body("ball", 1e7, 500.0, 0.05), "any", 20),
    "nail 75x3.5 on end mu100": (Body("rod", *STEEL, 3.5e-3, length_m=0.075), "on end", 35),
    "nail 75x3.5 lying mu100": (Body("rod", *STEEL, 3.5e-3, length_m=0.075), "lying", 35),
    "bolt 60x10 on end mu100": (Body("rod", *STEEL, 0.01, length_m=0.06), "on end", 35),
    "bolt 60x10 lying mu100": (Body("rod", *STEEL, 0.01, length_m=0.06), "lying", 35),
    "steel-core coin 20.3x1.65 flat mu100": (Body("disc", *STEEL, 0.0203, 1.65e-3), "flat", 35),
    "crown cap 32mm .24mm flat mu100": (Body("disc", *STEEL, 0.032, 0.24e-3), "flat", 35),
    "steel can 75x110 .2mm upright mu100": (Body("can", *STEEL, 0.075, 2e-4, 0.11), "upright", None),
    "steel plate disc 226 mm x 3 (independent FV)": (Body("disc", *STEEL, 0.226, 3e-3), "flat", None),
}


def ratios(coil_cm: str) -> dict[str, np.ndarray]:
    """Return our shift over that of the reference, shape (distances,), for each object of the table."""
    winding = make_winding(float(coil_cm) / 100, TURNS[coil_cm], awg_diameter_m(26), "bundle", 0.45e-3)
    henry, ohm = inductance(winding), ac_resistance(winding, F)
    distance = np.array(TABLE["distance_cm"]) / 100
    found = {}
    for name, reference in TABLE["coils"][coil_cm].items():
        body, attitude, _ = BODIES[name]
        d_l, d_r, _ = coaxial_response(body, attitude, winding, distance, F)
        found[name] = F * frequency_shift(d_l, d_r, henry, ohm, F) / np.array(reference)
    return found


def main() -> None:
    within = total = 0
    for coil_cm in TABLE["coils"]:
        print(f"\ncoil {coil_cm} cm" + " " * 36 + "".join(f"{cm:>4} cm" for cm in TABLE["distance_cm"]) + "  bound")
        for name, row in ratios(coil_cm).items():
            bound = BODIES[name][2]
            outside = [bound is not None and abs(ratio - 1) > bound / 100 for ratio in row]
            if bound is not None:
                within, total = within + len(outside) - sum(outside), total + len(outside)
            cells = "".join(f"{ratio:6.2f}{'*' if far else ' '}" for ratio, far in zip(row, outside, strict=True))
            print(f"{name:46}{cells}  {'none' if bound is None else f'{bound} %'}")
    print(f"\n{within} of {total} ratios are within their bounds")


if __name__ == "__main__":
    main()
