"""The depths of a plan: the benchmark's figures, scaled by the physics to another coil."""

import importlib.util
import json
from dataclasses import replace
from math import cos, radians
from pathlib import Path

import numpy as np
import pytest
from coilcount.errors import InputError
from coilcount.physics.noise import NOISE_CLASSES
from coilcount.physics.targets import Polarizability
from coilcount.physics.winding import make_winding
from coilcount.plan import noise, pass_width, reach
from coilcount.plan.answer import Reach, iron_that_rises, picked, soils_of, sweep_of, usual_attitude
from coilcount.plan.catalogue import CATALOGUE
from coilcount.plan.coil import tank_of
from coilcount.plan.comparison import compare, parse_comparison
from coilcount.plan.detector import FILE, METHODS, read_detector
from coilcount.plan.targets import Response
from coilcount.schema.coil import Coil
from coilcount.schema.plan import OSCILLATORS, USUAL_COIL, PlanFile
from dipole import target_response
from scipy.interpolate import CubicSpline

BENCH = Path(__file__).parents[1] / "bench"
COIN = CATALOGUE["copper coin 24 mm"]
TANK = tank_of(USUAL_COIL)


def writer():
    """The script that writes the file, as a module."""
    spec = importlib.util.spec_from_file_location("detector_depths", BENCH / "detector_depths.py")
    module = importlib.util.module_from_spec(spec)
    with pytest.MonkeyPatch.context() as patch:
        patch.syspath_prepend(BENCH)  # as when it runs as a script: it imports modules beside it
        spec.loader.exec_module(module)
    return module


def coin_depths(plan: PlanFile, method: str = "tracker") -> dict[str, float]:
    """Depth of the flat copper coin in cm by soil; 0 if it is not found."""
    tank = tank_of(plan.coil)
    depths = Reach(plan, tank).depths(reach.PassResponse(tank, COIN, "flat"), method)
    return {soil.condition: depth.depth_cm or 0.0 for soil, depth in zip(soils_of(plan, tank), depths, strict=True)}


def test_the_file_holds_the_figures_of_the_benchmark():
    """If this fails, the benchmark has run again: python tests/bench/detector_depths.py writes the file anew."""
    figures = json.loads((BENCH / "detection" / "figures.json").read_text(encoding="utf-8"))["depth"]
    detector, script = read_detector(), writer()
    assert detector.minutes_with_objects == figures["swept_minutes"]
    assert [soil.condition for soil in detector.soils] == script.conditions_with_soil()
    for soil in detector.soils:
        found = figures["grounds"][soil.condition]
        depths = {method: script.depth_cm(found, method) for method in METHODS}
        assert depths == pytest.approx(soil.depth_cm, abs=0.006)


def test_the_file_holds_the_conditions_and_shifts_of_the_benchmark():
    script, detector = writer(), read_detector()
    for soil in detector.soils:
        kind = script.CONDITIONS[soil.condition]
        assert (soil.susceptibility, soil.wobble_cm) == (kind.ground.chi, kind.ground.wobble_cm)
        assert soil.speed_m_s == pytest.approx((kind.slowest + kind.fastest) / 2)
    garden = next(soil for soil in detector.soils if soil.condition == "garden")
    scene = script.scene_of(script.CONDITIONS["garden"], 0, False, False)
    assert detector.height_cm == scene.sweep.height_cm
    assert detector.coil == scene.coil
    shift = script.least_shift_ppm(scene, script.CoilModel(scene), garden.depth_cm["tracker"])
    assert shift == pytest.approx(garden.least_ppm["tracker"], rel=0.03)
    assert "do not edit" in FILE.read_text(encoding="utf-8")


@pytest.mark.parametrize("method", METHODS)
def test_with_the_benchmarks_coil_the_plan_gives_the_benchmarks_depths(method):
    """Within 1.5 cm in four soils, with the defaults of a plan for height, hand and speed."""
    detector = read_detector()
    found = coin_depths(PlanFile(coil=detector.coil), method)
    assert len(found) == 4
    for soil in detector.soils:
        assert found[soil.condition] + COIN.to_centre_m("flat") * 100 == pytest.approx(soil.depth_cm[method], abs=1.5)


def test_what_is_needed_beyond_noise_is_the_same_in_all_soils():
    """The bound lets no avoidable noise through, so its signal-to-noise ratio must not depend on the soil."""
    needed = [reach.needed(soil.condition, "bound") for soil in read_detector().soils]
    assert all(3 < need.snr <= reach.USUAL_SNR for need in needed)
    assert all(need.outside >= 0 for need in needed)


def test_without_soil_the_noise_is_that_of_the_oscillator():
    detector = read_detector()
    silent = replace(
        detector.soils[0], **{f"{part}_ppm_rthz": np.full(15, 1e-9) for part in ("hand", "patches", "weather")}
    )
    winding, down_m, speed_m_s = TANK.winding, 0.15, 0.65
    shape = pass_width.pass_shape(winding, down_m, 0.0, speed_m_s, detector.frequency_hz[0])
    width_s = pass_width.pass_width_m(winding, down_m, flat=True) / speed_m_s
    for name in noise.CLASSES:
        parts = noise.noise_parts(silent, detector, noise.SAME, NOISE_CLASSES[name], shape, speed_m_s)
        want = noise.matched_amplitude(NOISE_CLASSES[name], width_s, snr=1.0)
        # A deep pass is nearly Gaussian; the spectra begin at 0.25 Hz, where such a pass has hardly any energy.
        assert sum(parts.values()) ** 0.5 == pytest.approx(want, rel=0.1)
        assert parts["oscillator"] == pytest.approx(sum(parts.values()), rel=1e-3)


def test_more_noise_costs_depth():
    usual = coin_depths(PlanFile())
    for worse in (PlanFile(oscillator="typical"), PlanFile(coil=replace(USUAL_COIL, diameter_mm=50.0))):
        found = coin_depths(worse)
        assert all(found[name] < usual[name] for name in usual)
    higher = coin_depths(PlanFile(height_cm=6.0))
    # On mineral soil the noise falls as fast as the signal if the coil is carried higher.
    assert all(higher[name] < usual[name] - 1 for name in ("deep", "garden", "sun"))
    unsteady = coin_depths(PlanFile(wobble_cm=1.5))
    assert all(unsteady[name] < usual[name] for name in ("garden", "mineral"))
    assert usual["mineral"] < usual["garden"] < usual["deep"]
    # The benchmark found the coin as deep as the bound does in a garden and on mineral soil, and less deep elsewhere.
    bound = coin_depths(PlanFile(), "bound")
    assert all(bound[name] >= usual[name] for name in usual)
    assert all(bound[name] > usual[name] for name in ("deep", "sun"))


def test_the_range_of_a_depth_holds_it_and_grows_with_the_winding():
    response = reach.PassResponse(TANK, COIN, "flat")
    detector = read_detector()
    sweep = sweep_of(PlanFile(), TANK)
    for soil in detector.soils:
        depths = [
            reach.depth_in_soil(response, reach.SweepNoise(replace(sweep, winding_factor=factor), detector), soil)
            for factor in (1.0, 1.3)
        ]
        for depth in depths:
            assert depth.low_cm < depth.depth_cm < depth.high_cm
        assert depths[1].high_cm - depths[1].low_cm > depths[0].high_cm - depths[0].low_cm


def test_a_given_noise_takes_the_place_of_the_soils():
    plan = PlanFile(noise_ppm=3.0)
    (depth,) = Reach(plan, TANK).depths(response := reach.PassResponse(TANK, COIN, "flat"))
    at = np.array([(depth.depth_cm + plan.height_cm) / 100])
    assert response.of_pass(response.grid(at[0]))[0] * 1e6 == pytest.approx(3.0, rel=0.02)
    assert len(soils_of(plan, TANK)) == 1


@pytest.mark.parametrize("name", ["copper coin 24 mm", "nail 75 mm", "steel ball 50 mm", "gold-alloy ring 22 mm"])
def test_short_answer_and_table_compute_the_same_shift(name):
    body = CATALOGUE[name]
    attitude = usual_attitude(body)
    distance = np.array([0.04, 0.08, 0.15, 0.3])
    short = reach.PassResponse(TANK, body, attitude).centred(distance)
    assert short == pytest.approx(Response(TANK, body, attitude).shift(distance), rel=0.01)


def test_a_pass_beside_the_object_against_the_field_of_a_dipole():
    """The peak of a pass 2.5 cm to the side of a flat disc, by `target_response` along the whole path."""
    winding = make_winding(0.18, 60, 0.4e-3)
    along = np.linspace(-0.2, 0.2, 401)
    for down in (0.05, 0.1, 0.2):
        place = np.stack([along, np.full_like(along, reach.USUAL_OFFSET_M), np.full_like(along, -down)], axis=-1)
        beside = np.abs(target_response(winding, Polarizability(-1e-6, 0.0), place, [0, 0, 1], 25e3)[0]).max()
        centred = np.abs(target_response(winding, Polarizability(-1e-6, 0.0), [0, 0, -down], [0, 0, 1], 25e3)[0])
        factor = reach.beside_factor(winding, np.array([down, 2 * down]))[0]
        assert factor == pytest.approx(float(beside / centred), rel=0.02)
    assert cos(radians(reach.USUAL_TILT_DEG)) ** 2 == pytest.approx(0.953, abs=1e-3)


def test_the_spline_against_that_of_scipy():
    x = np.log(reach.NODES)
    y = np.sin(x) + x**2
    at = np.linspace(x[0], x[-1], 77)
    assert reach.natural_spline(x, y)(at) == pytest.approx(CubicSpline(x, y, bc_type="natural")(at), rel=1e-9)


def test_a_coil_can_be_too_large_for_strong_soil():
    """A larger coil reaches deeper in quiet soil, but on mineral soil it feels more of the soil."""
    found = compare(PlanFile(), *parse_comparison("diameter=10cm,20cm,30cm"), keep_capacitor=False, object_="")
    by_soil = {
        soil.condition: [coil.depths[i].depth_cm or 0 for coil in found.coils] for i, soil in enumerate(found.soils)
    }
    assert by_soil["deep"] == sorted(by_soil["deep"])
    assert by_soil["mineral"][2] < by_soil["mineral"][0]
    for flat, soil in zip(found.flat, found.soils, strict=True):
        assert flat.soil == soil.name
        assert flat.low <= flat.best <= flat.high
    assert [coil.frequency_hz for coil in found.coils] == pytest.approx([25e3] * 3, rel=5e-3)
    sizes = [coil.diameter_mm for coil in found.curve]
    assert min(sizes) < 100 < 300 < max(sizes)


@pytest.mark.parametrize(
    ("words", "labels"),
    [
        ("turns=40, 20", ["20", "40"]),
        ("wire=0.2mm,26 AWG", ["0.2mm", "26 AWG"]),
        ("frequency=15k,25 kHz", ["15 kHz", "25 kHz"]),
    ],
)
def test_coils_can_differ_in_turns_wire_and_frequency(words, labels):
    found = compare(PlanFile(), *parse_comparison(words), keep_capacitor=False, object_="lead ball")
    assert [coil.label for coil in found.coils] == labels
    assert found.object == "lead ball 12 mm"
    # At one frequency the shift does not depend on the turns; a thicker bundle changes a little.
    if "turns" in words:
        first, second = (coil.depths[0].depth_cm for coil in found.coils)
        assert first == pytest.approx(second, rel=0.06)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("diamter=10cm,20cm", 'Did you mean "diameter"'),
        ("diameter=10cm", "has 1 value.*Give 2 to 12"),
        ("diameter", "has 0 values"),
        ("diameter=10,20", "Write it with its unit"),
        ("diameter=10cm,100mm", "the same value twice"),
        ("turns=20,3.5", "whole numbers"),
        ("frequency=15k,900k", "between"),
    ],
)
def test_a_wrong_comparison_is_one_line(text, words):
    with pytest.raises(InputError, match=words) as caught:
        parse_comparison(text)
    assert "\n" not in str(caught.value)


def test_objects_are_picked_by_a_part_of_their_name():
    assert list(picked(PlanFile(), ())) == ["copper coin 24 mm", "gold-alloy ring 22 mm", "nail 75 mm"]
    assert set(picked(PlanFile(), ("Coin",))) == {name for name in CATALOGUE if "coin" in name}
    assert list(picked(PlanFile(), ("rod steel 4mm 90mm",))) == ["rod steel 4mm 90mm"]
    with pytest.raises(InputError, match='no object is called "sword"'):
        picked(PlanFile(), ("sword",))


def test_iron_that_rises_is_small_iron():
    found = iron_that_rises(PlanFile(), TANK)
    assert any("crown cap" in name for name in found)
    assert not any("can" in name.split() or "plate" in name for name in found)


def test_the_noise_classes_have_one_list_of_names():
    from coilcount.face.plan_words import CLASS_WORDS

    assert tuple(CLASS_WORDS) == noise.CLASSES == OSCILLATORS
    assert set(noise.CLASSES) < set(NOISE_CLASSES)
    assert isinstance(read_detector().coil, Coil)
