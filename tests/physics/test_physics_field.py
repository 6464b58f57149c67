"""The coil's field against a general-purpose library, and against identities that it must satisfy."""

import numpy as np
import pytest
from check_values import keys_of, named, value
from coilcount.physics import coil, field
from coilcount.physics.constants import MU0
from coilcount.physics.winding import make_winding
from geoana.em.static import CircularLoopWholeSpace
from hypothesis import given
from hypothesis import strategies as st


@pytest.mark.parametrize("name", named("field.loop"))
def test_loop_field_values(name):
    """Against the elliptic-integral field in high precision (computed)."""
    at = keys_of(name)
    assert field.loop_field(0.05, at["rho"], at["z"]) == pytest.approx(value(name), rel=1e-10)


def test_loop_field_against_geoana():
    """geoana 0.8, a geophysics library.  The tolerance is 1e-9 because geoana uses the mu0 of CODATA."""
    loop = CircularLoopWholeSpace(radius=0.05, location=np.zeros(3), orientation="Z", current=1.0)
    rng = np.random.default_rng(1)
    at = rng.uniform(-0.3, 0.3, (300, 3))
    theirs = loop.magnetic_field(at)
    h_rho, h_z = field.loop_field(0.05, np.hypot(at[:, 0], at[:, 1]), at[:, 2])
    size = np.hypot(h_rho, h_z)
    assert np.max(np.abs(theirs[:, 2] - h_z) / size) < 1e-9
    assert np.max(np.abs(np.hypot(theirs[:, 0], theirs[:, 1]) - np.abs(h_rho)) / size) < 1e-9


def test_the_field_on_and_near_the_axis():
    """On the axis: textbook, R^2/(2 (R^2+z^2)^1.5).  Near it: h_rho = -(rho/2) dh_z/dz, from div H = 0."""
    z = np.array([-0.2, 0.0, 0.01, 0.1, 3.0])
    h_rho, h_z = field.loop_field(0.05, 0.0, z)
    assert np.all(h_rho == 0)
    assert h_z == pytest.approx(0.05**2 / 2 / (0.05**2 + z**2) ** 1.5, rel=1e-12)
    slope = 0.75 * 0.05**2 * z / (0.05**2 + z**2) ** 2.5
    assert field.loop_field(0.05, 1e-9, z)[0] == pytest.approx(1e-9 * slope, rel=1e-12)


@given(st.floats(0.01, 0.5), st.floats(0.01, 0.5), st.floats(0.05, 1))
def test_flux_of_the_field_is_the_mutual_inductance(a, b, d):
    """Two independent formulas for one quantity: mu0 times the flux of h_z through the other loop."""
    node, weight = np.polynomial.legendre.leggauss(60)
    rho = b * (node + 1) / 2
    flux = MU0 * np.sum(b / 2 * weight * 2 * np.pi * rho * field.loop_field(a, rho, d)[1])
    assert flux == pytest.approx(float(coil.mutual_inductance(a, b, d)), rel=1e-6)


def test_the_field_of_a_winding_is_the_sum_of_its_turns_and_close_to_that_of_its_mean_radius():
    winding = make_winding(0.1, 30, 0.4e-3)
    rho, z = np.array([[0.0, 0.02], [0.08, 0.2]]), 0.05
    whole, mean = field.winding_field(winding, rho, z), field.mean_radius_field(winding, rho, z)
    assert whole[0].shape == (2, 2)
    turns = [field.loop_field(r, 0.02, z - height)[1] for r, height in zip(winding.r_m, winding.z_m, strict=True)]
    assert whole[1][0, 1] == pytest.approx(sum(turns), rel=1e-12)
    assert np.hypot(*mean) == pytest.approx(np.hypot(*whole), rel=1e-3)


def test_a_loop_without_size_is_refused():
    with pytest.raises(ValueError, match="radius"):
        field.loop_field(0, 0.1, 0.1)
    with pytest.raises(ValueError, match="rho"):
        field.loop_field(0.1, -0.1, 0.1)
