"""One function for the response of every body: against stored reference results, on the axis, beside it and tilted."""

import json
from pathlib import Path

import numpy as np
import pytest
from closed_forms import edge_on
from coilcount.physics.bodies import Body, body_response, coaxial_response, coupling, named_body
from coilcount.physics.constants import MATERIALS, permeability
from coilcount.physics.ground import plane_response
from coilcount.physics.winding import make_winding
from coilcount.physics.wire import awg_diameter_m
from coilcount.plan.catalogue import CATALOGUE
from coilcount.plan.coil import tank_of
from coilcount.plan.targets import Response
from coilcount.schema.plan import USUAL_COIL
from coilcount.schema.tables import read_table
from coilcount.simulate.coil import CoilModel
from coilcount.simulate.path import along_path
from coilcount.simulate.scene import Scene, Target

F = 25e3
STEEL = (6e6, 100.0)
# Made by `python tests/bench/bodies`, which says how.
REFERENCE = json.loads((Path(__file__).parents[1] / "data/body-responses.json").read_text(encoding="utf-8"))
WINDING = make_winding(0.1, 30, awg_diameter_m(26), "bundle", 0.45e-3)


@pytest.mark.parametrize(
    ("name", "tolerance"),
    [
        ("steel ring 20 x 2 mm", 0.04),
        ("steel washer 25 mm", 0.02),
        ("crown cap 29 x 6 mm", 0.02),
        ("steel coin 20 mm", 0.02),
        ("nail 75 x 3.5 mm", 0.02),
        ("nail 75 x 3.5 mm, lying", 0.02),
        ("bolt 60 x 10 mm, lying", 0.02),
        ("steel ring 20 x 2 mm, on edge", 0.01),
        ("gold-alloy ring, on edge", 0.01),
        ("steel lid 70 mm, on edge", 0.05),
        ("crown cap, on edge", 0.02),
        ("steel washer 25 mm, on edge", 0.03),
    ],
)
def test_bodies_agree_with_other_solvers(name, tolerance):
    """10 cm coil, 2 to 40 cm: the change of inductance and loss, relative to its size.

    Bodies on the axis against finite elements on triangles, bodies across it against magnetic charges.
    """
    case = REFERENCE["cases"][name]
    distance = np.array(REFERENCE["distance_cm"]) / 100
    want = np.array(case["inductance_h"][0]) - 1j * np.array(case["loss_h"][0])
    d_l, d_r, _ = coaxial_response(Body(**case["body"]), case["attitude"], WINDING, distance, F)
    got = d_l - 1j * d_r / (2 * np.pi * F)
    assert np.max(np.abs(got - want) / np.abs(want)) < tolerance


@pytest.mark.parametrize(
    ("name", "tolerance"), [("nail 75 x 3.5 mm", 0.06), ("drink can, aluminium", 0.05)]
)
def test_tilted_bodies_beside_the_axis_agree_with_charges(name, tolerance):
    """Up to 8 cm aside, at 8 and 12 cm, tilted by 0 to 90 degrees."""
    case = REFERENCE["beside"][name]
    for (aside, deep, tilt), want in zip(REFERENCE["places"], case["inductance_h"], strict=True):
        axis = [np.sin(np.radians(tilt)), 0, np.cos(np.radians(tilt))]
        d_l, _ = body_response(Body(**case["body"]), WINDING, [[aside, 0, -deep]], axis, F)
        assert d_l[0] == pytest.approx(want, rel=tolerance), (aside, deep, tilt)


def attitudes():
    return [(name, attitude) for name, body in CATALOGUE.items() for attitude in body.attitudes()]


@pytest.mark.parametrize(("name", "attitude"), attitudes())
def test_plan_and_simulation_agree(name, attitude):
    """The shift of every object of the catalogue, centred under the plan's coil at 4, 8 and 15 cm: 2 %."""
    body = CATALOGUE[name]
    coil = {key: getattr(USUAL_COIL, key) for key in ("diameter_mm", "turns", "wire", "capacitor_nf", "layout")}
    model = CoilModel(read_table(Scene, {"schema": 1, "duration_s": 9, "coil": coil}, "test"))
    plan = Response(tank_of(USUAL_COIL), body, attitude)
    plate = name.startswith(("foil sheet", "steel plate"))
    target = Target(
        object=name,
        shape="plate" if plate else body.shape,
        metal=body.metal,
        diameter_mm=round(body.diameter_m * 1e3 / (2 / np.pi**0.5 if plate else 1), 9),
        thickness_mm=body.thickness_m and body.thickness_m * 1e3,
        length_mm=body.length_m and body.length_m * 1e3,
        hole_mm=body.hole_m and body.hole_m * 1e3,
        depth_cm=10,
        tilt_deg=0 if body.along(attitude) else 90,
        at_s=(4,),
    )
    distance = np.array([0.04, 0.08, 0.15])
    shift, _ = model.object_shift(target, 0 * distance, distance + body.to_centre_m(attitude))
    assert shift == pytest.approx(plan.shift(distance), rel=0.02)


def test_a_steel_disc_is_flat_iron():
    """The word "disc" in steel and the word "flat-iron" give the same body, whose response is that of iron."""
    assert named_body("disc", "steel", 30, 0.24) == named_body("flat-iron", "steel", 30, 0.24)
    across = coupling(named_body("disc", "steel", 30, 0.24), F).polarizability()[1]
    assert across.real > 0


def test_a_coil_over_a_wide_copper_disc_may_move_sideways():
    """Far from the rim a disc is a plane, wherever the coil stands over it: 4 %, with Dodd and Deeds 1968."""
    disc = Body("disc", 58e6, 1.0, 0.4, 1e-3)
    x = np.array([0.0, 0.02, 0.04, 0.06])
    position = np.stack([x, 0 * x, np.full_like(x, -0.04)], axis=-1)
    d_l, _ = body_response(disc, WINDING, position, [0, 0, 1], F)
    assert d_l == pytest.approx(plane_response(WINDING, 0.04 - 0.5e-3, 58e6, 1.0, F, 1e-3)[0], rel=0.04)


def test_a_body_may_turn_about_its_axis_and_with_the_coil():
    """Nothing changes if body and place turn together about the coil's axis, or if the body turns about its own."""
    body = Body("washer", *STEEL, 0.03, 2e-3, hole_m=0.01)
    found = []
    for turn in (0.0, 0.7, 2.5):
        cos, sin = np.cos(turn), np.sin(turn)
        axis = np.array([0.6 * cos - 0.3 * sin, 0.6 * sin + 0.3 * cos, 0.7])
        found.append(body_response(body, WINDING, [[0.03 * cos, 0.03 * sin, -0.06]], axis, F))
    for other in found[1:]:
        assert np.array(other) == pytest.approx(np.array(found[0]), rel=1e-3)


def test_an_open_cap_is_not_a_closed_one():
    """With its hollow towards the coil a cap shifts less (reference: triangles).  A lid without a skirt shifts more."""
    body = Body("cap", *STEEL, 0.029, 0.24e-3, 0.006)
    case = REFERENCE["cases"]["crown cap, open side up"]
    at = REFERENCE["distance_cm"].index(5)
    up, _ = body_response(body, WINDING, [[0, 0, -0.053]], [0, 0, -1], F)
    assert up[0] == pytest.approx(case["inductance_h"][0][at], rel=0.02)
    down, _ = body_response(body, WINDING, [[0, 0, -0.053]], [0, 0, 1], F)
    flat, _, _ = coaxial_response(Body("disc", *STEEL, 0.032, 0.24e-3), "flat", WINDING, 0.05, F)
    assert up[0] < 0 and down[0] < 0 and abs(flat[0]) > 1.5 * abs(down[0])


def test_a_thin_sheet_on_edge_is_less_than_a_spheroid():
    """A flat cylinder demagnetises itself more than the spheroid of the same size, whose formula is closed."""
    across = coupling(Body("disc", *STEEL, 0.032, 0.24e-3), F).polarizability()[1]
    assert 0.8 < across.real / edge_on(0.016, 0.24e-3, *STEEL, F).real < 1


def test_the_permeability_of_steel():
    """Published (Bowler 2006): 280 at 1 to 10 Hz, about 90 at 100 kHz, relaxation near 5 kHz."""
    assert permeability("steel", 10) == pytest.approx(280, rel=1e-3)
    assert permeability("steel", 5e3) == pytest.approx((280 + 89.5) / 2, rel=1e-3)
    assert permeability("steel", 100e3) == pytest.approx(90, rel=0.01)
    assert permeability("steel", 25e3) == pytest.approx(MATERIALS["steel"].mu_r, rel=1e-3)
    assert permeability("iron", 10) == permeability("iron", 1e5) == MATERIALS["iron"].mu_r


@pytest.mark.parametrize("wobble", [0.0, 0.01])
def test_a_path_is_interpolated(wobble):
    """Within 1e-3 of the peak of the shift that is computed at every place."""
    along = np.linspace(-0.25, 0.25, 1000)
    down = 0.05 + wobble * np.sin(40 * along)
    nail = named_body("rod", "steel", 3, length_mm=60)

    def respond(x, z):
        position = np.stack([x, np.full_like(x, 0.02), -z], axis=-1)
        return np.stack(body_response(nail, WINDING, position, [0.5, 0.2, 0.8], F))

    exact = respond(along, down)
    peak = np.abs(exact).max(axis=1, keepdims=True)
    assert np.max(np.abs(along_path(respond, along, down, 0.05) - exact) / peak) < 1e-3
