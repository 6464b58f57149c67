"""The plan's figures for building: loss, drift, current, an object off the axis, warnings, and inputs as typed."""

import re
from dataclasses import replace
from math import cos, pi, radians, sin

import numpy as np
import pytest
from coilcount.commands.plan_shape_options import changed, settle_sizes
from coilcount.errors import InputError
from coilcount.face.plan_build_text import short_tank_line, tank_line
from coilcount.model.plan_build import CableFigures, DriftFigures, OffsetFigures, PlanWarning, ShieldFigures
from coilcount.physics import oscillator
from coilcount.physics.drift import drift, resistivity_slopes
from coilcount.physics.winding import make_winding
from coilcount.plan import capacitor, coil, pair, power
from coilcount.plan.drift import drift_section
from coilcount.plan.offset import offset_section
from coilcount.plan.quantity import quantity
from coilcount.plan.warnings import warnings_section
from coilcount.schema.coil import Coil
from coilcount.schema.plan import USUAL_COIL, PlanFile
from coilcount.schema.tables import to_toml
from coilcount.simulate.coil import CoilModel
from coilcount.simulate.load import load_scene
from hypothesis import given, settings
from hypothesis import strategies as st

PLAN = PlanFile()
TANK = coil.tank_of(USUAL_COIL)


def plan_with(**changes) -> PlanFile:
    return replace(PLAN, coil=replace(USUAL_COIL, **changes))


ONE_LAYER = plan_with(diameter_mm=80.0, turns=50, wire="0.4 mm", layout="solenoid", capacitor_nf=100.0, centre_tap=True)


@pytest.mark.parametrize(
    ("text", "unit", "want"),
    [
        ("220nf", "F", 220e-9),
        ("220NF", "F", 220e-9),
        ("220n", "F", 220e-9),
        ("4in", "m", 0.1016),
        ('4"', "m", 0.1016),
        ("0.4 mm", "m", 0.4e-3),
        ("50um", "m", 50e-6),
        ("25KHz", "Hz", 25e3),
        ("0.1MHz", "Hz", 1e5),
        ("2.4v", "V", 2.4),
        ("100pF/m", "F/m", 100e-12),
        ("10°", "deg", 10.0),
        ("10 deg", "deg", 10.0),
    ],
)
def test_quantities_as_people_type_them(text, unit, want):
    assert quantity(text, unit, "x", 0, 1e9, "") == pytest.approx(want, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "unit", "hint"),
    [
        ("0,4mm", "m", "Write a decimal point instead of the comma: 0.4mm"),
        ("220", "F", "Write it with its unit: 9x"),
        ("2.4MV", "V", "Write it with its unit"),
        ("4 feet", "m", "Write it with its unit"),
    ],
)
def test_a_wrong_quantity_has_a_hint(text, unit, hint):
    with pytest.raises(InputError) as caught:
        quantity(text, unit, "--x", 0, 1, "9x")
    assert hint in str(caught.value)
    assert "\n" not in str(caught.value)


def test_the_dielectric_changes_q_loss_and_drift():
    """An independent computation (computed): Q 24.5 of the coil, 16 with polyester."""
    usual, polyester = (coil.tank_of(plan_with(dielectric=name).coil) for name in ("C0G", "polyester"))
    assert usual.q == polyester.q == pytest.approx(24.5, abs=0.1)
    section = coil.coil_section(plan_with(dielectric="polyester").coil, polyester)
    assert section["q_tank"] == pytest.approx(16.4, abs=0.2)
    steady, moving = (
        drift_section(plan_with(dielectric=name), tank)["temperature_ppm_per_k"]
        for name, tank in (("C0G", usual), ("polyester", polyester))
    )
    assert moving[1] - steady[1] == pytest.approx(-250, rel=0.01)
    assert power.parallel_ohm(polyester) / power.parallel_ohm(usual) == pytest.approx(16.4 / 23.9, rel=0.02)


def test_thick_wire_gains_resistance_with_temperature():
    """Textbook limits of d ln R/d ln(resistivity) for one straight wire: 1 thin, 1/2 thick.

    Eddy currents by neighbours fall with the resistivity in thin wire (slope below 1) and rise in thick wire.
    """
    assert resistivity_slopes(make_winding(0.2, 1, 0.1e-3), 25e3)[0] == pytest.approx(1, abs=1e-3)
    assert resistivity_slopes(make_winding(0.5, 1, 40e-3), 25e3)[0] == pytest.approx(0.5, abs=0.02)
    thin, thick = (resistivity_slopes(make_winding(0.2, 30, d), 25e3) for d in (0.4e-3, 4e-3))
    assert 0.5 < thin[0] < 1
    assert thick[0] == pytest.approx(0.5, abs=0.1)
    assert thick[1] > 0 < thin[1]  # weaker eddy currents leave more inductance


def test_plan_and_simulator_drift_alike(tmp_path):
    """One function for both: temperature and amplitude per kelvin, supply, and the frequency itself."""
    plan = plan_with(dielectric="polypropylene", former="plastic", wire="0.8 mm", shape="oval", width_mm=80.0)
    (tmp_path / "plan.toml").write_text(to_toml(plan), encoding="utf-8")
    scene = tmp_path / "scene.toml"
    scene.write_text('schema = 1\nplan = "plan.toml"\nduration_s = 20\n', encoding="utf-8")
    model, tank = CoilModel(load_scene(str(scene))), coil.tank_of(plan.coil)
    section = drift_section(plan, tank)
    assert model.f0_hz == tank.frequency_hz
    assert model.temperature_per_k * 1e6 == pytest.approx(section["temperature_ppm_per_k"][1], rel=1e-12)
    assert model.amplitude_per_k * 100 == pytest.approx(section["amplitude_percent_per_k"], rel=1e-12)
    assert model.supply_shift(np.array([1.01]))[0] * 1e6 == pytest.approx(section["supply_ppm_per_percent"], rel=0.01)


def test_supply_pushing_by_formula_and_of_the_default_oscillator():
    """An independent integration of a van der Pol oscillator (computed): -1.6 ppm for 1 % at Q 24.5, gain 1.5."""
    section = drift_section(PLAN, TANK)
    assert section["supply_ppm_per_percent"] == pytest.approx(-1.6, abs=0.1)
    assert section["supply_ppm_per_percent"] * 1e-4 == pytest.approx(oscillator.supply_pushing(TANK.q_tank, 1.5))
    assert section["pair_supply_ppm_per_percent"] == pair.PUSHING_UNTAPPED_PPM  # the default coil has no tap
    tapped = drift_section(plan_with(centre_tap=True), TANK)
    assert tapped["pair_supply_ppm_per_percent"] == pair.PUSHING_PPM
    total = drift(TANK, "glass-fibre", "C0G", 1.5).total_per_k
    assert section["temperature_ppm_per_k"] == pytest.approx([value * 1e6 for value in total])
    assert section["temperature_hz_per_k"][1] == pytest.approx(total[1] * TANK.frequency_hz)


def test_the_battery_lasts_as_long_as_the_tank_allows():
    """A circuit simulation (computed): the default oscillator takes 7.4 of 52 mA; its tail current goes with V/R."""
    usual = power.power_section(PLAN, TANK)
    assert usual["oscillator_ma"] == pytest.approx(7.4, abs=0.1)
    assert usual["supply_ma"] == pytest.approx(52, abs=0.5)
    assert usual["supply_from"] == "the tank"
    same, louder = (power.power_section(replace(PLAN, tank_peak_v=k * usual["tank_peak_v"]), TANK) for k in (1, 2))
    assert same["oscillator_ma"] == pytest.approx(usual["oscillator_ma"])
    assert louder["oscillator_ma"] - usual["oscillator_ma"] == pytest.approx(pair.TAIL_MA)
    assert louder["battery_h"] < usual["battery_h"]
    given_ma = power.power_section(replace(PLAN, supply_ma=100.0), TANK)
    assert (given_ma["battery_h"], given_ma["supply_from"]) == (20.0, "given")


def test_the_voltage_across_the_coil_is_that_of_the_default_oscillator_unless_it_is_given():
    """2.4 V with a centre tap and the loss of the coil alone, half of it with 470 ohm at each end (simulated)."""
    tapped = plan_with(centre_tap=True)
    no_loss = 890 * 25.0 / 24.7  # ohm; the circuit simulation leaves out the loss of the capacitor
    assert pair.pair_peak_v(no_loss, tapped=True) == pytest.approx(2.4, rel=0.03)
    assert power.power_section(tapped, TANK)["tank_peak_v"] == pytest.approx(2.33, rel=0.01)
    assert power.power_section(PLAN, TANK)["tank_peak_v"] == pytest.approx(1.28, rel=0.01)
    assert capacitor.capacitor_section(tapped, TANK)["rated_v"] == pytest.approx(4.65, rel=0.01)
    found = pair.tank_voltage(replace(PLAN, tank_peak_v=5.0), TANK)
    assert (found.peak_v, found.peak_v_from, found.centre_tap) == (5.0, "given", False)
    assert "as given" in tank_line(found) and "gives 1.3 V" in tank_line(found)
    untapped, whole = (tank_line(pair.tank_voltage(plan, TANK)) for plan in (PLAN, tapped))
    assert "470 ohm from each coil end" in untapped and "(--centre-tap), which gets 2.3 V" in untapped
    short = short_tank_line(pair.tank_voltage(PLAN, TANK))
    assert short == "1.3 V peak, fed by 470 ohm at each end; 2.3 V with --centre-tap."
    assert whole == "2.3 V peak across the coil, with the default oscillator."
    polyester = plan_with(dielectric="polyester", centre_tap=True)
    assert power.power_section(polyester, coil.tank_of(polyester.coil))["tank_peak_v"] < 1.75


def test_stray_capacitance_is_taken_off_the_capacitor():
    """A small capacitor at 100 kHz: the value that is computed gives the frequency with the coil's own capacitance."""
    small = replace(USUAL_COIL, turns=60, cable_m=1.0)
    needed = capacitor.capacitance_f(small, 100e3)
    tank = coil.tank_of(replace(small, capacitor_nf=needed * 1e9))
    assert tank.frequency_hz == pytest.approx(100e3, rel=1e-9)
    assert tank.capacitance_f - needed == pytest.approx(tank.own_f[1] + 100e-12)
    ranges = capacitor.frequency_range(small, tank, 0.05)
    own, whole = ranges["frequency_by_own_capacitance_hz"], ranges["frequency_range_hz"]
    assert own[0] < 99e3 < 100e3 < own[1]
    assert whole[0] < own[0] < own[1] < whole[1]
    with pytest.raises(InputError, match="above the coil's own resonance"):
        capacitor.capacitance_f(replace(small, turns=200), 150e3)


@pytest.mark.parametrize(
    ("plan", "words"),
    [
        (replace(plan_with(), frequency_hz=28.3e3), r"-11.6 % off the wanted 28.3 kHz.*only 2.5 %.*it takes 141 nF"),
        (plan_with(turns=12), "reactance is .* ohm, outside 22 to 55 ohm.*Take more turns with a larger|smaller"),
        (plan_with(turns=80, capacitor_nf=1.0), "reactance.*fewer turns"),
        (plan_with(wire="0.12 mm"), "Q is only.*Take thicker wire"),
        (plan_with(turns=80, capacitor_nf=1.0), "may be .* pF.*of all"),
        (plan_with(wire="1.4 mm"), "skin depths thick.*only estimates"),
        (replace(PLAN, tank_peak_v=3.8), "begins to saturate above 3.7 V peak, and the tank has 3.8 V.*larger R6"),
        (ONE_LAYER, "begins to saturate above 3.7 V"),
    ],
)
def test_warnings_say_what_why_and_what_to_change(plan, words):
    found = warnings_section(plan, coil.tank_of(plan.coil))
    assert all(set(warning) == {"what", "why", "change"} and all(warning.values()) for warning in found)
    texts = [" ".join(warning.values()) for warning in found]
    assert any(re.search(words, text) for text in texts), texts


def test_a_voltage_of_another_oscillator_is_not_judged_by_the_default_one():
    assert warnings_section(replace(PLAN, tank_peak_v=27.0, supply_ma=100.0), TANK) == []


def test_the_usual_coil_needs_no_warning():
    assert warnings_section(replace(PLAN, frequency_hz=25e3), TANK) == []


@settings(max_examples=10, deadline=None)
@given(st.floats(0, 15), st.floats(0, 40), st.floats(3, 20))
def test_an_object_off_the_axis_of_a_tilted_coil(offset_cm, tilt_deg, depth_cm):
    """Against Biot and Savart's law over the points of the tilted circle, independent of the package."""
    plan = replace(PLAN, offset_cm=offset_cm, tilt_deg=tilt_deg)
    tank = replace(TANK, winding=make_winding(0.1, 1, 0.4e-3))
    angle, tilt = np.arange(2000) * 2 * pi / 2000, radians(tilt_deg)
    flat = 0.05 * np.stack([np.cos(angle), np.sin(angle), 0 * angle], axis=-1)
    turn = np.array([[cos(tilt), 0, sin(tilt)], [0, 1, 0], [-sin(tilt), 0, cos(tilt)]])  # the side towards +x goes down

    def field(points, at):
        side = np.roll(points, -1, 0) - points
        gap = np.array(at) - points - side / 2
        return np.sum(np.cross(side, gap) / np.linalg.norm(gap, axis=-1, keepdims=True) ** 3, axis=0) / (4 * pi)

    h, centred = field(flat @ turn.T, [offset_cm / 100, 0, -depth_cm / 100]), field(flat, [0, 0, -depth_cm / 100])
    found, scale = offset_section(plan, tank, depth_cm), centred @ centred
    assert found["ball"] == pytest.approx(h @ h / scale, rel=1e-4)
    assert found["flat"] == pytest.approx(h[2] ** 2 / scale, rel=1e-4, abs=1e-6)
    assert found["lying_rod"] == pytest.approx(h[0] ** 2 / scale, rel=1e-4, abs=1e-6)


def test_the_records_hold_exactly_the_keys_of_the_sections():
    built = replace(USUAL_COIL, cable_m=1.0, shield="copper")
    section = coil.coil_section(built, coil.tank_of(built))
    assert CableFigures(**section["cable"]).shift_hz < 0 < ShieldFigures(**section["shield"]).shift_hz
    assert DriftFigures(**drift_section(PLAN, TANK)).loop_gain == 1.5
    assert OffsetFigures(**offset_section(PLAN, TANK, 10.0)).ball == pytest.approx(1)
    few = plan_with(turns=12)
    assert [PlanWarning(**row).what for row in warnings_section(few, coil.tank_of(few.coil))]


def test_sizes_that_exclude_each_other():
    round_, oval = Coil(inner_diameter_mm=90.0), Coil(shape="oval", diameter_mm=150.0, width_mm=80.0)
    for before, new, want in (
        (round_, {"diameter_mm": 120.0}, (120.0, None, None)),
        (round_, {"turns": 20}, (180.0, None, 90.0)),
        (oval, {"turns": 20}, (150.0, 80.0, None)),
        (oval, {"shape": "circle"}, (150.0, None, None)),
        (round_, {"shape": "rectangle", "diameter_mm": 100.0, "width_mm": 50.0}, (100.0, 50.0, None)),
    ):
        settle_sizes(new, before)
        found = changed(before, new)
        assert (found.diameter_mm, found.width_mm, found.inner_diameter_mm) == want
    for before, new in ((round_, {"width_mm": 5.0}), (oval, {"inner_diameter_mm": 5.0}), (oval, {"width_mm": 300.0})):
        with pytest.raises(InputError):
            settle_sizes(new, before)
            changed(before, new)
