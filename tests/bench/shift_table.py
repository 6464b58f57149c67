"""Prints our shifts of common objects beside an independent computation of them, and the ratios.  Asserts nothing.

Run: python tests/bench/shift_table.py
Coil: 10 cm, 30 turns of 26 AWG at 0.45 mm, 25 kHz; distance from the coil's plane to the nearest surface of the object,
centred.  Neither column is a measurement: both are computations, from different code.
"""

from functools import partial

from coilcount.physics import coil, response, rings, targets, wire

F = 25e3
COIL = coil.make_winding(0.1, 30, wire.awg_diameter_m(26), "bundle", 0.45e-3)
L, R = coil.inductance(COIL), coil.ac_resistance(COIL, F)
DISTANCES_CM = (3, 5, 8, 10, 15, 20)
UP, ALONG = (0, 0, 1), (1, 0, 0)


def dipole(body: targets.Polarizability, to_centre_m: float, axis: tuple, distance_m: float) -> tuple:
    return response.target_response(COIL, body, (0, 0, distance_m + to_centre_m), axis, F)


def full(body: rings.RingBody, to_centre_m: float, distance_m: float) -> tuple:
    return body.response(COIL, distance_m + to_centre_m)


def ball(diameter_mm: float, sigma: float, mu_r: float):
    return partial(dipole, targets.sphere(diameter_mm / 2000, sigma, mu_r, F), diameter_mm / 2000, UP)


def coin(sigma: float):
    return partial(full, rings.RingBody(0.012, 1.75e-3, sigma, F), 0.875e-3)


NAIL, BOLT = targets.rod(0.075, 3.5e-3, 6e6, 100, F), targets.rod(0.06, 0.01, 6e6, 100, F)
CAP, STEEL_COIN = (targets.flat_iron(a, t, 6e6, 100, F) for a, t in ((0.016, 0.24e-3), (0.01015, 1.65e-3)))

# object, our model, Hz of the independent computation at DISTANCES_CM
ROWS = (
    ("Cu coin 24 x 1.75, full field", coin(58e6), (12.7, 3.92, 0.699, 0.255, 0.0324, 0.00668)),
    ("CuNi coin 24 x 1.75, full field", coin(3.1e6), (7.8, 2.4, 0.429, 0.156, 0.0199, 0.00409)),
    (
        "gold-alloy ring 20 mm mean, 2.2 mm wire (a guess)",
        partial(dipole, targets.loop(10e-3, 2.2e-3, 1e7, F), 1.1e-3, UP),
        (8.92, 2.74, 0.49, 0.179, 0.0228, 0.0047),
    ),
    ("lead ball 12 mm, dipole", ball(12, 4.8e6, 1), (1.51, 0.461, 0.0851, 0.0318, 0.00425, 0.000905)),
    (
        "Al foil disc r 56 mm, 15 um, full field",
        partial(full, rings.RingBody(0.0564, 15e-6, 35e6, F), 7.5e-6),
        (298, 84, 16.5, 6.45, 0.931, 0.204),
    ),
    ("Cu ball 50 mm, dipole", ball(50, 58e6, 1), (66.6, 20.5, 4.25, 1.72, 0.272, 0.0647)),
    ("steel ball 20 mm, dipole", ball(20, 6e6, 100), (-4.45, -1.35, -0.255, -0.097, -0.0135, -0.00293)),
    ("steel ball 50 mm, dipole", ball(50, 6e6, 100), (13.1, 4.15, 0.919, 0.386, 0.0641, 0.0156)),
    (
        "nail 75 x 3.5 on end",
        partial(dipole, NAIL, 0.0375, UP),
        (-1.41, -0.474, -0.115, -0.0507, -0.00931, -0.00243),
    ),
    ("nail lying", partial(dipole, NAIL, 1.75e-3, ALONG), (-2.51, -0.779, -0.14, -0.051, -0.0065, -0.00134)),
    ("bolt 60 x 10 on end", partial(dipole, BOLT, 0.03, UP), (-3.89, -1.25, -0.284, -0.121, -0.0208, -0.0052)),
    ("bolt lying", partial(dipole, BOLT, 0.005, ALONG), (-6.73, -2.06, -0.378, -0.141, -0.0186, -0.00394)),
    (
        "steel-core coin 20.3 x 1.65",
        partial(dipole, STEEL_COIN, 0.825e-3, UP),
        (0.607, 0.19, 0.0338, 0.0123, 0.00155, 0.000317),
    ),
    ("crown cap 32 x 0.24 mm", partial(dipole, CAP, 0.12e-3, UP), (7.4, 2.29, 0.413, 0.152, 0.0197, 0.0041)),
)


def main() -> None:
    print(f"L {L * 1e6:.1f} uH, R {R:.3f} ohm; ours in Hz (ratio to the independent computation)")
    print(f"{'':50}" + "".join(f"{d:>17} cm" for d in DISTANCES_CM))
    for name, model, theirs in ROWS:
        cells = []
        for distance_cm, other in zip(DISTANCES_CM, theirs, strict=True):
            shift_hz = F * float(response.frequency_shift(*model(distance_cm / 100), L, R, F))
            cells.append(f"{shift_hz:+12.4g} ({shift_hz / other:5.3f})")
        print(f"{name:50}" + "".join(f"{cell:>20}" for cell in cells))


if __name__ == "__main__":
    main()
