"""Prints the false-alarm rates that the thresholds of `coilcount noise` give.  It checks nothing.

    python tests/bench/false_alarms.py [--minutes 5] [--learn 3] [--try 6] [--first-seed 7001]

All recordings are simulated, without objects.  For each test condition, `noise` computes thresholds and a noise profile
from each of `learn` recordings.  The tracker then runs with them over `try` recordings with other seeds.

The columns, for 1 and for 0.1 false alarms a minute:
    z         mean of the thresholds that `noise` computed for this rate, in sigma
    rate      mean rate that these thresholds gave on the other recordings
    interval  95 % Poisson interval of that rate
    in        number of thresholds whose rate is within a factor of 3 of the rate asked for, by its own interval
default is the rate at the default settings, which allow 1 false alarm a minute.  refused is the number of recordings
that `noise` refused as not clean.
"""

import argparse
import time
from dataclasses import dataclass

import numpy as np
import piped
from coilcount.desk import quiet
from coilcount.desk.rates import rate_interval
from coilcount.model import Header
from coilcount.settings import defaults
from coilcount.simulate.lines import entries
from coilcount.simulate.scene import Ground, Oscillator, Scene, Supply, Sweep, Vibration, Weather

RATES = (1.0, 0.1)  # false alarms a minute
FACTOR = 3.0  # a threshold is good if its rate is within this factor of the rate asked for; chosen by hand
LAWN = Ground(chi=1e-4, variation=0.15, patch_m=0.8, wobble_cm=0.4)
BED = Ground(chi=2e-4, variation=0.2, patch_m=0.8, wobble_cm=0.6)
SPRING = Weather(start_c=15, warm_up_k=1.5, warm_up_s=90, swing_k=0.1)
WALK = Sweep(speed_m_s=0.5, height_cm=3)


@dataclass(frozen=True)
class Kind:
    """One test condition: everything in which the conditions differ."""

    ground: Ground = LAWN
    sweep: Sweep = WALK
    weather: Weather = SPRING
    noise: str = "careful"
    vibration: Vibration = Vibration()  # noqa: RUF009 - frozen


KINDS = {
    "bench": Kind(ground=Ground(), sweep=Sweep(kind="still", height_cm=80)),
    "lawn": Kind(),
    "bed": Kind(ground=BED),
    "orchard": Kind(ground=Ground(chi=2e-4, variation=0.15, patch_m=0.9, wobble_cm=0.4)),
    "rough": Kind(ground=Ground(chi=3e-4, variation=0.15, patch_m=1.2, wobble_cm=0.8)),
    "mineral soil": Kind(ground=Ground(chi=3e-3, variation=0.25, patch_m=0.8, wobble_cm=0.5)),
    "fast sweep": Kind(ground=BED, sweep=Sweep(speed_m_s=1.1, height_cm=3)),
    "hot sun": Kind(weather=Weather(start_c=30, warm_up_k=6, warm_up_s=90, swing_k=0.5, swing_period_s=20)),
    "vibration": Kind(vibration=Vibration(rms_ppm=20, frequency_hz=14)),
    "noisy oscillator": Kind(noise="poor"),
}


def clean_recording(kind: Kind, seed: int, minutes: float) -> list:
    """Return the entries of a simulated sweep without objects."""
    scene = Scene(
        schema=1,
        duration_s=60 * minutes,
        oscillator=Oscillator(noise=kind.noise),
        sweep=kind.sweep,
        ground=kind.ground,
        weather=kind.weather,
        supply=Supply(sag_v_per_min=0.002, ripple_mv=2),
        vibration=kind.vibration,
    )
    return [Header("simulate", scene.start_utc, simulated=True), *entries(scene, seed)]


def overlaps(count: int, minutes: float, rate: float) -> bool:
    """Return whether the 95 % interval of the count overlaps the range within FACTOR of `rate`."""
    low, high = rate_interval(count, minutes)
    return low <= FACTOR * rate and high >= rate / FACTOR


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--minutes", type=float, default=5, help="length of each recording in minutes")
    parser.add_argument("--learn", type=int, default=3, help="recordings for thresholds, for each condition")
    parser.add_argument("--try", type=int, default=6, dest="tried",
                        help="recordings on which the thresholds are tried, for each condition")
    parser.add_argument("--first-seed", type=int, default=7001)
    options = parser.parse_args()
    began = time.process_time()
    settings = defaults()
    print(
        f"Simulation, false alarms a minute: {options.learn} thresholds for each condition, "
        f"from {options.minutes:g} minutes each, tried on {options.tried * options.minutes:g} other minutes"
    )
    head = [f"{f'asked {rate:g}: z':>14}{'rate':>6}  {'interval':<12} in " for rate in RATES]
    print(f"{'':<18}{'default':>8}", *head, "refused")
    for number, (name, kind) in enumerate(KINDS.items()):
        seeds = [options.first_seed + 1000 * number + i for i in range(options.learn + options.tried)]
        learnt, refused = [], 0
        for seed in seeds[: options.learn]:
            recording = clean_recording(kind, seed, options.minutes)
            found = quiet.examine(lambda recording=recording: recording, settings, name).statistic
            refused += bool(found.strange)
            if found.tail is not None:
                learnt.append((found.tail, found.learned))
        others = [clean_recording(kind, seed, options.minutes) for seed in seeds[options.learn :]]
        minutes = options.tried * options.minutes
        default_threshold = settings.tracker["threshold"]
        counts = [
            quiet.alerts_at(lambda recording=recording: recording, settings, default_threshold, {})
            for recording in others
        ]
        cells = [f"{name:<18}{sum(counts) / minutes:>8.2f}"]
        for rate in RATES:
            levels, alarms = [], []  # for each threshold: its height, and its number of false alarms
            for tail, learned in learnt:
                z = tail.threshold(rate)
                levels.append(z)
                alarms.append(
                    sum(
                        quiet.alerts_at(lambda recording=recording: recording, settings, z, learned)
                        for recording in others
                    )
                )
            if not alarms:
                cells.append(f"{'-':>14}")
                continue
            low, high = rate_interval(round(np.mean(alarms)), minutes)
            inside = sum(overlaps(count, minutes, rate) for count in alarms)
            cells.append(
                f"{np.mean(levels):>14.2f}{np.mean(alarms) / minutes:>6.2f}  {f'{low:.2f} to {high:.2f}':<12} "
                f"{inside}/{len(alarms)}"
            )
        print(*cells, refused, flush=True)
    print(f"{time.process_time() - began:.0f} s CPU")


if __name__ == "__main__":
    piped.run(main)
