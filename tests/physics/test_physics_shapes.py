"""Ovals, rectangles, stranded wire and shields against independent integrals and limits."""

from math import log, pi

import numpy as np
import pytest
from coilcount.physics import coil, field, field_vector, ground, shield, stray, tank, wire
from coilcount.physics.constants import MU0
from coilcount.physics.outline import Outline
from coilcount.physics.winding import SHAPES, Winding, make_winding
from coilcount.schema.coil import Coil
from hypothesis import given, settings
from hypothesis import strategies as st

AWG26 = wire.awg_diameter_m(26)


def oval_points(half_length: float, half_width: float, out: float, count: int) -> np.ndarray:
    """Corners of a polygon on the parallel curve of an ellipse, shape (count, 3)."""
    angle = np.arange(count) * 2 * pi / count
    normal = np.stack([half_width * np.cos(angle), half_length * np.sin(angle)], axis=-1)
    normal /= np.linalg.norm(normal, axis=-1, keepdims=True)
    base = np.stack([half_length * np.cos(angle), half_width * np.sin(angle)], axis=-1)
    return np.column_stack([base + out * normal, np.zeros(count)])


def rectangle_points(half_length: float, half_width: float, pieces: int) -> np.ndarray:
    """Points on a rectangle, `pieces` on each side, shape (4 pieces, 3)."""
    a, b = half_length, half_width
    corners = np.array([[a, -b, 0], [a, b, 0], [-a, b, 0], [-a, -b, 0]])
    share = np.arange(pieces)[:, None] / pieces
    return np.concatenate([corners[i - 1] + share * (corners[i] - corners[i - 1]) for i in range(4)])


def neumann(one: np.ndarray, other: np.ndarray) -> float:
    """Neumann's double integral by the middles of the sides of two polygons, in H.  Independent of the package."""
    d_one, d_other = np.roll(one, -1, 0) - one, np.roll(other, -1, 0) - other
    gap = np.linalg.norm((one + d_one / 2)[:, None] - (other + d_other / 2), axis=-1)
    return float(MU0 / (4 * pi) * np.sum(d_one @ d_other.T / gap))


def biot_savart(corners: np.ndarray, at: np.ndarray) -> np.ndarray:
    """Biot and Savart's law by the middles of the sides of a polygon, per ampere."""
    side = np.roll(corners, -1, 0) - corners
    gap = at - (corners + side / 2)
    return np.sum(np.cross(side, gap) / np.linalg.norm(gap, axis=-1, keepdims=True) ** 3, axis=0) / (4 * pi)


@pytest.mark.parametrize(("one", "other", "apart"), [(0.0, 0.0, 0.02), (0.005, -0.005, 0.01), (0.0, 0.004, 0.004)])
def test_mutual_inductance_of_ovals_is_neumanns_integral(one, other, apart):
    want = neumann(oval_points(0.1, 0.05, one, 1200), oval_points(0.1, 0.05, other, 1200) + np.array([0, 0, apart]))
    got = Outline("oval", 0.1, 0.05).mutual_inductance(one, other, apart)
    assert float(got) == pytest.approx(want, rel=1e-5)


def test_mutual_inductance_of_rectangles_is_neumanns_integral():
    """Sides of 400 pieces each; the corners limit the sum to about 1e-4."""
    line = rectangle_points(0.1, 0.04, 400)
    got = Outline("rectangle", 0.1, 0.04).mutual_inductance(0.0, 0.0, 0.02)
    assert float(got) == pytest.approx(neumann(line, line + np.array([0, 0, 0.02])), rel=2e-4)


@pytest.mark.parametrize("layout", ["bundle", "flat", "solenoid"])
def test_the_inductance_of_an_oval_is_the_sum_over_all_its_turns(layout):
    """The quick way (circles plus the difference by few filaments) against all pairs: 1e-4."""
    winding = make_winding(0.2, 12, 0.8e-3, layout, shape="oval", width_m=0.1)
    i, j = np.triu_indices(12, 1)
    outline, out, z = winding.outline, winding.out_m, winding.z_m
    own = outline.mutual_inductance(out, out, 0.4e-3 * np.exp(-0.25)).sum()
    both = outline.mutual_inductance(out[i], out[j], z[i] - z[j]).sum()
    assert coil.inductance(winding) == pytest.approx(float(own + 2 * both), rel=1e-4)


def test_a_round_oval_is_a_circle():
    for layout in ("bundle", "flat"):
        circle = make_winding(0.1, 20, AWG26, layout)
        oval = make_winding(0.1, 20, AWG26, layout, shape="oval")
        assert coil.inductance(oval) == pytest.approx(coil.inductance(circle), rel=3e-5)
        assert coil.ac_resistance(oval, 25e3) == pytest.approx(coil.ac_resistance(circle, 25e3), rel=1e-9)
        at = np.array([[0.02, 0.03, -0.06], [0.0, 0.0, -0.1]])
        near, far = field_vector.field_vector(oval, at), field_vector.field_vector(circle, at)
        assert near == pytest.approx(far, rel=2e-3)
    assert field_vector.outline_gain(circle, np.array([-0.1])) == 1
    assert ground.soil_response(oval, 0.05, 1e-3, 25e3)[0] == pytest.approx(
        ground.soil_response(circle, 0.05, 1e-3, 25e3)[0], rel=1e-6
    )


def test_the_field_of_ovals_and_rectangles_is_that_of_a_polygon():
    at = np.array([0.03, -0.02, 0.05])
    oval = Outline("oval", 0.1, 0.05).field(0.004, *at)
    assert oval == pytest.approx(biot_savart(oval_points(0.1, 0.05, 0.004, 4000), at), rel=1e-5)
    line = rectangle_points(0.1, 0.04, 1000)
    assert Outline("rectangle", 0.1, 0.04).field(0.0, *at) == pytest.approx(biot_savart(line, at), rel=1e-5)


@settings(max_examples=15, deadline=None)
@given(st.sampled_from(SHAPES), st.floats(0.4, 1.0), st.floats(0.5, 8.0))
def test_inductance_of_every_shape_is_proportional_to_size(shape, ratio, factor):
    width = None if shape == "circle" else 0.15 * ratio
    one = make_winding(0.15, 9, 0.4e-3, shape=shape, width_m=width)
    other = make_winding(0.15 * factor, 9, 0.4e-3 * factor, shape=shape, width_m=width and width * factor)
    assert coil.inductance(other) == pytest.approx(factor * coil.inductance(one), rel=1e-9)
    assert other.wire_length_m == pytest.approx(factor * one.wire_length_m)


def test_far_away_every_shape_is_a_dipole_of_its_area():
    """Textbook: h = N A/(2 pi z^3) on the axis."""
    for shape in SHAPES:
        winding = make_winding(0.12, 10, 0.4e-3, shape=shape, width_m=None if shape == "circle" else 0.08)
        area = pi * float((winding.r_m**2).sum())
        assert float(field_vector.axis_field(winding, -6.0)) == pytest.approx(area / (2 * pi * 6.0**3), rel=1e-3)
        assert float(field_vector.outline_gain(winding, -6.0)) == pytest.approx(1, rel=1e-3)


def test_a_wide_spiral_over_soil():
    """Few filaments against all pairs of turns with their images, 0.5 %; and soil as a plane by Dodd and Deeds."""
    spiral, chi, height = make_winding(0.15, 30, 0.8e-3, "flat", 1.5e-3), 1e-3, 0.03
    pairs = coil.mutual_inductance(spiral.r_m[:, None], spiral.r_m, 2 * height).sum()
    d_l, _ = ground.soil_response(spiral, height, chi, 25e3)
    assert float(d_l) == pytest.approx(chi / (2 + chi) * pairs, rel=5e-3)
    assert ground.plane_response(spiral, height, 0.0, 1 + chi, 25e3)[0] == pytest.approx(float(d_l), rel=1e-5)
    one = chi / (2 + chi) * 900 * float(coil.mutual_inductance(0.075, 0.075, 2 * height))
    assert abs(one / float(d_l) - 1) > 0.02  # one filament would not do


def test_a_winding_on_a_former():
    """The innermost enamelled turn touches the former; one turn is one wire thicker than the former."""
    one = make_winding(1.0, 1, 0.4e-3, inner_diameter_m=0.1)
    assert one.mean_radius_m == pytest.approx(0.05 + 0.555 * 0.4e-3)
    bundle = make_winding(1.0, 30, 0.4e-3, inner_diameter_m=0.1)
    assert bundle.r_m.min() - 0.555 * 0.4e-3 == pytest.approx(0.05)
    mean = make_winding(2 * bundle.mean_radius_m, 30, 0.4e-3)
    assert coil.inductance(bundle) == pytest.approx(coil.inductance(mean), rel=1e-12)


def test_stranded_wire():
    """One strand is a plain wire.  Many thin strands of the same copper have less loss, and the same dc resistance."""
    plain, single = make_winding(0.1, 30, 0.4e-3), make_winding(0.1, 30, wire.Wire(0.4e-3))
    assert coil.wire_impedance(plain, 25e3) == coil.wire_impedance(single, 25e3)
    litz = make_winding(0.1, 30, wire.Wire(0.1e-3, 16))
    dc = coil.dc_resistance(litz)
    assert dc == pytest.approx(coil.dc_resistance(plain) * wire.TWIST, rel=1e-3)
    assert coil.ac_resistance(litz, 100e3) / dc < 1.2 < coil.ac_resistance(plain, 100e3) / coil.dc_resistance(plain)
    two = wire.read_wire("2x0.4mm")
    assert two.copper_m2 == pytest.approx(2 * pi / 4 * 0.4e-3**2)
    assert two.diameter_m >= 0.8e-3


def test_a_shield_of_poor_conductor_adds_the_loss_that_maxwells_series_gives():
    """dR = w^2 sum g_k m_k^2 in the resistive limit, with m = mu0 N (b/2) (ln(8R/b) - 1) cos(angle).

    That is the uneven part of the mutual inductance by Maxwell's series (Treatise, section 705); the even part drives
    no current, because of the slot.
    """
    turn = Winding(np.array([0.05]), np.zeros(1), 1e-4)
    gap, thickness, frequency = 2e-3, 50e-6, 25e3
    b = gap + 0.5e-4
    _, d_r = shield.shield_response(turn, "graphite", gap, thickness, frequency)
    conductance = shield.CONDUCTIVITY["graphite"] * thickness * 2 * pi * b / (2 * pi * 0.05)
    uneven = MU0 * b / 2 * (log(8 * 0.05 / b) - 1)
    assert d_r == pytest.approx((2 * pi * frequency * uneven) ** 2 * conductance / 2, rel=0.02)


def test_a_shield_lowers_inductance_and_adds_loss_in_proportion_to_its_conductance():
    winding = make_winding(0.1, 30, AWG26)
    found = [shield.shield_response(winding, "aluminium", 5e-3, t, 25e3) for t in (1e-6, 2e-6, 5e-5)]
    assert all(d_l < 0 < d_r for d_l, d_r in found)
    assert found[1][1] / found[0][1] == pytest.approx(2, rel=0.01)
    with pytest.raises(ValueError, match="known are"):
        shield.shield_response(winding, "gold", 5e-3, 5e-5, 25e3)


def test_own_capacitance_enters_the_frequency():
    """An independent estimate (computed): 10 pF beside 180 nF lower 25 kHz by 0.7 Hz, 150 pF by 10 Hz."""
    sizes = Coil(diameter_mm=100, turns=30, capacitor_nf=180.0).si()
    bare, small, large = (
        tank.make_tank(**(sizes | {"own_capacitance_f": pf * 1e-12})).frequency_hz for pf in (0, 10, 150)
    )
    assert bare - small == pytest.approx(0.7, abs=0.05)
    assert bare - large == pytest.approx(10.4, abs=0.3)
    usual = tank.make_tank(**sizes)
    assert usual.own_f[0] < usual.own_f[1] < usual.own_f[2]
    assert large < usual.frequency_hz < small


def test_the_capacitance_of_a_flat_spiral_grows_with_size_and_is_near_that_of_a_layer():
    low, usual, high = stray.own_capacitance_f(make_winding(0.1, 30, 0.4e-3, "flat"), "flat")
    assert low < usual < high
    twice = stray.own_capacitance_f(make_winding(0.2, 30, 0.8e-3, "flat"), "flat")
    assert twice == pytest.approx((2 * low, 2 * usual, 2 * high), rel=1e-9)
    layer = stray.own_capacitance_f(make_winding(0.1, 30, 0.4e-3, "solenoid"), "solenoid")
    assert usual == pytest.approx(layer[1], rel=0.2)


def test_cable_and_capacitor_loss():
    sizes = Coil(diameter_mm=100, turns=30, capacitor_nf=180.0, cable_m=2.0, capacitor_in_head=False).si()
    no_cable = sizes | {"cable_f": 0.0, "cable_ohm": 0.0, "cable_h": 0.0}
    with_cable, without = tank.make_tank(**sizes), tank.make_tank(**no_cable)
    assert with_cable.resistance_ohm - without.resistance_ohm == pytest.approx(0.2, rel=0.01)
    assert with_cable.capacitance_f - without.capacitance_f == pytest.approx(200e-12)
    assert with_cable.frequency_hz < without.frequency_hz
    polyester = tank.make_tank(**(sizes | {"dielectric": "polyester"}))
    assert polyester.q == with_cable.q
    assert 1 / polyester.q_tank - 1 / with_cable.q_tank == pytest.approx(0.019, rel=0.01)
    # Loss in the capacitor takes its share of the amplitude's answer to loss in the coil.
    assert polyester.amplitude(0.0, 1e-3) == pytest.approx(-1e-3 / polyester.resistance_ohm * polyester.coil_share)


def test_the_field_on_the_axis_of_a_circle_is_that_of_its_turns():
    winding = make_winding(0.1, 30, AWG26, "flat")
    z = np.array([-0.05, -0.2])
    assert field_vector.axis_field(winding, z) == pytest.approx(field.winding_field(winding, 0.0, z)[1])
