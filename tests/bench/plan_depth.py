"""Prints the plan's depth for a 24 mm copper coin beside the depth that the benchmark finds.  It checks nothing.

Depths are from the surface of the soil to the middle of the coin, in cm.  The coil is 3 cm above the surface.

    python tests/bench/plan_depth.py                      # the benchmark's own coil; figures that are kept
    python tests/bench/plan_depth.py --coil 10cm          # simulates another coil: some minutes on one core
    python tests/bench/plan_depth.py --coil 30cm --minutes 30 --cache DIR

With its own coil the benchmark's depth is put into the plan, so the plan must return it.  Another coil shows whether
the physics carries it over rightly: there the benchmark runs with that coil, and the plan has not seen its depths.
"""

import argparse
import sys
import tempfile
from dataclasses import replace
from pathlib import Path

import piped
from coilcount.physics.tank import make_tank
from coilcount.plan.answer import sweep_of
from coilcount.plan.catalogue import CATALOGUE
from coilcount.plan.detector import METHODS, read_detector
from coilcount.plan.reach import PassResponse, SweepNoise, depth_in_soil
from coilcount.schema.coil import Coil
from coilcount.schema.plan import PlanFile

COILS = {
    "10cm": Coil(diameter_mm=100.0, turns=30, capacitor_nf=180.0),
    "30cm": Coil(diameter_mm=300.0, turns=30, capacitor_nf=47.0),
}


def plan_depths(coil: Coil) -> dict[str, dict[str, float]]:
    """Return {condition: {method: depth in cm}} of the plan, at the benchmark's speed in each condition."""
    detector = read_detector()
    tank = make_tank(**coil.si())
    coin = CATALOGUE[detector.object]
    response = PassResponse(tank, coin, "flat")
    found = {}
    for soil in detector.soils:
        plan = PlanFile(coil=coil, height_cm=detector.height_cm, speed_m_s=soil.speed_m_s)
        noise = SweepNoise(sweep_of(plan, tank), detector)
        depths = {method: depth_in_soil(response, noise, soil, method).depth_cm for method in METHODS}
        found[soil.condition] = {
            method: (cm or 0.0) + coin.to_centre_m("flat") * 100 for method, cm in depths.items()
        }
    return found


def benchmark_depths(coil: Coil, soils: list[str], minutes: float, cache: Path) -> dict[str, dict[str, float]]:
    """Run the benchmark's study of the coin with another coil, and return its depths."""
    sys.path.insert(0, str(Path(__file__).parent / "detection"))
    import depth
    import series
    from study import OTHERS, Job, assemble, prepare, run
    from trackers import FRESH_PROFILE, WARM_TRACKER

    scene_of = series.scene_of
    series.scene_of = lambda *words: replace(scene_of(*words), coil=coil)
    names = {"tracker": WARM_TRACKER.name, "profile": FRESH_PROFILE.name, "bound": "bound"}
    found = {}
    for condition in soils:
        coins = replace(depth.condition_of(condition), name=f"coin {condition} {coil.diameter_mm:g}")
        jobs = [
            Job(coins, method, False, minutes, 0.8 * minutes, cache)
            for method in (WARM_TRACKER.name, FRESH_PROFILE.name, OTHERS)
        ]
        result = prepare(jobs[-1])
        assemble({coins.name: result}, map(run, jobs))
        depths = depth.depths(condition, result)[1]
        found[condition] = {key: depths[name]["cm"] for key, name in names.items()}
    return found


def main() -> None:
    parser = argparse.ArgumentParser(prog="python tests/bench/plan_depth.py", description=__doc__.splitlines()[0])
    parser.add_argument("--coil", choices=COILS, help="simulate this coil in place of the benchmark's own")
    parser.add_argument("--soils", help="only these, such as garden,mineral")
    parser.add_argument("--minutes", type=float, default=20, help="without objects, and 0.8 times as many with them")
    parser.add_argument("--cache", type=Path, help="store the simulated data in this folder and use it again")
    options = parser.parse_args()
    detector = read_detector()
    known = [soil.condition for soil in detector.soils]
    soils = options.soils.split(",") if options.soils else known
    if not set(soils) <= set(known):
        parser.error(f"the soils are {', '.join(known)}")
    coil = COILS[options.coil] if options.coil else detector.coil
    if options.coil:
        with tempfile.TemporaryDirectory() as folder:
            there = benchmark_depths(coil, soils, options.minutes, options.cache or Path(folder))
    else:
        there = {soil.condition: soil.depth_cm for soil in detector.soils}
    print(f"coil {coil.diameter_mm / 10:g} cm, {coil.turns} turns; benchmark: simulation, plan: computation; cm")
    print(f"{'':<14}" + "".join(f"{method:>26}" for method in METHODS))
    print(f"{'soil':<14}" + f"{'plan':>8}{'benchmark':>11}{'diff':>7}" * len(METHODS))
    plans = plan_depths(coil)
    for soil in detector.soils:
        if soil.condition not in soils:
            continue
        line = f"{soil.name:<14}"
        for method in METHODS:
            plan, bench = plans[soil.condition][method], there[soil.condition][method]
            line += f"{plan:>8.1f}{bench:>11.1f}{plan - bench:>+7.1f}"
        print(line)


if __name__ == "__main__":
    piped.run(main)
