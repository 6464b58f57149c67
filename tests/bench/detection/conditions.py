"""The thirteen test conditions (soil and weather) and their scenes.  The coil has a radius of 9 cm and 60 turns.

All numbers are chosen by hand.  The conductivity of salt water is not simulated: `beach` is weakly magnetic wet sand,
over which the coil rises and falls in long waves.
"""

from dataclasses import asdict, dataclass, field

import numpy as np
import objects
from coilcount.simulate.scene import Ground, Knock, Lost, Oscillator, Scene, Supply, Sweep, Target, Vibration, Weather

SECONDS = 120
FIRST_S = 7.0  # no pass before this time: longer than the warm-up
LAST_S = 4.0  # and no pass in the last seconds of a scene

LAWN = Ground(chi=1e-4, variation=0.15, patch_m=0.8, wobble_cm=0.4, wobble_high_hz=1.5)
CALM = Weather(start_c=15, warm_up_k=1.5, warm_up_s=90, swing_k=0.1)


@dataclass(frozen=True)
class Condition:
    """One test condition.

    things: (objects of the figures, objects for choosing constants); slowest, fastest: speed of the coil in m/s;
    every_s: mean time between passes.
    """

    name: str
    ground: Ground = LAWN
    weather: Weather = CALM
    supply: Supply = field(default_factory=lambda: Supply(sag_v_per_min=0.002, ripple_mv=2))
    oscillator: Oscillator = field(default_factory=Oscillator)
    vibration: Vibration = field(default_factory=Vibration)
    things: tuple = (objects.TEST, objects.TUNING)
    slowest: float = 0.3
    fastest: float = 1.0
    every_s: float = 3.2
    spread: float = 0.2  # the time between passes varies by this share of every_s, up and down
    rest: bool = False  # the coil stops over the object in half of the passes
    knocks: bool = False
    lost: bool = False


CONDITIONS = {
    condition.name: condition
    for condition in (
        Condition("bench", ground=Ground(), weather=Weather(start_c=20, warm_up_k=1, warm_up_s=90)),
        Condition("garden", lost=True),
        Condition("mineral", ground=Ground(chi=1e-3, variation=0.25, patch_m=0.8, wobble_cm=0.5, wobble_high_hz=1.2)),
        Condition(
            "sun",
            weather=Weather(start_c=25, warm_up_k=6, warm_up_s=120, swing_k=0.5, swing_period_s=30),
            oscillator=Oscillator(temperature_ppm_per_k=-30),
        ),
        Condition(
            "beach",
            ground=Ground(chi=2e-4, variation=0.05, patch_m=1.5, wobble_cm=0.9, wobble_low_hz=0.1, wobble_high_hz=0.8),
        ),
        Condition("junk", things=(objects.TEST + objects.IRON_TEST, objects.TUNING + objects.IRON_TUNING),
             every_s=1.0, spread=0.7),
        Condition("dwell", every_s=6.5, rest=True),
        Condition("vibration", vibration=Vibration(rms_ppm=1.0, frequency_hz=13), knocks=True),
        Condition("deep", ground=Ground(chi=5e-5, variation=0.12, patch_m=0.8, wobble_cm=0.3, wobble_high_hz=1.5),
             things=(objects.DEEP_TEST, objects.DEEP_TUNING), fastest=0.7),
        Condition("fast", slowest=0.9, fastest=1.4),
        Condition("foil", things=(objects.SMALL_TEST, objects.SMALL_TUNING)),
        Condition("battery", supply=Supply(volt=5, sag_v_per_min=0.2, ripple_mv=12)),
        Condition("noisy", oscillator=Oscillator(noise="typical")),
    )
}
# Isolated flat iron, for answers.py.  It is not part of the mean over the test conditions.
IRON = Condition("flat iron", things=(objects.IRON_TEST, objects.IRON_TUNING))


def scene_of(condition: Condition, seed: int, with_objects: bool, tuning: bool) -> Scene:
    """Return a scene of two minutes of a test condition.

    One seed gives two different sweeps, one with objects and one without.  tuning: use the objects for choosing
    constants.
    """
    rng = np.random.default_rng([seed, with_objects, tuning])
    speed = rng.uniform(condition.slowest, condition.fastest)
    targets = []
    pass_s = FIRST_S
    while with_objects and pass_s < SECONDS - LAST_S:
        things = condition.things[tuning]
        thing = things[rng.integers(len(things))]
        target = target_of(thing, rng, pass_s, speed_m_s=float(rng.uniform(condition.slowest, condition.fastest)))
        targets.append(target)
        step = condition.every_s * rng.uniform(1 - condition.spread, 1 + condition.spread)
        if condition.rest and rng.random() < 0.5:
            rest = float(rng.uniform(2, 8))
            targets[-1] = Target(**{**asdict(target), "dwell_s": rest, "at_s": (pass_s + rest / 2,)})
            step += rest
            if targets[-1].at_s[0] > SECONDS - LAST_S:
                targets.pop()
        pass_s += step
    knocks = ()
    if condition.knocks:
        times = np.sort(rng.uniform(8, SECONDS - 4, rng.poisson(0.25 * SECONDS / 60)))
        knocks = tuple(Knock(at_s=(float(t),), size_ppm=float(rng.uniform(-12, 12))) for t in times)
    lost = ()
    if condition.lost:
        lost = tuple(Lost(at_s=(float(t),), records=int(rng.integers(1, 6))) for t in rng.uniform(5, SECONDS - 4, 3))
    return Scene(
        schema=1, duration_s=SECONDS, seed=seed, oscillator=condition.oscillator,
        sweep=Sweep(speed_m_s=float(speed), height_cm=3), ground=condition.ground,
        weather=condition.weather, supply=condition.supply,
        vibration=condition.vibration, target=tuple(targets), knock=knocks, lost=lost,
    )  # fmt: skip


def target_of(thing: objects.Thing, rng: np.random.Generator, at_s: float, speed_m_s: float) -> Target:
    """Return the object at a random depth, offset and tilt, with one pass over it at time at_s."""
    return Target(
        object=thing.name,
        shape=thing.shape,
        metal=thing.metal,
        diameter_mm=thing.diameter_mm,
        thickness_mm=thing.thickness_mm,
        length_mm=thing.length_mm,
        depth_cm=float(rng.uniform(thing.shallow_cm, thing.deep_cm)),
        offset_cm=float(rng.uniform(-5, 5)),
        tilt_deg=float(rng.uniform(thing.least_tilt, thing.most_tilt)),
        turn_deg=float(rng.uniform(-180, 180)),
        speed_m_s=speed_m_s,
        at_s=(at_s,),
    )
