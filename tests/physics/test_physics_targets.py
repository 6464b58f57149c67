"""Polarizabilities against an arbitrary-precision library, published factors and exact limits."""

from itertools import pairwise
from math import pi

import mpmath
import numpy as np
import pytest
import ring_circuits
from check_values import complex_of, keys_of, named, value
from closed_forms import disc, loop, rod
from coilcount.physics import eddy, facing, targets
from coilcount.physics.bodies import Body, coupling
from coilcount.physics.constants import MU0
from coilcount.physics.winding import make_winding
from dipole import target_response
from hypothesis import given
from hypothesis import strategies as st

SPHERES = [name for name in named("sphere ") if "a=" in name]


@pytest.mark.parametrize("name", SPHERES)
def test_sphere_values(name):
    """Wait 1951 in high precision (computed)."""
    of = keys_of(name)
    got = targets.sphere(of["a"], of["sigma"], of["mur"], of["f"]).axial
    assert got == pytest.approx(complex_of(value(name)["alpha_m3"]), rel=1e-10)


@pytest.mark.parametrize("mu_r", [1, 1.005, 100, 5000])
@pytest.mark.parametrize("a_over_delta", [1e-3, 0.1, 1, 2.1, 2.2, 10, 1e3, 1e6])
def test_sphere_against_mpmath(mu_r, a_over_delta):
    """mpmath, 60 digits: Wait's closed form over nine decades, in both branches of our code and where they meet."""
    radius, sigma = 0.01, 1e7
    frequency = a_over_delta**2 / (pi * MU0 * mu_r * sigma * radius**2)
    with mpmath.workdps(60):
        y = mpmath.mpc(1, 1) * mpmath.mpf(radius / eddy.skin_depth_m(frequency, sigma, mu_r))
        tanh = mpmath.tanh(y)
        p = y * y * tanh / (y - tanh) - 1
        want = complex(2 * mpmath.pi * mpmath.mpf(radius) ** 3 * (2 * mpmath.mpf(mu_r) - p) / (mpmath.mpf(mu_r) + p))
    got = targets.sphere(radius, sigma, mu_r, frequency).axial
    assert got == pytest.approx(want, rel=1e-11)
    assert got.imag == pytest.approx(want.imag, rel=1e-9)


@pytest.mark.parametrize("mu_r", [2, 10, 100, 1000])
def test_the_size_from_which_an_iron_ball_raises_the_frequency(mu_r):
    """Root of Re alpha (computed), near a/delta = mu (1+sqrt 17)/4."""
    ratio = float(value("sphere.sign_flip")[f"mur{mu_r}"])
    radius = ratio * eddy.skin_depth_m(25e3, 6e6, mu_r)
    assert targets.sphere(0.999 * radius, 6e6, mu_r, 25e3).axial.real > 0
    assert targets.sphere(1.001 * radius, 6e6, mu_r, 25e3).axial.real < 0


@given(st.floats(1e-3, 0.1), st.floats(1e5, 1e8), st.floats(1, 1000), st.floats(10, 1e6), st.floats(0.1, 10))
def test_sphere_depends_on_f_a_squared(radius, sigma, mu_r, frequency, k):
    one = targets.sphere(radius, sigma, mu_r, frequency).axial / radius**3
    other = targets.sphere(k * radius, sigma, mu_r, frequency / k**2).axial / (k * radius) ** 3
    assert other == pytest.approx(one, rel=1e-9)
    assert one.imag < 0
    static = 4 * pi * (mu_r - 1) / (mu_r + 2)
    assert targets.sphere(radius, sigma, mu_r, 0).axial / radius**3 == pytest.approx(static, rel=1e-12)


def test_perfect_conductors():
    """Textbook: sphere -2 pi a^3, disc -(8/3) a^3.  Copper approaches both as f rises.

    A sphere still lacks the share 3 / y of it, y = (1 + j) a / delta: the first term of Wait's formula for large y.
    """
    y = (1 + 1j) * 0.01 / eddy.skin_depth_m(1e15, 58e6, 1)
    assert targets.sphere(0.01, 58e6, 1, 1e15).axial == pytest.approx(-2 * pi * 1e-6 * (1 - 3 / y), rel=1e-11)
    assert disc(0.01, 1e-3, 58e6, 1e12).axial == pytest.approx(-8 / 3 * 1e-6, rel=1e-8)


@pytest.mark.parametrize("name", named("demag."))
def test_demagnetising_factors(name):
    """J. A. Osborn, Phys. Rev. 67 (1945) 351; Bozorth's table (published, quoted from memory)."""
    m = keys_of(name)["m"]
    n = targets.demagnetising_factor(1 / m if "oblate" in name else m)
    assert n == pytest.approx(value(name), rel=1e-9)


def test_the_demagnetising_factor_has_no_step_at_the_sphere():
    near = [targets.demagnetising_factor(1 + x) for x in (-2e-4, -1.01e-4, -0.99e-4, 0, 0.99e-4, 1.01e-4, 2e-4)]
    assert near[3] == pytest.approx(1 / 3, abs=1e-15)
    assert all(a > b for a, b in pairwise(near))
    assert near[2] - near[1] == pytest.approx(-4 / 15 * 2e-6, rel=0.05)


@pytest.mark.parametrize("name", named("cylinder"))
def test_cylinder_values(name):
    """Exact Bessel solutions in high precision (computed)."""
    of, want = keys_of(name), value(name)
    across = eddy.cylinder_transverse(of["r"], of["f"], of["sigma"], of["mur"])
    along = eddy.cylinder_axial_mu(of["r"], of["f"], of["sigma"], of["mur"])
    assert across == pytest.approx(complex_of(want["alpha_trans_per_m"]), rel=1e-9)
    assert along == pytest.approx(complex_of(want["mu_eff_axial"]), rel=1e-9)


def test_thick_coins():
    """Within 0.3 % of an independent ring model, itself within 0.6 % of a finite-volume solution (computed)."""
    for sigma, frequency in ((58e6, 25e3), (3e6, 25e3), (3e6, 2e3)):
        want = complex_of(value(f"disc a=12mm t=1.75mm sigma={sigma} f={frequency}"))
        assert ring_circuits.coin(0.012, 1.75e-3, sigma, frequency).axial == pytest.approx(want, rel=3e-3)


def test_the_error_of_the_thin_disc_formula():
    """Against the ring model: small at both ends of the frequency range (textbook limits), below 15 % between them."""
    a, t, sigma = 0.012, 2e-5, 58e6
    for frequency, tolerance in ((20, 0.01), (15e3, 0.15), (5e7, 0.02)):
        pole, ring = disc(a, t, sigma, frequency).axial, ring_circuits.RingBody(a, t, sigma, frequency)
        assert pole == pytest.approx(ring.axial_polarizability(), rel=tolerance)
    low = -1j * 2 * pi * 20 * MU0 * sigma * t * pi * a**4 / 8
    assert disc(a, t, sigma, 20).axial == pytest.approx(low, rel=0.01)


def test_loop_target_and_ring_model_agree():
    """A finger ring as one circuit, and as a washer of the same section cut into coaxial rings, agree within 3 %."""
    wire = 1.2e-3
    side = wire * np.sqrt(pi) / 2
    circuit = loop(9.4e-3, wire, 1e7, 25e3).axial
    washer = ring_circuits.coin(9.4e-3 + side / 2, side, 1e7, 25e3, inner_radius_m=9.4e-3 - side / 2).axial
    assert circuit == pytest.approx(washer, rel=0.03)


def test_a_ring_body_is_a_dipole_far_away():
    winding = make_winding(0.1, 30, 0.4e-3)
    body = ring_circuits.RingBody(0.012, 1.75e-3, 58e6, 25e3)
    dipole = targets.Polarizability(body.axial_polarizability(), 0j)
    for distance, tolerance in ((0.05, 0.05), (2.0, 2e-4)):
        far = target_response(winding, dipole, [0, 0, distance], [0, 0, 1], 25e3)
        assert body.response(winding, distance) == pytest.approx([float(part) for part in far], rel=tolerance)


def test_finite_elements_against_other_methods():
    """Three comparisons of the finite-element solution.

    Non-magnetic discs: the ring model, 0.8 %.  Grids twice as fine and as large move the finite elements by 0.4 % and
    0.3 %, and the ring model is 0.3 % and 0.2 % from there on the other side.
    A steel coin that faces the coil: an independent solution, -0.31-0.65j and -1.03-0.83j cm^3 (computed), 5 %.
    Bolt and nail along their axes: the closed formula of `rod` differs by 3 and 5 %; 6 % is asserted.
    """
    for a, t, sigma in ((0.012, 1.75e-3, 3e6), (0.056, 15e-6, 35e6)):
        ring = ring_circuits.RingBody(a, t, sigma, 25e3).axial_polarizability()
        assert facing.facing_polarizability(a, t, sigma, 1, 25e3) == pytest.approx(ring, rel=0.008)
    for frequency, want in ((25e3, -0.31 - 0.65j), (100e3, -1.03 - 0.83j)):
        coin = facing.facing_polarizability(0.01015, 1.65e-3, 6e6, 100, frequency)
        assert coin * 1e6 == pytest.approx(want, rel=0.05)
    for length, d in ((0.06, 0.01), (0.075, 3.5e-3)):
        solved = facing.facing_polarizability(d / 2, length, 6e6, 100, 25e3)
        assert rod(length, d, 6e6, 100, 25e3).axial == pytest.approx(solved, rel=0.06)


def test_a_flat_cap_agrees_with_two_other_solutions():
    """32 x 0.24 mm facing the coil, cm^3: finite volumes -3.20-2.81j, finite elements -3.21-2.84j (computed), 1 %."""
    cap = facing.facing_polarizability(0.016, 0.24e-3, 6e6, 100, 25e3) * 1e6
    assert cap == pytest.approx(-3.205 - 2.825j, rel=0.01)


def test_finite_elements_in_the_limits():
    """A thin iron disc in a static field: V (mu-1)/mu, because B does not change.  A perfect conductor: -(8/3) a^3."""
    a, t = 0.02, 2e-5
    static = facing.facing_polarizability(a, t, 0, 100, 25e3)
    assert static == pytest.approx(pi * a**2 * t * 0.99, rel=0.1)
    assert facing.facing_polarizability(a, t, 58e6, 1, 1e9) == pytest.approx(-8 / 3 * a**3, rel=0.01)


def test_the_sign_of_iron_depends_on_its_shape():
    """Sheet iron that faces the coil raises the frequency.  Sheet iron on edge, and rods, lower it.

    cm^3 of an independent computation that takes rods as spheroids: nail along its axis +4.66-4.77j, bolt +8.13-10.5j.
    5 and 3 % were found, 6 % is asserted: a spheroid is no cylinder.  The closed formula of `rod` is one of a spheroid,
    too, and is as far off.  Finite elements of the true shape agree within 2 % (test_body_responses.py).
    """
    steel = (6e6, 100.0)
    axial, across = coupling(Body("disc", *steel, 0.032, 0.24e-3), 25e3).polarizability()
    assert axial.real < 0 < across.real
    for body, want in (
        (Body("rod", *steel, 3.5e-3, length_m=0.075), 4.66 - 4.77j),
        (Body("rod", *steel, 0.01, length_m=0.06), 8.13 - 10.5j),
    ):
        axial, across = coupling(body, 25e3).polarizability()
        assert axial.real > across.real > 0
        assert axial * 1e6 == pytest.approx(want, rel=0.06)


def test_a_steel_ring_is_not_a_conducting_ring():
    """20 x 2 mm.  Flat, the magnetised wire takes away 90 % of the shift of its current.

    cm^3 by finite elements on triangles: -0.233-0.463j (tests/bench/bodies, 27,000 unknowns), 4 %.
    """
    axial, across = coupling(Body("ring", 6e6, 100.0, 0.02, 2e-3), 25e3).polarizability()
    assert axial * 1e6 == pytest.approx(-0.233 - 0.463j, rel=0.04)
    assert abs(axial.real) < 0.15 * abs(loop(0.009, 2e-3, 6e6, 25e3).axial.real)
    assert across.real > 0


@pytest.mark.parametrize(
    "make",
    [
        lambda: targets.sphere(0, 1e7, 1, 25e3),
        lambda: targets.sphere(0.01, -1, 1, 25e3),
        lambda: targets.sphere(0.01, 1e7, 0, 25e3),
        lambda: facing.facing_polarizability(0.01, -1e-3, 1e7, 100, 25e3),
        lambda: coupling(Body("rod", 1e7, 1.0, 0.01, length_m=-0.1), 25e3),
        lambda: coupling(Body("ring", 1e7, 1.0, 0.02, 0.01), 25e3),
        lambda: coupling(Body("disc", 1e7, 100.0, 0.01, 1e-3), -1.0),
        lambda: coupling(Body("washer", 1e7, 100.0, 0.01, 1e-3, hole_m=0.01), 25e3),
        lambda: coupling(Body("cap", 1e7, 100.0, 0.01, 6e-3, 5e-3), 25e3),
    ],
)
def test_impossible_bodies_are_refused(make):
    with pytest.raises(ValueError, match=r"must|wider"):
        make()
