"""The response of the coil to targets, soil and plates; the tank."""

from itertools import pairwise
from math import pi, sqrt

import numpy as np
import pytest
from check_values import ENTRIES, value
from closed_forms import loop
from coilcount.physics import coil, dielectric, drift, ground, oscillator, response, targets
from coilcount.physics.winding import Winding, make_winding
from dipole import target_response
from hypothesis import given
from hypothesis import strategies as st

F = 25e3
W = 2 * pi * F
COIL = make_winding(0.1, 30, 0.405e-3)
FILAMENT = Winding(np.array([0.05]), np.array([0.0]), 0.4e-3)
BALL = targets.sphere(0.01, 58e6, 1, F)
CAP = targets.Polarizability(-3.2e-6 - 2.8e-6j, 10.4e-6 - 3.6e-6j)  # a flat cap of steel


# ------------------------------------------------------------------------------------------ reciprocity


def test_a_wire_loop_on_the_axis_is_a_transformer():
    """Textbook transformer: dZ = (wM)^2/(R + jwL).  The coil is far wider than the loop, so the dipole model holds."""
    ring = loop(1e-3, 0.1e-3, 58e6, F)
    wide = Winding(np.array([0.5]), np.array([0.0]), 1e-3)
    d_l, d_r = target_response(wide, ring, [0, 0, 0.2], [0, 0, 1], F)
    r_wire = 2e-3 * pi / (58e6 * pi * 0.05e-3**2)
    l_wire = float(coil.ring_inductance(1e-3, 0.05e-3))
    m = float(coil.mutual_inductance(0.5, 1e-3, 0.2))
    want = (W * m) ** 2 / (r_wire + 1j * W * l_wire)
    assert d_r + 1j * W * d_l == pytest.approx(want, rel=1e-4)


@given(st.floats(0, 360), st.floats(0, 0.3), st.floats(0.03, 0.5), st.floats(0, 180), st.floats(0, 360))
def test_only_the_relative_position_of_coil_and_target_counts(turn, rho, z, tilt, azimuth):
    """Nothing changes if the target turns about the coil's axis or end for end.  A ball may turn in any way."""

    def at(angle):
        t, a, b = np.radians([angle, azimuth + angle, tilt])
        place = [rho * np.cos(t), rho * np.sin(t), z]
        return place, np.array([np.sin(b) * np.cos(a), np.sin(b) * np.sin(a), np.cos(b)])

    place, axis = at(0)
    one = target_response(COIL, CAP, place, axis, F)
    assert target_response(COIL, CAP, *at(turn), F) == pytest.approx(one, rel=1e-9, abs=1e-20)
    assert target_response(COIL, CAP, place, -7 * axis, F) == pytest.approx(one, rel=1e-9, abs=1e-20)
    assert one[1] > 0
    ball = [target_response(COIL, BALL, place, u, F) for u in (axis, [1, 0, 0])]
    assert ball[0] == pytest.approx(ball[1], rel=1e-12)


def test_far_away_the_shift_falls_with_the_sixth_power():
    depth = np.array([0.1, 0.2, 0.5, 1.0, 2.0, 4.0])
    place = depth[:, None] * [0, 0, 1]
    d_l, _ = target_response(COIL, BALL, place, [0, 0, 1], F)
    assert all(a < b < 0 for a, b in pairwise(d_l))
    assert d_l[-2] / d_l[-1] == pytest.approx(64, rel=3e-3)


def test_shift_signs_and_size():
    """-1/2 dL/L and -dR/(Q wL) against the exact resonance formula, for small changes."""
    inductance, resistance, farad = 225e-6, 1.44, 180e-9
    f0 = oscillator.resonance_hz(inductance, farad, resistance)
    for d_l, d_r in ((-2e-10, 0.0), (3e-10, 1e-5), (0.0, 2e-4)):
        exact = oscillator.resonance_hz(inductance + d_l, farad, resistance + d_r) / f0 - 1
        shift = response.frequency_shift(d_l, d_r, inductance, resistance, f0)
        # The first-order formula leaves out terms of 1/Q^2 in the part that comes from L.
        assert shift == pytest.approx(exact, rel=5e-3)
    assert response.frequency_shift(0, 1e-4, inductance, resistance, f0) < 0


# ------------------------------------------------------------------------------------------ ground and plates


@pytest.mark.parametrize(
    ("name", "sigma", "mu_r", "thickness_m"),
    [
        ("Cu 3 mm", 58e6, 1, 3e-3),
        ("steel half-space mu100", 6e6, 100, None),
        ("steel 3 mm mu1000", 6e6, 1000, 3e-3),
        ("Al foil 15 um", 35e6, 1, 15e-6),
    ],
)
def test_conducting_plates(name, sigma, mu_r, thickness_m):
    """Dodd and Deeds 1968, for a coil of one filament (computed in high precision)."""
    d_r, reactance = (float(x) for x in value(f"plane filament R=50mm N=1 h=30mm 25kHz {name}"))
    got = ground.plane_response(FILAMENT, 0.03, sigma, mu_r, F, thickness_m)
    assert (got[1], W * got[0]) == pytest.approx((d_r, reactance), rel=1e-6)


def test_a_perfect_conductor_is_a_mirror():
    """Image of a loop in a perfect conductor: dL = -M(R, R, 2h)."""
    d_l, _ = ground.plane_response(FILAMENT, 0.03, 1e15, 1, 1e6)
    assert d_l == pytest.approx(-float(coil.mutual_inductance(0.05, 0.05, 0.06)), rel=1e-5)


def test_soil():
    """Two formulas: the image of a loop in a magnetic half-space, and the Dodd-Deeds integral without conduction."""
    of = value("soil.image")
    turns = Winding(np.full(of["N"], of["R"]), np.zeros(of["N"]), 1e-4)
    d_l, d_r = ground.soil_response(turns, of["h"], of["chi"], F)
    assert (d_l, d_r) == (pytest.approx(of["dL_H"], rel=1e-9), 0)
    plane = float(value("plane filament R=50mm N=1 h=30mm 25kHz soil chi=1e-3")[1])
    assert W * ground.soil_response(FILAMENT, 0.03, 1e-3, F)[0] == pytest.approx(plane, rel=1e-6)
    assert W * ground.plane_response(FILAMENT, 0.03, 0, 1.001, F)[0] == pytest.approx(plane, rel=1e-6)


def test_soil_with_magnetic_loss_adds_resistance():
    """chi'' = 0.068 chi', as in soil whose chi falls by 10 % a decade of frequency (Kramers-Kronig)."""
    d_l, d_r = ground.soil_response(COIL, np.array([0.03, 0.05]), 1e-3 - 0.068e-3j, F)
    assert np.all(d_r > 0)
    assert d_r / (W * d_l) == pytest.approx(0.068, abs=5e-4)


def test_shift_by_soil_and_its_change_with_height():
    """Independent computation: chi 1e-3, 10 cm coil, 25 kHz, at heights of 2, 5 and 10 cm.

    Shift -0.84, -0.18, -0.033 Hz; change +0.53, +0.077, +0.009 Hz per cm.
    """
    height = np.array([0.02, 0.05, 0.1])
    inductance = coil.inductance(COIL)

    def shift_hz(at):
        return F * response.frequency_shift(*ground.soil_response(COIL, at, 1e-3, F), inductance, 1.44, F)

    assert shift_hz(height) == pytest.approx([-0.84, -0.18, -0.033], rel=0.02)
    slope = (shift_hz(height + 1e-4) - shift_hz(height - 1e-4)) / 0.02
    assert slope == pytest.approx([0.53, 0.077, 0.009], rel=0.03)


# ------------------------------------------------------------------------------------------ the tank


def test_resonance():
    """w^2 = 1/(LC) - (R/L)^2: Thomson's formula without loss, and a factor 1 - 1/(2 Q^2) with little loss."""
    assert oscillator.resonance_hz(225e-6, 180e-9) == pytest.approx(1 / (2 * pi * sqrt(225e-6 * 180e-9)), rel=1e-12)
    q = oscillator.q_factor(225e-6, 1.44, F)
    loss = oscillator.resonance_hz(225e-6, 180e-9, 1.44) / oscillator.resonance_hz(225e-6, 180e-9) - 1
    assert loss == pytest.approx(-1 / (2 * q * q), rel=2e-3)
    with pytest.raises(ValueError, match="Q"):
        oscillator.resonance_hz(225e-6, 180e-9, 100)


def harmonic_shift(q: float, loop_gain: float) -> float:
    """df/f of an oscillator with a cubic limiter below f0 (J. Groszkowski, Proc. IRE 21 (1933) 958)."""
    return -(0.5 + (loop_gain - 1) ** 2 / 16) / q**2


def test_supply_pushing_is_the_slope_of_the_shift_by_harmonics():
    """The shift itself is checked against the integrated equation of the oscillator (computed), within 1 %."""
    values = ENTRIES["osc.van_der_pol_shift"]["values"]
    for q, gain, name in ((24.5, 2, "Q24.5_r2"), (24.5, 4, "Q24.5_r4"), (10, 1.05, "Q10_r1.05")):
        assert harmonic_shift(q, gain) == pytest.approx(values[name], rel=0.01)
    for gain, ppm_per_percent in ((1.5, -1.6), (4, -25)):
        assert oscillator.supply_pushing(24.5, gain) * 1e4 == pytest.approx(ppm_per_percent, rel=0.03)
        step = harmonic_shift(24.5, gain * 1.0001) - harmonic_shift(24.5, gain / 1.0001)
        assert oscillator.supply_pushing(24.5, gain) == pytest.approx(step / 2e-4, rel=1e-4)


def test_temperature_coefficients():
    """Independent computation, Q 24.5, in ppm/K: resistance of copper -6.6, with proximity -5.0; a copper coil -8.5."""
    q = 24.5
    assert oscillator.temperature_coefficient(q, 0, 0) * 1e6 == pytest.approx(-6.6, abs=0.1)
    slope, _ = drift.resistivity_slopes(make_winding(0.1, 30, 0.404892e-3, "bundle", 0.45e-3), 25e3)
    assert oscillator.temperature_coefficient(q, 0, 0, slope * 0.00393) * 1e6 == pytest.approx(-5.0, abs=0.1)
    assert oscillator.temperature_coefficient(q, 17e-6, 0, 0) == pytest.approx(-8.5e-6)
    foil = dielectric.DIELECTRICS["polypropylene"].middle_per_k
    assert 100e-6 <= oscillator.temperature_coefficient(q, 0, foil, 0) <= 150e-6


def test_amplitude_falls_with_loss():
    assert oscillator.amplitude_change(0, 1.44e-3, 225e-6, 1.44) == pytest.approx(-1e-3)
    assert oscillator.amplitude_change(225e-9, 0, 225e-6, 1.44) == pytest.approx(1e-3)
