"""The sign of iron: from which size and frequency on it raises the coil's frequency instead of lowering it."""

from typing import Any

import numpy as np
from scipy.interpolate import PchipInterpolator
from scipy.optimize import brentq

from coilcount.physics.bodies import coupling
from coilcount.physics.constants import MATERIALS, permeability
from coilcount.physics.ground import plane_response
from coilcount.physics.tank import Tank
from coilcount.physics.targets import sphere
from coilcount.plan.catalogue import CATALOGUE

LOWEST_HZ, HIGHEST_HZ = 100.0, 1e6  # range of the search
SHEET_HEIGHT_M = 0.03  # distance and thickness of the example sheet; chosen by hand
SHEET_THICKNESS_M = 1e-3
STEEL = MATERIALS["steel"]
# The permeability of mild steel is uncertain: it depends on the alloy and on how the steel was worked.
PERMEABILITIES = (50.0, 100.0, 200.0, 500.0)


def _crossing(real_part, low: float = LOWEST_HZ, high: float = HIGHEST_HZ) -> float | None:
    """Find the argument between low and high at which real_part falls through 0; None if it does not."""
    if real_part(low) <= 0 or real_part(high) >= 0:
        return None
    return float(np.exp(brentq(lambda x: real_part(np.exp(x)), np.log(low), np.log(high), xtol=1e-6)))


def ball_flip_mm(frequency_hz: float, mu_r: float) -> float:
    """Compute the diameter in mm from which a steel ball raises the frequency."""
    radius = _crossing(lambda a: sphere(a, STEEL.conductivity, mu_r, frequency_hz).axial.real, 1e-4, 1.0)
    return 2000 * radius


def sheet_flip_hz(tank: Tank, mu_r: float) -> float | None:
    """Compute the frequency in Hz from which a wide steel sheet under the coil raises its frequency.

    None if there is no such frequency in the range of the search.
    """

    def real_part(f: float) -> float:
        return plane_response(tank.winding, SHEET_HEIGHT_M, STEEL.conductivity, mu_r, f, SHEET_THICKNESS_M)[0]

    return _crossing(real_part, 10.0)


def iron_section(tank: Tank, rows: list[dict[str, Any]]) -> dict[str, Any]:
    """Compute the sizes and frequencies at which the sign changes; `words` says what this coil shows for iron."""
    f = tank.frequency_hz
    flips = {f"{mu:g}": ball_flip_mm(f, mu) for mu in PERMEABILITIES}
    sheets = {f"{mu:g}": sheet_flip_hz(tank, mu) for mu in PERMEABILITIES}
    rises, falls = [], []
    for row in rows:
        if not row["iron"]:
            continue
        name = row["object"] if row["attitude"] == "any" else f"{row['object']}, {row['attitude']}"
        (rises if row["at_depth"][0] > 0 else falls).append(name)
    sheet = sheets["100"]
    reads = "raises" if sheet is None or f > sheet else "lowers"
    turn = f"; its sign turns near {sheet / 1e3:.2g} kHz" if sheet else ""
    words = [
        f"At {f / 1e3:.3g} kHz a steel ball up to {flips['100']:.0f} mm across lowers the frequency, a larger one "
        f"raises it (permeability 100; {flips['50']:.0f} mm at 50, {flips['200']:.0f} mm at 200).",
        f"Wide sheet steel facing the coil {reads} the frequency{turn}. The same sheet on edge lowers it: the sign "
        "depends on how it lies.",
    ]
    if rises:
        words.append("This iron reads as non-ferrous: " + "; ".join(rises) + ".")
    words.append(
        f"Steel is computed with a permeability of {permeability('steel', f):.0f}, that of mild steel in a small field "
        "at this frequency; the alloy and how it was worked change it by a factor of 2."
    )
    words.append(
        "A lower frequency leaves more iron ferrous, but shifts less for poor conductors and has a lower Q; 8 kHz "
        "tells rods and compact iron, not sheet."
    )
    return {
        "ball_flip_mm": flips,
        "sheet_flip_hz": sheets,
        "reads_non_ferrous": rises,
        "reads_ferrous": falls,
        "words": words,
    }


def response_curves(frequency_hz: float) -> dict[str, Any]:
    """Compute Re alpha / |alpha| of typical bodies against frequency, for the picture.

    +1 is pure magnetisation, -1 a perfect conductor, and at 0 the sign changes.
    """
    # Flat bodies and rods need a finite-element solution for each point, so they get few points.
    fine, coarse = np.geomspace(1e3, 2e5, 60), np.geomspace(1e3, 2e5, 12)
    made = {
        "steel nail": (coarse, "nail 75 mm", 0),
        "steel ball 20 mm": (fine, "steel ball 20 mm", 0),
        "steel ball 50 mm": (fine, "steel ball 50 mm", 0),
        "crown cap on edge": (coarse, "crown cap", 1),
        "crown cap flat": (coarse, "crown cap", 0),
        "cupronickel coin": (coarse, "cupronickel coin 24 mm", 0),
        "copper coin": (coarse, "copper coin 24 mm", 0),
    }
    curves = {}
    for name, (frequencies, object_name, across) in made.items():
        body = CATALOGUE[object_name]
        values = [coupling(body, float(frequency)).polarizability()[across] for frequency in frequencies]
        smooth = PchipInterpolator(np.log(frequencies), [value.real / abs(value) for value in values])
        curves[name] = {"frequency_hz": fine.tolist(), "in_phase": smooth(np.log(fine)).tolist()}
    return {"working_hz": frequency_hz, "curves": curves}
