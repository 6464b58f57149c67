"""The short answer of a plan: frequency with its range, depths in several soils, iron that reads as non-ferrous."""

from math import exp, log, sqrt
from typing import Any

import numpy as np

from coilcount.errors import InputError, did_you_mean
from coilcount.model.plan_answer import Depth, PlanAnswer, PlanFound, PlanSoil
from coilcount.physics.bodies import FERROMAGNETIC, Body, coaxial_response
from coilcount.physics.drift import drift
from coilcount.physics.tank import Tank
from coilcount.plan.catalogue import CATALOGUE, own_body, parse_target
from coilcount.plan.coil import spread_h
from coilcount.plan.detector import TestSoil, read_detector
from coilcount.plan.noise import soil_gain, soil_shift
from coilcount.plan.reach import PassResponse, Sweep, SweepNoise, depth_above, depth_in_soil
from coilcount.schema.coil import USUAL_LOOP_GAIN, Coil
from coilcount.schema.plan import PlanFile

# Objects of the short answer if none is picked.
USUAL_OBJECTS = ("copper coin 24 mm", "gold-alloy ring 22 mm", "nail 75 mm")
USUAL_ATTITUDE = {"rod": "lying"}  # of the other shapes, the first attitude
FAR_UP_M = 0.5  # height from which the coil is lowered to judge a soil; chosen by hand
# Iron in the list of the short answer is at most so large, in m: small iron is what is mistaken.  Chosen by hand.
LARGEST_IRON_M = 0.08
GIVEN = "your noise"


def sweep_of(plan: PlanFile, tank: Tank, noise: str | None = None) -> Sweep:
    """Return the coil as it is swept, with the plan's height, hand and speed, and a noise class."""
    detector = read_detector()
    weather = abs(_temperature_per_k(plan.coil, tank) / _temperature_per_k(detector.coil, detector.tank))
    gain = {}
    for soil in detector.soils:
        wobble = 1.0 if plan.wobble_cm is None else plan.wobble_cm / soil.wobble_cm
        gain[soil.condition] = soil_gain(tank, plan.height_cm / 100, wobble, weather, detector)
    low, high = spread_h(plan.coil, tank)
    return Sweep(tank, plan.height_cm / 100, plan.speed_m_s, noise or plan.oscillator, gain, sqrt(high / low))


def _temperature_per_k(coil: Coil, tank: Tank) -> float:
    return drift(tank, coil.former, coil.dielectric, USUAL_LOOP_GAIN).total_per_k[1]


def soils_of(plan: PlanFile, tank: Tank) -> tuple[PlanSoil, ...]:
    """Return the soils of the benchmark, or the one noise that the plan gives."""
    if plan.noise_ppm is not None:
        return (PlanSoil(GIVEN, "", None, None, None, None),)
    lowering = soil_shift(tank, plan.height_cm / 100) - soil_shift(tank, FAR_UP_M + plan.height_cm / 100)
    return tuple(
        PlanSoil(
            name=soil.name,
            condition=soil.condition,
            susceptibility=soil.susceptibility,
            wobble_cm=soil.wobble_cm if plan.wobble_cm is None else plan.wobble_cm,
            lowering_hz=tank.frequency_hz * lowering * soil.susceptibility,
            benchmark_cm=soil.depth_cm["tracker"],
        )
        for soil in read_detector().soils
    )


class Reach:
    """How deep objects are found by one coil, in each soil of `soils_of`."""

    def __init__(self, plan: PlanFile, tank: Tank, noise: str | None = None) -> None:
        self._plan, self._detector = plan, read_detector()
        self._noise = SweepNoise(sweep_of(plan, tank, noise), self._detector)

    def soils(self) -> tuple[TestSoil, ...]:
        return self._detector.soils

    def depths(self, response: PassResponse, method: str = "tracker") -> tuple[Depth, ...]:
        """Return one depth for each soil."""
        if self._plan.noise_ppm is not None:
            return (depth_above(response, self._noise.sweep, self._plan.noise_ppm * 1e-6),)
        return tuple(depth_in_soil(response, self._noise, soil, method) for soil in self._detector.soils)

    def least_ppm(self, distance_m: float) -> tuple[float, ...]:
        """Return the least shift in ppm that is found at a distance from the coil's plane, for each soil."""
        if self._plan.noise_ppm is not None:
            return (self._plan.noise_ppm,)
        distance = np.array([distance_m])
        return tuple(float(self._noise.least_shift(soil, distance)[0][0]) * 1e6 for soil in self._detector.soils)


def picked(plan: PlanFile, words: tuple[str, ...]) -> dict[str, Body]:
    """Return the objects of the short answer by name.

    words: of the catalogue, whole names or words that they contain, such as "coin"; or objects as `parse_target` reads
    them.  Empty: the usual ones.  The plan's own targets always follow.  Raises InputError.
    """
    found: dict[str, Body] = {}
    for word in words or USUAL_OBJECTS:
        exact = {name: body for name, body in CATALOGUE.items() if word.lower() == name.lower()}
        part = word.strip().lower()
        some = exact or {name: body for name, body in CATALOGUE.items() if part and part in name.lower()}
        if some:
            found |= some
        elif len(word.split()) >= 3:
            target = parse_target(word)
            found[target.object] = own_body(target)
        else:
            raise InputError(
                f'no object is called "{word}"', "--object", did_you_mean(word, tuple(CATALOGUE)) or "See plan --all"
            )
    return found | {target.object: own_body(target) for target in plan.target}


def usual_attitude(body: Body) -> str:
    """Return the attitude in which an object usually lies."""
    wanted = USUAL_ATTITUDE.get(body.shape)
    return wanted if wanted in body.attitudes() else body.attitudes()[0]


def answer_section(
    plan: PlanFile, tank: Tank, capacitor: dict[str, Any], bodies: dict[str, Body], whole: bool
) -> PlanAnswer:
    """Compute the short answer.

    capacitor: the plan's section on it; bodies: the objects that are looked for; whole: with a noise profile, too, and
    with a typical oscillator for every object and not only for the first.
    """
    reach = Reach(plan, tank)
    typical = Reach(plan, tank, "typical") if plan.noise_ppm is None and plan.oscillator == "careful" else None
    found = []
    for name, body in bodies.items():
        attitude = usual_attitude(body)
        response = PassResponse(tank, body, attitude)
        depths = reach.depths(response)
        none = (None,) * len(depths)
        found.append(
            PlanFound(
                object=name,
                attitude=attitude,
                rises=bool(response.centred(np.array([(plan.depth_cm + plan.height_cm) / 100]))[0] > 0),
                depths=depths,
                with_profile=reach.depths(response, "profile") if whole and plan.noise_ppm is None else none,
                typical_noise=typical.depths(response) if typical is not None and (whole or not found) else none,
            )
        )
    low, high = frequency_range(tank, capacitor)
    return PlanAnswer(
        frequency_hz=tank.frequency_hz,
        frequency_low_hz=low,
        frequency_high_hz=high,
        oscillator=plan.oscillator,
        height_cm=plan.height_cm,
        speed_m_s=plan.speed_m_s,
        false_alarms_per_minute=1.0,
        soils=soils_of(plan, tank),
        found=tuple(found),
        iron_reads_non_ferrous=iron_that_rises(plan, tank),
    )


def frequency_range(tank: Tank, capacitor: dict[str, Any]) -> tuple[float, float]:
    """Combine the tolerances of winding and capacitor, as independent ones: the squares of their logarithms add up."""
    f = tank.frequency_hz
    causes = ("frequency_by_capacitor_hz", "frequency_by_coil_hz", "frequency_by_own_capacitance_hz")
    ranges = [capacitor[cause] for cause in causes]
    down, up = (sqrt(sum(log(pair[side] / f) ** 2 for pair in ranges)) for side in (0, 1))
    return f * exp(-down), f * exp(up)


def iron_that_rises(plan: PlanFile, tank: Tank) -> tuple[str, ...]:
    """Name the small iron objects of the catalogue that raise the frequency at plan.depth_cm, as they usually lie."""
    names = []
    for name, body in CATALOGUE.items():
        if body.mu_r <= FERROMAGNETIC or body.shape == "can" or body.diameter_m > LARGEST_IRON_M:
            continue
        attitude = usual_attitude(body)
        distance_m = (plan.depth_cm + plan.height_cm) / 100
        d_l, d_r, _ = coaxial_response(body, attitude, tank.winding, distance_m, tank.frequency_hz)
        if tank.shift(d_l, d_r)[0] > 0:
            names.append(name)
    return tuple(names)

