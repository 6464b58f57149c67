"""Computes reference responses of steel and other bodies with two grids each, and stores them.

    python tests/bench/bodies [PART_OF_A_NAME ...]

Writes tests/data/body-responses.json; with names only the cases that contain one of them are computed again.  Takes
about three minutes of computing.  Bodies on the axis: triangles.py.  Bodies across the
axis: charges.py.  Neither uses coilcount's physics of bodies; only the places of the turns come from coilcount.
Everything is a computation, nothing is a measurement.
"""

import json
import os
import sys
import time
from math import pi, sqrt
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import numpy as np
import piped
from charges import MU0, Can, Ring, Rod, Sheet
from coilcount.physics.winding import make_winding
from coilcount.physics.wire import awg_diameter_m
from triangles import Revolved, box_mesh, round_mesh

F = 25e3
TURNS = {"10": 30, "20": 20, "30": 16}
DISTANCE_CM = [2, 3, 5, 8, 10, 15, 20, 30, 40]
STEEL = {"conductivity": 6e6, "mu_r": 100.0}
COPPER = {"conductivity": 58e6, "mu_r": 1.0}
OUT = Path(__file__).parents[2] / "data/body-responses.json"


def disc(metal, diameter, thickness, **more):
    return {"shape": "disc", **metal, "diameter_m": diameter, "thickness_m": thickness, **more}


NAIL = {"shape": "rod", **STEEL, "diameter_m": 3.5e-3, "length_m": 0.075}
SMALL_NAIL = {"shape": "rod", **STEEL, "diameter_m": 3e-3, "length_m": 0.06}
BOLT = {"shape": "rod", **STEEL, "diameter_m": 0.01, "length_m": 0.06}
RING = {"shape": "ring", **STEEL, "diameter_m": 0.02, "thickness_m": 2e-3}
WIDE_RING = {"shape": "ring", **STEEL, "diameter_m": 0.05, "thickness_m": 4e-3}
GOLD_RING = {"shape": "ring", "conductivity": 1e7, "mu_r": 1.0, "diameter_m": 0.0222, "thickness_m": 2.2e-3}
WASHER = {"shape": "washer", **STEEL, "diameter_m": 0.025, "thickness_m": 1.5e-3, "hole_m": 0.013}
BIG_WASHER = {"shape": "washer", **STEEL, "diameter_m": 0.03, "thickness_m": 2.5e-3, "hole_m": 0.01}
CAP = {"shape": "cap", **STEEL, "diameter_m": 0.029, "thickness_m": 0.24e-3, "length_m": 0.006}
JAR_LID = {"shape": "cap", **STEEL, "diameter_m": 0.07, "thickness_m": 0.2e-3, "length_m": 0.012}
LID = disc(STEEL, 0.07, 0.2e-3)
COIN = disc(STEEL, 0.0203, 1.65e-3)
COPPER_COIN = disc(COPPER, 0.024, 1.75e-3)
FOIL = disc({"conductivity": 35e6, "mu_r": 1.0}, 0.04, 15e-6)
PLATE = disc(STEEL, 0.226, 3e-3)
FOOD_CAN = {"shape": "can", **STEEL, "diameter_m": 0.075, "thickness_m": 2e-4, "length_m": 0.11}
DRINK_CAN = {"shape": "can", "conductivity": 37.7e6, "mu_r": 1.0, "diameter_m": 0.066, "thickness_m": 1e-4,
             "length_m": 0.115}  # fmt: skip
# name: (body, attitude); "open side up" is a cap that shows its hollow to the coil
CASES = {
    "copper coin 24 mm": (COPPER_COIN, "flat"),
    "foil piece 40 mm": (FOIL, "flat"),
    "steel coin 20 mm": (COIN, "flat"),
    "steel lid 70 mm": (LID, "flat"),
    "steel plate 226 mm": (PLATE, "flat"),
    "steel ring 20 x 2 mm": (RING, "flat"),
    "steel ring 50 x 4 mm": (WIDE_RING, "flat"),
    "gold-alloy ring 22 mm": (GOLD_RING, "flat"),
    "steel washer 25 mm": (WASHER, "flat"),
    "steel washer 30 mm": (BIG_WASHER, "flat"),
    "crown cap 29 x 6 mm": (CAP, "flat"),
    "crown cap, open side up": (CAP, "open side up"),
    "jar lid 70 x 12 mm": (JAR_LID, "flat"),
    "nail 75 x 3.5 mm": (NAIL, "on end"),
    "nail 60 x 3 mm": (SMALL_NAIL, "on end"),
    "bolt 60 x 10 mm": (BOLT, "on end"),
    "food can, steel": (FOOD_CAN, "upright"),
    "drink can, aluminium": (DRINK_CAN, "upright"),
    "nail 75 x 3.5 mm, lying": (NAIL, "lying"),
    "nail 60 x 3 mm, lying": (SMALL_NAIL, "lying"),
    "bolt 60 x 10 mm, lying": (BOLT, "lying"),
    "drink can, lying": (DRINK_CAN, "lying"),
    "steel ring 20 x 2 mm, on edge": (RING, "on edge"),
    "steel ring 50 x 4 mm, on edge": (WIDE_RING, "on edge"),
    "gold-alloy ring, on edge": (GOLD_RING, "on edge"),
    "steel coin 20 mm, on edge": (COIN, "on edge"),
    "copper coin, on edge": (COPPER_COIN, "on edge"),
    "steel lid 70 mm, on edge": (LID, "on edge"),
    "steel plate 226 mm, on edge": (PLATE, "on edge"),
    "crown cap, on edge": (CAP, "on edge"),
    "jar lid 70 x 12 mm, on edge": (JAR_LID, "on edge"),
    "steel washer 25 mm, on edge": (WASHER, "on edge"),
    "steel washer 30 mm, on edge": (BIG_WASHER, "on edge"),
}


# Beside the axis and tilted, under the 10 cm coil.  Copper discs and cans stand for perfect conductors.
TILTED = {
    "nail 75 x 3.5 mm": NAIL,
    "drink can, aluminium": DRINK_CAN,
    "thick copper disc 100 x 20 mm": disc(COPPER, 0.1, 0.02),
}
PLACES = [(side, deep, tilt) for side in (0.0, 0.04, 0.08) for deep in (0.08, 0.12) for tilt in (0, 30, 60, 90)]


def on_axis(body, attitude, fine):
    """Solve a body on the axis; returns (a function of turns and distance, distance from the surface to height 0)."""
    a, t, length = body["diameter_m"] / 2, body.get("thickness_m"), body.get("length_m")
    depth = 1 / sqrt(pi * F * MU0 * body["mu_r"] * body["conductivity"])
    if body["shape"] == "ring":
        wire = t / 2
        solved = Revolved(round_mesh(a - wire, wire, min(depth, wire / 3) / (12 if fine else 8), 1.2, 30 * a),
                          body["conductivity"], body["mu_r"], F)  # fmt: skip
        return solved.change, wire
    half = {"rod": length, "can": length, "cap": length}.get(body["shape"], t) / 2
    if body["shape"] == "can":
        boxes = [(0, a, half - t, half), (0, a, -half, t - half), (a - t, a, t - half, half - t)]
    elif body["shape"] == "cap":
        boxes = [(0, a, half - t, half), (a - t, a, -half, half - t)]
        if attitude == "open side up":
            boxes = [(r_0, r_1, -z_1, -z_0) for r_0, r_1, z_0, z_1 in boxes]
    else:
        boxes = [(body.get("hole_m", 0) / 2, a, -half, half)]
    thin = min(part for box in boxes for part in (box[1] - box[0], box[3] - box[2]))
    step = min(depth, thin / 2) / (8 if fine else 5)
    mesh = box_mesh(boxes, step, 1.2 if fine else 1.3, 14 * max(a, half))
    return Revolved(mesh, body["conductivity"], body["mu_r"], F).change, half


def across_axis(body, fine):
    """Make a body whose axis lies across the coil's; returns (solver, distance from the surface to its centre)."""
    a, t = body["diameter_m"] / 2, body.get("thickness_m")
    metal = (body["conductivity"], body["mu_r"], F)
    if body["shape"] == "rod":
        solver = Rod(body["length_m"], a, *metal, round(body["length_m"] / a * (2.5 if fine else 1.5)))
    elif body["shape"] == "can":  # as a perfect conductor: at 25 kHz its wall lets 1 % of the field through
        solver = Can(a, body["length_m"], *((20, 40) if fine else (12, 24)))
    elif body["shape"] == "ring":
        solver = Ring(a - t / 2, t / 2, *metal, 160 if fine else 80)
    else:
        half = body.get("length_m", 0) / 2
        outline = [(body.get("hole_m", 0) / 2, 0), (a, 0)]
        if body["shape"] == "cap":
            outline = [(0, half - t / 2), (a - t / 2, half - t / 2), (a - t / 2, -half)]
        solver = Sheet(outline, t, *metal, *((28, 56) if fine else (20, 40)))
    return solver, a


def responses(body, attitude, fine):
    """Complex change of inductance in H, shape (coils, distances)."""
    across = attitude in ("lying", "on edge")
    solver, to_centre = across_axis(body, fine) if across else on_axis(body, attitude, fine)
    found = []
    for coil, turns in TURNS.items():
        winding = make_winding(float(coil) / 100, turns, awg_diameter_m(26), "bundle", 0.45e-3)
        rings = [(r, z, 1) for r, z in zip(winding.r_m, winding.z_m, strict=True)]
        row = []
        for cm in DISTANCE_CM:
            deep = cm / 100 + to_centre
            row.append(solver.change(rings, [0, 0, -deep], [1, 0, 0]) if across else solver(rings, deep))
        found.append(row)
    return np.array(found)


def tilted(body, fine):
    """Complex changes of inductance in H at PLACES."""
    a = body["diameter_m"] / 2
    if body["shape"] == "rod":
        solver = across_axis(body, fine)[0]
    elif body["shape"] == "can":
        solver = Can(a, body["length_m"], *((20, 40) if fine else (12, 24)))
    else:
        solver = Can(a, body["thickness_m"], *((24, 52) if fine else (18, 40)))
    winding = make_winding(0.1, TURNS["10"], awg_diameter_m(26), "bundle", 0.45e-3)
    rings = [(r, z, 1) for r, z in zip(winding.r_m, winding.z_m, strict=True)]
    found = []
    for side, deep, tilt in PLACES:
        angle = np.radians(tilt)
        found.append(solver.change(rings, [side, 0, -deep], [np.sin(angle), 0, np.cos(angle)]))
    return np.array(found)


def main():
    wanted = sys.argv[1:]
    cases = json.loads(OUT.read_text(encoding="utf-8"))["cases"] if wanted else {}
    for name, (body, attitude) in CASES.items():
        if wanted and not any(part in name for part in wanted):
            continue
        start = time.process_time()
        coarse, fine = responses(body, attitude, False), responses(body, attitude, True)
        off = np.abs(coarse - fine) / np.abs(fine)
        print(f"{name:32} two grids differ by up to {100 * off.max():5.2f} %, {time.process_time() - start:5.1f} s CPU")
        cases[name] = {
            "body": body,
            "attitude": attitude,
            "method": "charges" if attitude in ("lying", "on edge") else "triangles",
            "inductance_h": [[float(f"{x:.6g}") for x in row.real] for row in fine],
            "loss_h": [[float(f"{-x:.6g}") for x in row.imag] for row in fine],
            "two_grids": [[float(f"{x:.2g}") for x in row] for row in off],
        }
    about = (
        "Change of a coil's inductance, inductance_h - j loss_h in H (dR = w loss_h), by bodies centred under it, at "
        "25 kHz, [coil][distance].  Coils of 26 AWG wire at a pitch of 0.45 mm; distance from the coil's plane to the "
        "nearest surface.  Made by `python tests/bench/bodies`, a computation that uses none of coilcount's physics of "
        "bodies.  two_grids: difference of two grids over the size of the change.  beside: the same under the 10 cm "
        "coil at places [aside in m, depth of the centre in m, tilt in degrees towards that side]."
    )
    document = {"about": about, "coil_cm": list(TURNS), "turns": list(TURNS.values()), "distance_cm": DISTANCE_CM}
    beside = {}
    for name, body in TILTED.items():
        coarse, fine = tilted(body, False), tilted(body, True)
        off = np.abs(coarse - fine) / np.abs(fine)
        print(f"{name:32} beside the axis and tilted: two grids differ by up to {100 * off.max():5.2f} %")
        rounded = [float(f"{x.real:.6g}") for x in fine]
        beside[name] = {"body": body, "inductance_h": rounded, "two_grids": off.max()}
    cases = {name: cases[name] for name in CASES if name in cases}
    document |= {"cases": cases, "places": PLACES, "beside": beside}
    OUT.write_text(json.dumps(document, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    piped.run(main)
