"""Prints how often `coilcount compare` reports a difference: between a build and itself, and a noisier one.

    python tests/bench/compare_seeds.py [--seeds 20] [--recordings 4] [--passes 2] [--noise 2] [--clean 1]

Everything is simulated.  A build sweeps a course of 14 objects at depths of 1.5 to 11 cm, several passes over each; its
labels are the truth.  Each comparison has recordings of its own, with other noise, soil and wobble.

    itself   both builds are the same: a difference is wrong, and at most 1 of 20 is expected
    noisier  the amplitude of the oscillator's noise is --noise times as large in B

The columns count the comparisons in which each question of the verdict showed a difference.  "by pass" is the
McNemar test that takes all passes as independent, "by object" the strictest look; both decide nothing.  p is the
smallest p value of the verdict, made larger by Holm's method: its median.  visible is the difference, in per cent of
the visits, that would be seen in 8 of 10 comparisons; ratio is the mean ratio of the scores.
"""

import argparse
import sys
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path
from statistics import mean, median

import piped

sys.path.insert(0, str(Path(__file__).parents[1] / "support"))
import compare_course as courses
from coilcount.desk.compare import compare
from coilcount.desk.compare_sides import Given
from coilcount.desk.rates import share_interval
from coilcount.desk.recordings import Recording
from coilcount.model.compare import FALSE_ALARMS, FOUND, SCORE, Comparison
from coilcount.settings import defaults

CLEAN_S = 300.0  # s: length of the clean recording of a build with --clean


def compared(seed: int, options: argparse.Namespace, ground: str) -> tuple[Comparison, Comparison]:
    """Compare a build with itself, and with one that is noisier."""
    with tempfile.TemporaryDirectory() as folder:
        builds = []
        for index, factor in enumerate((1.0, 1.0, options.noise)):
            scene = courses.course(ground, options.passes, factor)
            first = 1000 * (3 * seed + index)
            paths = [
                courses.write_capture(Path(folder, f"{index}-{i}.ccap"), scene, first + i, truths[ground])
                for i in range(options.recordings)
            ]
            clean = ()
            if options.clean:
                still = courses.without_objects(scene, CLEAN_S)
                path = courses.write_capture(Path(folder, f"{index}-clean.ccap"), still, first + 999, None)
                clean = (Recording((path,)),)
            recordings = tuple(Recording((path,)) for path in paths)
            settings = defaults()
            if options.threshold is not None:
                settings = settings.with_threshold(options.threshold)
            builds.append(Given("A" if index == 0 else "B", recordings, settings, "bench", clean))
        return tuple(
            compare(builds[0], other, same_recordings=False, per_minute=options.clean) for other in builds[1:]
        )


truths: dict[str, list] = {}


def start(passes: int) -> None:
    """Compute the labels once in each process."""
    for ground in courses.GROUNDS:
        truths[ground] = courses.truth(courses.course(ground, passes))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seeds", type=int, default=20, help="comparisons for each row")
    parser.add_argument("--first-seed", type=int, default=100)
    parser.add_argument("--recordings", type=int, default=4, help="recordings of each build")
    parser.add_argument("--passes", type=int, default=2, help="passes over each object in a recording")
    parser.add_argument("--noise", type=float, default=2.0, help="how many times as noisy B is")
    parser.add_argument("--threshold", type=float, help="fixed, in sigma; without it the default rate")
    parser.add_argument(
        "--clean",
        type=float,
        metavar="RATE",
        help="thresholds for this rate of false alarms a minute, from clean recordings of 5 minutes",
    )
    parser.add_argument("--ground", choices=tuple(courses.GROUNDS), help="one ground instead of both")
    parser.add_argument("--jobs", type=int, default=2)
    options = parser.parse_args()
    began = time.monotonic()
    print(
        f"Simulation, {options.seeds} comparisons a row; each build has {options.recordings} recordings of the course"
    )
    print(
        f"{'':<15}{'different':>20}{'found':>7}{'alarms':>8}{'score':>7}{'by pass':>9}{'by object':>11}{'p':>8}"
        f"{'A found':>10}{'B found':>9}{'visible':>9}{'ratio':>7}"
    )
    seeds = range(options.first_seed, options.first_seed + options.seeds)
    with ProcessPoolExecutor(options.jobs, initializer=start, initargs=(options.passes,)) as pool:
        for ground in [options.ground] if options.ground else courses.GROUNDS:
            both = list(pool.map(partial(compared, options=options, ground=ground), seeds))
            for name, results in zip(("itself", "noisier"), zip(*both, strict=True), strict=True):
                print(row(f"{ground} {name}", results), flush=True)
    print(f"{time.monotonic() - began:.0f} s on this PC")


def row(title: str, results: list[Comparison]) -> str:
    """The figures of some comparisons as one line."""
    shown = sum(result.different for result in results)
    low, high = share_interval(shown, len(results))
    by_pass = sum((result.p_passes or 1.0) <= 0.05 for result in results)
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
        f"{title:<15}{share:>20}{counts[0]:>7}{counts[1]:>8}{counts[2]:>7}{by_pass:>9}{by_object:>11}"
        f"{smallest:>8.2g}{shares[0]:>10.0%}{shares[1]:>9.0%}{f'{mean(visible):.0%}' if visible else '-':>9}"
        f"{f'{mean(ratios):.2f}' if ratios else '-':>7}"
    )


if __name__ == "__main__":
    piped.run(main)
