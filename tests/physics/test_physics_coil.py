"""Wire and coil against published examples, tables and closed forms."""

from math import pi, sqrt

import numpy as np
import pytest
from check_values import keys_of, named, value
from coilcount.physics import coil, eddy, wire
from coilcount.physics.constants import MATERIALS, MU0
from coilcount.physics.winding import LAYOUTS, Winding, make_winding
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import ellipe, ellipk

AWG26 = wire.awg_diameter_m(26)


def nagaoka_factor(diameter_over_length: float) -> float:
    """Nagaoka's end correction of a current sheet, exact (H. Nagaoka 1909; Rosa and Grover, table XXI)."""
    u = diameter_over_length
    m = u * u / (1 + u * u)
    k, e = float(ellipk(m)), float(ellipe(m))
    return 4 / (3 * pi) * sqrt(1 + u * u) * ((k - e) / (u * u) + e - m / sqrt(m))


def current_sheet_inductance(radius_m: float, length_m: float, turns: int) -> float:
    """Inductance in H of a thin current sheet: mu0 N^2 pi R^2 / l times Nagaoka's factor."""
    return MU0 * turns**2 * pi * radius_m**2 / length_m * nagaoka_factor(2 * radius_m / length_m)


@pytest.mark.parametrize("name", named("awg"))
def test_wire_gauges_follow_the_standard(name):
    """Diameter: rule of ASTM B258.  Resistance: IEC 60028 copper, and the rounded NBS copper wire tables.

    Both published, quoted from memory.
    """
    want = value(name)
    d = wire.awg_diameter_m(int(name[3:]))
    assert d * 1e3 == pytest.approx(want["d_mm"], abs=5e-6)
    per_km = wire.dc_resistance_ohm(1000, d)
    assert per_km == pytest.approx(want["ohm_per_km_20C"], abs=5e-4)
    assert per_km * 0.3048 == pytest.approx(want["nbs_ohm_per_kft"], rel=5e-4)


def test_wire_sizes_are_read_with_or_without_space_and_in_any_case():
    assert wire.parse_wire("26 AWG") == wire.parse_wire(" 26awg ") == AWG26
    for text in ("0.4 mm", ".4mm", "400 um"):
        assert wire.parse_wire(text) == pytest.approx(0.4e-3)
    assert wire.parse_wire("0.016 in") == pytest.approx(0.4064e-3)
    assert wire.read_wire("AWG 26") == wire.Wire(AWG26)
    assert wire.read_wire("20x0.1mm") == wire.read_wire("20 × 0.1 MM") == wire.Wire(0.1e-3, 20)
    assert wire.read_wire("2 x 26 AWG") == wire.Wire(AWG26, 2)


@pytest.mark.parametrize("text", ["", "26", "AWG", "-3 AWG", "51 AWG", "0 mm", "0.4", "1_0 mm", "nan mm", "0x1mm"])
def test_a_text_that_is_no_wire_size_is_refused(text):
    with pytest.raises(ValueError, match=r"wire"):
        wire.parse_wire(text)


def test_a_decimal_comma_gets_a_hint():
    with pytest.raises(ValueError, match=r'decimal point.*"0\.4mm"'):
        wire.parse_wire("0,4mm")


@pytest.mark.parametrize("name", named("skin."))
def test_skin_depth(name):
    """1/sqrt(pi f mu sigma) for handbook conductivities (published, quoted from memory)."""
    want = value(name)
    for frequency, key in ((25e3, "d25k_mm"), (100e3, "d100k_mm")):
        assert eddy.skin_depth_m(frequency, want["sigma"], want["mur"]) * 1e3 == pytest.approx(want[key], rel=1e-9)


def test_materials_agree_with_the_handbook_conductivities():
    for ours, theirs in (("copper", "copper IACS"), ("brass", "brass 70/30"), ("cupronickel", "cupronickel 75/25")):
        assert MATERIALS[ours].conductivity == pytest.approx(value(f"skin.{theirs}")["sigma"], rel=0.05)
    assert MATERIALS["copper"].conductivity == value("iacs")["conductivity_S_per_m"]


def test_round_wire_at_both_ends_of_the_skin_effect():
    """Textbook limits: R_ac/R_dc = 1 + (a/delta)^4/48 for thin wire, a/(2 delta) + 1/4 for thick."""
    delta = eddy.skin_depth_m(25e3, 58e6)
    assert wire.skin_factor(0.4 * delta, 25e3) - 1 == pytest.approx(0.2**4 / 48, rel=1e-3)
    assert wire.skin_factor(2000 * delta, 25e3) == pytest.approx(500.25, rel=1e-5)


@pytest.mark.parametrize("name", named("mutual."))
def test_mutual_inductance(name):
    """Maxwell's formula, DLMF 19.34, in high precision."""
    cm = keys_of(name)
    got = coil.mutual_inductance(cm["a"] / 100, cm["b"] / 100, cm["d"] / 100)
    assert got * 1e9 == pytest.approx(float(value(name)), rel=1e-12)


def test_the_worked_examples_of_rosa_and_grover():
    """NBS Scientific Paper 169 (1912), lengths in cm = nH: two circles 248.787; a ring of 25 cm 654.405 pi."""
    assert round(float(coil.mutual_inductance(0.25, 0.20, 0.10)) * 1e9, 3) == 248.787
    assert round(float(coil.ring_inductance(0.25, 0.05e-2)) * 1e9 / pi, 3) == 654.405


@pytest.mark.parametrize("name", named("nagaoka."))
def test_the_nagaoka_factor_of_these_tests_in_high_precision(name):
    """The factor that `current_sheet_inductance` above uses, against the same form in high precision (computed)."""
    assert nagaoka_factor(float(name.split("=")[1])) == pytest.approx(float(value(name)), rel=1e-12)


def test_the_nagaoka_factor_of_these_tests_against_the_published_table():
    """Rosa and Grover, NBS Scientific Paper 169, table XXI, six digits.  The entry at 10 is a known misprint."""
    assert round(nagaoka_factor(1), 6) == 0.688423
    assert nagaoka_factor(10) == pytest.approx(0.203315, rel=5e-5)
    assert round(nagaoka_factor(10), 6) == 0.203324


def test_brooks_coil():
    """Grover 1946 (published, quoted from memory): L = 1.69938e-6 a N^2 for a square section of side 2a/3.

    Each square cell of the section is replaced by a round wire with the same geometric mean distance.
    """
    n, mean = 24, 0.05
    pitch = mean / 1.5 / n
    grid = (np.arange(n) - (n - 1) / 2) * pitch
    r, z = (g.ravel() for g in np.meshgrid(mean + grid, grid))
    cell = Winding(r, z, 2 * 0.447 * pitch * np.exp(0.25))
    assert coil.inductance(cell) == pytest.approx(value("brooks.P") * mean * n**4, rel=1e-4)


def test_single_layer_coil():
    """Against an independent sum over the turns (computed), and within 1 % of a current sheet of the same length."""
    winding = make_winding(0.1, 30, AWG26, "solenoid", 0.45e-3)
    assert coil.inductance(winding) == pytest.approx(value(named("coil.rings")[0]), rel=1e-6)
    sheet = current_sheet_inductance(0.05, 13.5e-3, 30)
    assert sheet == pytest.approx(value(named("coil.sheet")[0]), rel=1e-9)
    assert coil.inductance(winding) == pytest.approx(sheet, rel=0.01)


def test_a_flat_layer_and_a_single_layer_of_the_same_width_agree():
    """Both have the same geometric mean distance, so nearly the same inductance."""
    flat, layer = (make_winding(0.1, 30, AWG26, layout, 0.45e-3) for layout in ("flat", "solenoid"))
    assert coil.inductance(flat) == pytest.approx(coil.inductance(layer), rel=0.005)


def test_resistance_at_25_khz():
    """Independent computation for 30 turns of 26 AWG, 10 cm, pitch 0.45 mm: 1.262 ohm dc, 1.442 ohm at 25 kHz."""
    winding = make_winding(0.1, 30, AWG26, "bundle", 0.45e-3)
    assert coil.inductance(winding) == pytest.approx(224.7e-6, rel=5e-4)
    assert coil.dc_resistance(winding) == pytest.approx(1.262, abs=5e-4)
    assert coil.ac_resistance(winding, 25e3) == pytest.approx(1.442, abs=1e-3)
    assert coil.ac_resistance(winding, 100e3) / coil.dc_resistance(winding) == pytest.approx(3.09, abs=5e-3)


@pytest.mark.parametrize("layout", LAYOUTS)
@pytest.mark.parametrize("turns", [1, 2, 17, 30])
def test_every_layout_keeps_its_mean_diameter_and_its_pitch(layout, turns):
    winding = make_winding(0.2, turns, 0.5e-3, layout, 0.8e-3)
    assert winding.turns == turns
    assert winding.mean_radius_m == pytest.approx(0.1, abs=1e-12)
    assert winding.z_m.mean() == pytest.approx(0, abs=1e-12)
    apart = np.hypot(winding.r_m[:, None] - winding.r_m, winding.z_m[:, None] - winding.z_m) + 9 * np.eye(turns)
    assert apart.min() == pytest.approx(0.8e-3 if turns > 1 else 9)


@pytest.mark.parametrize(
    "wrong",
    [
        {"turns": 0},
        {"turns": 2.5},
        {"diameter_m": -1},
        {"wire_diameter_m": 0},
        {"layout": "square"},
        {"pitch_m": 0.1e-3},
        {"diameter_m": 3e-3},
    ],
)
def test_a_coil_that_cannot_be_wound_is_refused(wrong):
    good = {"diameter_m": 0.1, "turns": 30, "wire_diameter_m": 0.4e-3, "layout": "bundle", "pitch_m": None}
    make_winding(**good)
    with pytest.raises(ValueError, match=r"."):
        make_winding(**(good | wrong))


sizes = st.floats(1e-3, 1.0)


@given(sizes, sizes, st.floats(1e-3, 30))
def test_mutual_inductance_is_symmetric_scales_with_size_and_is_a_dipole_far_away(a, b, d):
    m = coil.mutual_inductance(a, b, d)
    assert m > 0
    assert coil.mutual_inductance(b, a, -d) == pytest.approx(m, rel=1e-12)
    assert coil.mutual_inductance(3 * a, 3 * b, 3 * d) == pytest.approx(3 * m, rel=1e-12)
    far = 1e4 * (a + b)
    dipole = 4e-7 * pi * pi * a**2 * b**2 / (2 * far**3)
    assert coil.mutual_inductance(a, b, far) == pytest.approx(dipole, rel=1e-6)


@given(st.sampled_from(LAYOUTS), st.integers(1, 40), st.floats(0.5, 20))
def test_inductance_is_proportional_to_size(layout, turns, factor):
    one = coil.inductance(make_winding(0.15, turns, 0.4e-3, layout))
    other = coil.inductance(make_winding(0.15 * factor, turns, 0.4e-3 * factor, layout))
    assert other == pytest.approx(factor * one, rel=1e-9)
