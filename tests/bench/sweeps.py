"""How well the tracker finds objects on garden-like ground, printed as a table: nothing here passes or fails.

    python tests/bench/sweeps.py [--threshold Z] [--runs 3] [--first-seed 1001]

SIMULATION: scenes of our own, through the counted lines of the simulated board; no hardware was at hand.  Each ground
is swept twice with each seed: without objects, for the false alarms, and with objects, at random depths, offsets and
speeds.  A pass is found by an alert whose peak lies within 0.3 s or one width of the closest approach (of several, the
one with the largest score is judged); its d' is that of a matched filter that knows the pass and the noise, against
everything (ground and hand too).  The tracker's constants were chosen on another generator and on seeds below 1000 of
this one.
"""

import argparse
import time
from dataclasses import asdict, dataclass, replace

import numpy as np
from coilcount.model import Line
from coilcount.simulate.coil import CoilModel
from coilcount.simulate.dprime import Yardstick, yardstick
from coilcount.simulate.lines import entries
from coilcount.simulate.scene import Ground, Oscillator, Scene, Supply, Sweep, Target, Weather
from coilcount.simulate.truth import judged_passes, pass_shift
from coilcount.tracker import defaults
from coilcount.tracker.records import Alert, Hold
from coilcount.tracker.tracker import Tracker
from coilwire import frame, records
from scipy import stats

INTERVAL_MS = 20
SECONDS = 120
SPACING_S = 3.5
BANDS = ((4, 6), (6, 10), (10, 20), (20, 50), (50, np.inf))
THRESHOLDS = (3.5, 4.0, 4.5, 5.0)

# The coil hangs 3 cm above them.  "rough" lets it sink to a centimetre and swing up to five, which is no careful sweep.
GROUNDS = {
    "lawn": (Ground(chi=1e-4, variation=0.15, patch_m=0.8, wobble_cm=0.4), "garden"),
    "bed": (Ground(chi=2e-4, variation=0.2, patch_m=0.8, wobble_cm=0.6), "garden"),
    "orchard": (Ground(chi=2e-4, variation=0.15, patch_m=0.9, wobble_cm=0.4), "garden"),
    "rough": (Ground(chi=3e-4, variation=0.15, patch_m=1.2, wobble_cm=0.8), "rough"),
    "mineral": (Ground(chi=3e-3, variation=0.25, patch_m=0.8, wobble_cm=0.5), "mineral soil"),
}

@dataclass(frozen=True)
class Shape:
    """What a Target needs, but for where and when."""

    shape: str
    metal: str
    diameter_mm: float
    thickness_mm: float | None = None
    length_mm: float | None = None
    tilt_deg: float = 0.0
    turn_deg: float = 0.0


# name: (Target without depth and times, shallowest and deepest centre in cm)
OBJECTS = {
    "copper coin 24 mm": (Shape("disc", "copper", 24, thickness_mm=1.75), 4, 14),
    "cupronickel coin 21 mm": (Shape("disc", "cupronickel", 21, thickness_mm=1.7), 4, 12),
    "gold ring 20 mm": (Shape("ring", "gold-alloy", 20, thickness_mm=2), 4, 11),
    "aluminium ring 22 mm": (Shape("ring", "aluminium", 22, thickness_mm=1.5), 4, 11),
    "brass button 16 mm": (Shape("disc", "brass", 16, thickness_mm=1.2), 3, 9),
    "lead ball 12 mm": (Shape("ball", "lead", 12), 3, 8),
    "aluminium foil 30 mm": (Shape("disc", "aluminium", 30, thickness_mm=0.02), 3, 9),
    "steel ball 12 mm": (Shape("ball", "steel", 12), 3, 9),
    "nail 70 mm, lying": (Shape("rod", "steel", 3, length_mm=70, tilt_deg=85, turn_deg=60), 3, 10),
    "nail 60 mm, upright": (Shape("rod", "steel", 3, length_mm=60, tilt_deg=20), 5, 14),
    "bolt 50 mm": (Shape("rod", "steel", 8, length_mm=50, tilt_deg=60, turn_deg=30), 5, 13),
    "crown cap": (Shape("flat-iron", "steel", 30, thickness_mm=0.24), 4, 12),
}


@dataclass
class Pass:
    """One pass, its truth and what was made of it."""

    kind: str
    ground: str
    at_s: float
    sign: int
    d: float
    two_faced: bool  # it goes the other way, too, by more than half its peak: flat iron
    alert: Alert | None = None
    raised_after_s: float = 0.0


def scene_of(ground: Ground, seed: int, with_objects: bool) -> Scene:
    rng = np.random.default_rng([seed, 77])
    found = []
    at = 6.0
    names = list(OBJECTS)
    while at < SECONDS - 4:
        name = names[rng.integers(len(names))]
        shape, shallow, deep = OBJECTS[name]
        found.append(
            Target(
                object=name,
                depth_cm=rng.uniform(shallow, deep),
                offset_cm=rng.uniform(-4, 4),
                speed_m_s=rng.uniform(0.3, 1.0),
                at_s=(at,),
                **asdict(shape),
            )
        )
        at += SPACING_S * rng.uniform(0.8, 1.2)
    return Scene(
        schema=1,
        duration_s=SECONDS,
        oscillator=Oscillator(noise="careful"),
        sweep=Sweep(speed_m_s=0.5, height_cm=3),
        ground=ground,
        weather=Weather(start_c=15, warm_up_k=1.5, warm_up_s=90, swing_k=0.1),
        supply=Supply(sag_v_per_min=0.002, ripple_mv=2),
        target=tuple(found) if with_objects else (),
    )


def intervals_of(scene: Scene, seed: int) -> list[tuple[int, int, int, int, int, int]]:
    """Arguments of Tracker.interval for every interval that the board counts in the scene; t = 0 is the scene's."""
    out = []
    for entry in entries(scene, seed, INTERVAL_MS):
        parsed = frame.parse(entry.data) if isinstance(entry, Line) else None
        if parsed is not None and parsed.kind == "I":
            record = records.read(parsed)
            middle_us = record.sequence * INTERVAL_MS * 1000 + INTERVAL_MS * 500
            out.append((middle_us, *record[:5]))
    return out


def run(intervals: list[tuple], threshold: float) -> tuple[list[Alert], float]:
    """Alerts in their last form, and seconds held."""
    tracker = Tracker(INTERVAL_MS / 1000, threshold=threshold)
    events = []
    for record in intervals:
        events.extend(tracker.interval(*record))
    events.extend(tracker.finish())
    alerts = [e for e in events if isinstance(e, Alert) and e.stage == "final"]
    held = [e for e in events if isinstance(e, Hold) and e.stage == "final"]
    return alerts, sum((e.end_us or SECONDS * 1e6) - e.start_us for e in held) / 1e6


def truth_of(scene: Scene, coil: CoilModel, measure: Yardstick, ground: str) -> list[Pass]:
    found = []
    for truth in judged_passes(scene, lambda: measure):
        sign = 1 if truth.peak_ppm > 0 else -1
        y = 1e6 * sign * pass_shift(scene, coil, truth.one, np.arange(truth.start_s - 1, truth.end_s + 1, 0.005))
        two_faced = -y.min() > 0.5 * y.max()
        name = truth.one.target.object
        found.append(Pass(name, ground, truth.closest_s, sign, truth.d_prime_everything, two_faced))
    return found


def judge(passes: list[Pass], alerts: list[Alert]) -> int:
    """Gives each pass its alert; returns how many alerts belong to none."""
    used = set()
    for one in passes:
        near = [a for a in alerts if abs(a.peak_us / 1e6 - one.at_s) <= max(0.3, a.width_s)]
        if near:
            one.alert = max(near, key=lambda a: a.score)
            one.raised_after_s = min(a.raised_us for a in near) / 1e6 - one.at_s
            used.update(a.id for a in near)
        else:
            one.alert = None
    return len(alerts) - len(used)


def per_minute(count: int, minutes: float) -> str:
    """A rate with its exact 95 % Poisson interval (Garwood 1936)."""
    low = stats.chi2.ppf(0.025, 2 * count) / 2 / minutes if count else 0.0
    high = stats.chi2.ppf(0.975, 2 * count + 2) / 2 / minutes
    return f"{count / minutes:.2f} [{low:.2f}, {high:.2f}]"


def line(name: str, passes: list[Pass]) -> str:
    found = [one for one in passes if one.alert is not None]
    if not found:
        return f"  {name:<26}{len(passes):>5}{0.0:>8.2f}"
    right = np.mean([one.alert.sign == one.sign for one in found])
    unsure = np.mean([one.alert.response == "uncertain" for one in found])
    after = np.array([one.raised_after_s for one in found])
    return (
        f"  {name:<26}{len(passes):>5}{len(found) / len(passes):>8.2f}{right:>8.2f}{unsure:>11.2f}"
        f"{np.median(after):>+9.2f}{np.quantile(after, 0.9):>+7.2f}"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--threshold", type=float, default=defaults.DEFAULTS["threshold"])
    parser.add_argument("--runs", type=int, default=3, help="of two minutes, for each ground, with and without objects")
    parser.add_argument("--first-seed", type=int, default=1001)
    options = parser.parse_args()
    began = time.process_time()

    clean: dict[str, list] = {}
    swept: dict[str, list] = {}
    for i, (name, (ground, _)) in enumerate(GROUNDS.items()):
        seeds = [options.first_seed + 100 * i + k for k in range(options.runs)]
        scene = scene_of(ground, seeds[0], True)
        coil = CoilModel(scene)
        measure = yardstick(scene, coil.f0_hz, INTERVAL_MS, options.first_seed + 1_000_003 + i)
        clean[name] = [intervals_of(scene_of(ground, seed, False), seed) for seed in seeds]
        swept[name] = []
        for seed in seeds:
            scene = scene_of(ground, seed, True)
            # A pass and the ground under it have random numbers of their own.
            intervals = intervals_of(replace(scene, seed=seed), seed + 50)
            swept[name].append((truth_of(scene, coil, measure, name), intervals))

    minutes = options.runs * SECONDS / 60
    garden = [name for name, (_, kind) in GROUNDS.items() if kind == "garden"]
    print("False alarms a minute on ground without objects, with 95 % Poisson interval, and seconds held a minute:")
    for threshold in sorted({*THRESHOLDS, options.threshold}):
        counts = {}
        held = {}
        for name in GROUNDS:
            results = [run(intervals, threshold) for intervals in clean[name]]
            counts[name] = sum(len(alerts) for alerts, _ in results)
            held[name] = sum(seconds for _, seconds in results)
        total = sum(counts[name] for name in garden)
        each = "  ".join(f"{name} {counts[name] / minutes:.2f} ({held[name] / minutes:.1f} s)" for name in GROUNDS)
        print(f"  z >= {threshold:<5g} garden {per_minute(total, minutes * len(garden))}   {each}")

    lone = 0
    everything: list[Pass] = []
    for name in GROUNDS:
        for passes, intervals in swept[name]:
            alone = judge(passes, run(intervals, options.threshold)[0])
            everything += passes
            if name in garden:
                lone += alone
    in_garden = [one for one in everything if one.ground in garden]
    head = f"  {'':<26}{'passes':>5}{'found':>7}{'sign':>8}{'uncertain':>11}{'raised p50':>10}{'p90 s':>6}"
    print(f"\nAt z >= {options.threshold:g}, garden: alerts among the objects that belong to none, a minute: ", end="")
    print(per_minute(lone, minutes * len(garden)))
    print(head)
    for low, high in BANDS:
        band = [one for one in in_garden if low <= one.d < high]
        if band:
            print(line(f"d' {low:g} to {high:g}", band))
    clear = [one for one in in_garden if one.d >= 10]
    print(line("d' 10 and more", clear))
    print(line("... that go one way only", [one for one in clear if not one.two_faced]))
    print(line("... that go both ways", [one for one in clear if one.two_faced]))
    print(line("all that were found", [one for one in in_garden if one.alert is not None]))
    print("By kind, d' 10 and more:")
    for kind in OBJECTS:
        some = [one for one in in_garden if one.kind == kind and one.d >= 10]
        if some:
            print(line(kind, some))
    print("By ground, d' 10 and more:")
    for name in GROUNDS:
        some = [one for one in everything if one.ground == name and one.d >= 10]
        if some:
            print(line(name, some))
    spent_s = time.process_time() - began
    print(f"\n{len(everything)} passes, {2 * minutes * len(GROUNDS):.0f} minutes of sweeping, {spent_s:.0f} s CPU")


if __name__ == "__main__":
    main()
