"""Prints how often `coilcount compare` reports a difference: between a build and itself, and a noisier one.

    python tests/bench/compare_seeds.py [--seeds 20] [--recordings 2] [--passes 3] [--noise 2] [--equal-rate 1]

Everything is simulated.  A build sweeps a course of 14 objects at depths of 1.5 to 11 cm, several passes over each; its
labels are the truth.  Each comparison has recordings of its own, with other noise, soil and wobble.

    itself   both builds are the same: a difference is wrong, and at most 1 of 20 is expected
    noisier  the amplitude of the oscillator's noise is --noise times as large in B

The columns count the comparisons in which each question of the verdict showed a difference.  "by object" is the
stricter second look at the passes; it decides nothing.  p is the smallest p value of the verdict, made larger by Holm's
method: its median.
"""

import argparse
import sys
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path
from statistics import mean, median

sys.path.insert(0, str(Path(__file__).parents[1] / "support"))
import compare_course as courses
from coilcount.desk.compare import compare
from coilcount.desk.compare_sides import Given
from coilcount.desk.rates import share_interval
from coilcount.desk.recordings import Recording
from coilcount.model.compare import FALSE_ALARMS, FOUND, SCORE, Comparison
from coilcount.settings import defaults

CLEAN_S = 300.0  # s: length of the clean recording of a build with --clean


def compared(seed: int, options: argparse.Namespace, ground: str, noise: float) -> Comparison:
    """Compare a build with one that is `noise` times as noisy."""
    sides = []
    with tempfile.TemporaryDirectory() as folder:
        for index, (name, factor) in enumerate((("A", 1.0), ("B", noise))):
            scene = courses.course(ground, options.passes, factor)
            known = truths[ground]
            first = 1000 * (2 * seed + index)
            paths = [
                courses.write_capture(Path(folder, f"{name}{i}.ccap"), scene, first + i, known)
                for i in range(options.recordings)
            ]
            clean = ()
            if options.clean:
                still = courses.without_objects(scene, CLEAN_S)
                path = courses.write_capture(Path(folder, f"{name}-clean.ccap"), still, first + 999, None)
                clean = (Recording((path,)),)
            recordings = tuple(Recording((path,)) for path in paths)
            sides.append(Given(name, recordings, defaults().with_threshold(options.threshold), "bench", clean))
        return compare(
            *sides, same_recordings=False, per_minute=options.equal_rate,
            watched=lambda name: lambda entries, report: entries,
        )  # fmt: skip


truths: dict[str, list] = {}


def start(passes: int) -> None:
    """Compute the labels once in each process."""
    for ground in courses.GROUNDS:
        truths[ground] = courses.truth(courses.course(ground, passes))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seeds", type=int, default=20, help="comparisons for each row")
    parser.add_argument("--first-seed", type=int, default=100)
    parser.add_argument("--recordings", type=int, default=2, help="recordings of each build")
    parser.add_argument("--passes", type=int, default=3, help="passes over each object in a recording")
    parser.add_argument("--noise", type=float, default=2.0, help="how many times as noisy B is")
    parser.add_argument("--threshold", type=float, default=defaults().tracker["threshold"])
    parser.add_argument("--equal-rate", type=float, help="thresholds for this rate of false alarms a minute")
    parser.add_argument("--clean", action="store_true", help="these thresholds come from clean recordings")
    parser.add_argument("--jobs", type=int, default=2)
    options = parser.parse_args()
    began = time.monotonic()
    print(
        f"Simulation, {options.seeds} comparisons a row; each build has {options.recordings} recordings of the course"
    )
    print(f"{'':<15}{'different':>20}{'found':>7}{'alarms':>8}{'score':>7}{'by object':>11}{'p':>8}{'A found':>10}"
          f"{'B found':>9}{'visible':>9}{'ratio':>7}")  # fmt: skip
    seeds = range(options.first_seed, options.first_seed + options.seeds)
    with ProcessPoolExecutor(options.jobs, initializer=start, initargs=(options.passes,)) as pool:
        for ground in courses.GROUNDS:
            for name, noise in (("itself", 1.0), ("noisier", options.noise)):
                results = list(pool.map(partial(compared, options=options, ground=ground, noise=noise), seeds))
                print(row(f"{ground} {name}", results), flush=True)
    print(f"{time.monotonic() - began:.0f} s on this PC")


def row(title: str, results: list[Comparison]) -> str:
    """The figures of some comparisons as one line."""
    shown = sum(result.different for result in results)
    low, high = share_interval(shown, len(results))
    counts = [sum(result.test(question).different for result in results) for question in (FOUND, FALSE_ALARMS, SCORE)]
    by_object = sum((result.p_objects or 1.0) <= 0.05 for result in results)
    smallest = median(
        min((test.p_holm for test in result.tests if test.p is not None), default=1.0) for result in results
    )
    visible = [result.visible_difference for result in results if result.visible_difference is not None]
    ratios = [result.score_ratio.value for result in results if result.score_ratio is not None]
    shares = [mean(getattr(result, side).found / getattr(result, side).passes for result in results) for side in "ab"]
    share = f"{shown} ({low:.0%} to {high:.0%})"
    return (
        f"{title:<15}{share:>20}{counts[0]:>7}{counts[1]:>8}{counts[2]:>7}{by_object:>11}"
        f"{smallest:>8.2g}{shares[0]:>10.0%}{shares[1]:>9.0%}{f'{mean(visible):.0%}' if visible else '-':>9}"
        f"{f'{mean(ratios):.2f}' if ratios else '-':>7}"
    )


if __name__ == "__main__":
    main()
