"""Prints the effect of miscounted edges in an imported log, with and without repair.  It checks nothing.

    python tests/bench/spikes.py [--conditions bench,garden] [--minutes 20] [--every 60] [--tuning] [--cache DIR]
    python tests/bench/spikes.py --passes      how sharp passes are: the limits of the repair
    python tests/bench/spikes.py --slow        the longest useful time between readings

All data are simulated.  The scenes, the scoring and the thirteen test conditions are those of tests/bench/detection.
The README there explains them.  The readings have the form of a log from another counter: one frequency every 20 ms.
One reading a minute, at a random place, has one edge too many (2,000 ppm of 500 edges).  Every second time, the next
reading has one edge too few, as with a counter that opens its gate late.
Each of the three ways (no spikes, unmended, mended) has its own thresholds, from its own runs without objects.
"""

import argparse
import multiprocessing
import sys
import time
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import piped

sys.path.insert(0, str(Path(__file__).resolve().parent / "detection"))

import numpy as np
import objects
import score
import trackers
from coilcount.simulate.coil import CoilModel
from coilcount.simulate.dprime import readings
from coilcount.simulate.scene import Scene
from coilcount.tracker.records import Alert
from coilcount.tracker.spikes import Spikes
from coilcount.tracker.tracker import Tracker
from conditions import CONDITIONS, target_of
from score import Found
from series import INTERVAL_S, Run, data_of

# Multiples of the threshold for 1 false alarm a minute.  The threshold for 0.1 a minute is chosen from these.
# They go far up, because spikes have scores of thousands.
FACTORS = (*(float(f) for f in np.round(1.1 ** np.arange(8), 4)), *(float(f) for f in 2.0 ** np.arange(1, 12)))
FIXED = 4.8  # sigma: a threshold that gives less than 1 false alarm a minute in most conditions; chosen by hand
LOUDEST = 1e5  # largest threshold to try, in sigma

F0_HZ = 25_028.5  # frequency of the coil in the log
EDGE_PPB = 1e9 / 500  # effect of one edge on a reading with 500 edges
# (name, whether there are spikes, whether they are mended)
WAYS = (("no spikes", False, True), ("unmended", True, False), ("mended", True, True))
# Times between readings for --slow.
INTERVALS_MS = (20, 60, 100, 120, 140, 160, 200, 240, 300, 400, 500, 1000)


class Untouched:
    """A replacement for tracker.spikes.Spikes that passes on every reading unchanged."""

    mended = waiting = 0

    def passes(self, y):
        return True

    def push(self, y, count, out):
        out += (y, count)

    def flush(self, out):
        pass

    def forget(self):
        pass


@dataclass
class Way:
    """The results of one way (a row of WAYS) in one test condition."""

    threshold: float
    clean: list[int]  # false alarms at each of FACTORS times the threshold
    found: list[float]  # share of passes found, at each of FACTORS times the threshold
    default_rate: float  # false alarms a minute at the threshold FIXED
    strongest: float  # score of the strongest false alarm there
    mended: int  # number of readings that were mended, in all runs
    spikes: int  # number of readings with a miscounted edge


def add_spikes(run: Run, rng: np.random.Generator, every_s: float) -> tuple[np.ndarray, int]:
    """Add one spike in each every_s seconds; return the readings and the number of readings that changed."""
    y = run.y.copy()
    size = round(every_s / INTERVAL_S)
    count = 0
    for number, start in enumerate(range(0, len(y) - size // 2, size)):
        index = start + int(rng.integers(min(size, len(y) - start) - 2))
        y[index] += EDGE_PPB
        count += 1
        if number % 2:
            y[index + 1] -= EDGE_PPB
            count += 1
    return y, count


def run_tracker(y: np.ndarray, first_s: float, interval_s: float, threshold: float, mend: bool, **settings):
    """Run the tracker over imported readings; return its final alerts and the number of readings that it mended."""
    tracker = Tracker(interval_s, threshold=threshold, **settings)
    if not mend:
        tracker._spikes = Untouched()
    events: list = []
    step_us = round(interval_s * 1e6)
    start_us = round(first_s * 1e6)
    for k, hz in enumerate((F0_HZ * (1 + 1e-9 * y)).tolist()):
        got = tracker.reading(start_us + k * step_us, hz)
        if got:
            events.extend(got)
    events.extend(tracker.finish())
    alerts = [
        Found(e.peak_us / 1e6, e.raised_us / 1e6, e.sign, e.score, e.response, e.confidence, e.reasons, e.seen)
        for e in events
        if isinstance(e, Alert) and e.stage == "final"
    ]
    return alerts, tracker.mended


def study(name: str, minutes: float, every_s: float, tuning: bool, cache: Path | None) -> tuple[str, int, list[Way]]:
    """Return the name of the condition, its number of passes, and the results of each way."""
    data = data_of(CONDITIONS[name], tuning, minutes, 0.8 * minutes, cache)
    passes = [pass_ for run in data.swept for pass_ in run.passes if score.counts(pass_)]
    out = []
    for _, spiked, mend in WAYS:
        rng = np.random.default_rng([7, len(name), *name.encode()])
        made = [add_spikes(run, rng, every_s) if spiked else (run.y, 0) for run in (*data.clean, *data.swept)]
        clean = [(y, run) for (y, _), run in zip(made, data.clean, strict=False)]
        swept = [(y, run) for (y, _), run in zip(made[len(clean) :], data.swept, strict=True)]
        clean_minutes = sum(len(y) for y, _ in clean) * INTERVAL_S / 60
        out.append(_way(clean, swept, clean_minutes, mend, sum(count for _, count in made)))
    return name, len(passes), out


def _way(clean, swept, minutes, mend, spikes) -> Way:
    kept_runs = {}

    def alerts_of(group, number, threshold):
        """Return the alerts of one run; group: 0 without objects, 1 with objects.

        The tracker has an upper limit for its threshold.  Above it, the tracker runs at the limit and the alerts with a
        lower score are dropped.
        """
        level = min(threshold, trackers.MOST)
        if (group, number, level) not in kept_runs:
            y, run = (clean, swept)[group][number]
            kept_runs[group, number, level] = run_tracker(y, run.first_s, INTERVAL_S, level, mend)[0]
        return [alert for alert in kept_runs[group, number, level] if alert.score >= threshold]

    def alerts(threshold):
        return [alert for number in range(len(clean)) for alert in alerts_of(0, number, threshold)]

    def found(threshold):
        hits = total = 0
        for number, (_, run) in enumerate(swept):
            matched = score.match(run.passes, alerts_of(1, number, threshold))[0]
            kept = [alert for pass_, alert in zip(run.passes, matched, strict=True) if score.counts(pass_)]
            hits += sum(alert is not None for alert in kept)
            total += len(kept)
        return hits / total

    base = trackers.threshold_for(lambda threshold: len(alerts(threshold)), minutes, 1.0, LOUDEST)
    default = alerts(FIXED)
    mended = sum(run_tracker(y, run.first_s, INTERVAL_S, FIXED, mend)[1] for y, run in (*clean, *swept))
    return Way(
        base, [len(alerts(base * factor)) for factor in FACTORS], [found(base * factor) for factor in FACTORS],
        len(default) / minutes, max((alert.score for alert in default), default=0.0), mended, spikes,
    )  # fmt: skip


def factor_for(ways: list[Way], minutes: float, rate: float) -> int:
    """Return the index of the first factor with at most `rate` false alarms a minute in the mean, or the last."""
    for i in range(len(FACTORS)):
        if sum(way.clean[i] for way in ways) <= rate * minutes * len(ways):
            return i
    return len(FACTORS) - 1


def table(results: list[tuple[str, int, list[Way]]], minutes: float, every_s: float) -> None:
    print(f"Simulation: {minutes:g} minutes without objects and {0.8 * minutes:g} with objects for each condition, "
          f"one spike every {every_s:g} s")  # fmt: skip
    names = [name for name, _, _ in WAYS]
    print("Share found, of passes with d' of at least 4.  The thresholds give 1 false alarm a minute in each condition")
    print("and 0.1 a minute over all conditions.")
    print("strongest: score of the strongest false alarm at a threshold of 4.8")
    print(f"{'':<12}{'passes':>7}{'at 1 a minute':^31}{'':>8}{'at 0.1':^31}{'':>8}{'FA/min at 4.8':^30}"
          f"{'strongest':>20}{'readings':>16}")  # fmt: skip
    heads = "".join(f"{name:>10}" for name in names)
    print(f"{'':<19}{heads}{'ratio':>8} {heads}{'ratio':>8}{heads}{'unmended':>11}{'mended':>9}{'spikes':>8}"
          f"{'mended':>8}")  # fmt: skip
    last = [factor_for([ways[i] for _, _, ways in results], minutes, 0.1) for i in range(len(WAYS))]
    sums = np.zeros((2, len(WAYS)))
    for name, count, ways in results:
        shares = [[way.found[0] for way in ways], [way.found[i] for way, i in zip(ways, last, strict=True)]]
        sums += np.array(shares)
        cells = [_cells(row) for row in shares]
        rates = "".join(f"{way.default_rate:>10.2f}" for way in ways)
        print(f"{name:<12}{count:>7}{cells[0]} {cells[1]}{rates}{ways[1].strongest:>11.0f}{ways[2].strongest:>9.1f}"
              f"{ways[2].spikes:>8}{ways[2].mended:>8}")  # fmt: skip
    means = sums / len(results)
    print(f"{'mean':<19}{_cells(means[0])} {_cells(means[1])}")
    print(f"readings mended in the runs without spikes: {sum(ways[0].mended for _, _, ways in results)} readings")
    rates = [sum(ways[i].clean[last[i]] for _, _, ways in results) / minutes / len(results) for i in range(len(WAYS))]
    each = ", ".join(f"{name} {rate:.2f}" for name, rate in zip(names, rates, strict=True))
    print(f"false alarms a minute at the thresholds for 0.1: {each}")


def _cells(row) -> str:
    return "".join(f"{share:>10.3f}" for share in row) + f"{row[2] / row[0] if row[0] else 0:>8.3f}"


# ---------------------------------------------------------------- the basis of the limits


def passes() -> None:
    """Print how sharp the readings of strong passes are, and how many of them would be mended by mistake."""
    from coilcount.tracker.defaults import DEFAULTS

    rng = np.random.default_rng(6)
    coil = CoilModel(Scene(schema=1, duration_s=10))
    things = objects.TEST + objects.TUNING + objects.IRON_TEST + objects.IRON_TUNING + objects.SMALL_TEST
    x = np.arange(-0.6, 0.6, 0.001)
    shapes = []
    for thing in things:
        for _ in range(120):
            target = target_of(thing, rng, 5.0, 1.0)
            down_m = np.full_like(x, rng.uniform(0.03, 0.06))
            shapes.append(coil.object_shift(target, x, down_m)[0])
    strongest = 1e6 * max(np.abs(y).max() for y in shapes)
    print(f"Computation: {8 * len(shapes)} passes over the objects of the benchmark, 3 to 6 cm from the coil, up to "
          f"{strongest:.0f} ppm, at 0.3 to 3 m/s")  # fmt: skip
    print("Smallest range of the readings around a sharp one, as a share of its jump")
    print("allowed: a reading with a smaller share is a spike")
    print(f"{'interval':>9}{'one reading':>13}{'allowed':>9}{'two, same way':>15}{'two, opposite':>15}{'allowed':>9}"
          f"{'mended':>8}")  # fmt: skip
    for interval_ms in (5, 10, 20, 25, 33, 40, 50, 100):
        widths = DEFAULTS["widths_s"]
        spikes = Spikes(interval_ms * 1000, int(widths[0] * 1e6 + 0.5))
        least = np.full(3, np.inf)
        for shape in shapes:
            for speed in rng.uniform(0.3, 3, 8):
                t = np.arange(-0.4 / speed, 0.4 / speed, 0.001)
                y = np.concatenate([np.zeros(6 * interval_ms + rng.integers(interval_ms)),
                                    np.interp(speed * t, x, shape), np.zeros(8 * interval_ms)])  # fmt: skip
                gated = y[: len(y) // interval_ms * interval_ms].reshape(-1, interval_ms).mean(axis=1)
                for series in (gated, readings(y, interval_ms)):
                    least = np.minimum(least, _shares(series))
                    out: list[int] = []
                    for y_ppb in np.rint(1e9 * series).astype(int).tolist():
                        spikes.push(y_ppb, 1, out)
                    spikes.flush(out)
        allowed_1, allowed_2 = (1 / ratio if ratio else 0 for ratio in spikes._ratios)
        print(f"{interval_ms:>6} ms{least[0]:>13.4f}{allowed_1:>9.4f}{least[1]:>15.4f}{least[2]:>15.4f}"
              f"{allowed_2:>9.4f}{spikes.mended:>8}")  # fmt: skip


def _shares(series: np.ndarray) -> tuple[float, ...]:
    """Return least (range of 3 readings before and 2 after) / jump, of one reading, two, and two of opposite sign."""
    i = np.arange(3, len(series) - 3)
    first = series[i] - series[i - 1]
    second = series[i + 1] - series[i - 1]
    both = np.minimum(np.abs(first), np.abs(second))
    before = [series[i - 3], series[i - 2], series[i - 1]]
    room_1 = np.ptp([*before, series[i + 1], series[i + 2]], axis=0)
    room_2 = np.ptp([*before, series[i + 2], series[i + 3]], axis=0)
    out = []
    for jump, room, fits in (
        (np.abs(first), room_1, True), (both, room_2, first * second > 0), (both, room_2, first * second < 0),
    ):  # fmt: skip
        sharp = (jump > 5e-5) & fits
        out.append((room[sharp] / jump[sharp]).min() if sharp.any() else np.inf)
    return tuple(out)


def slow_condition(name: str, minutes: float, tuning: bool, cache: Path | None) -> list[tuple[float, float, int]]:
    """Return for each of INTERVALS_MS the share found, the share of these with the right sign, and the passes."""
    data = data_of(CONDITIONS[name], tuning, minutes, 0.8 * minutes, cache)
    out = []
    for interval_ms in INTERVALS_MS:
        size = interval_ms // 20
        interval_s = interval_ms / 1000

        def series(run, size=size):
            whole = len(run.y) // size * size
            return run.y[:whole].reshape(-1, size).mean(axis=1), run.first_s + (size - 1) * INTERVAL_S / 2

        clean = [series(run) for run in data.clean]
        clean_minutes = sum(len(y) for y, _ in clean) * interval_s / 60

        def count(threshold, clean=clean, interval_s=interval_s):
            return sum(len(run_tracker(y, first_s, interval_s, threshold, True)[0]) for y, first_s in clean)

        threshold = trackers.threshold_for(count, clean_minutes, 1.0)
        hits = right = total = 0
        for run in data.swept:
            y, first_s = series(run)
            alerts = run_tracker(y, first_s, interval_s, threshold, True)[0]
            for pass_, alert in zip(run.passes, score.match(run.passes, alerts)[0], strict=True):
                if score.counts(pass_) and not pass_.rest_s and not pass_.two_faced:
                    total += 1
                    hits += alert is not None
                    right += alert is not None and alert.sign == pass_.sign
        out.append((hits / total, right / hits if hits else float("nan"), total))
    return out


def slow(pool, names: list[str], minutes: float, tuning: bool, cache: Path | None) -> None:
    print("Simulation: share of passes found at 1 false alarm a minute, and share of these with the right sign, "
          f"by the time between readings; {len(names)} test conditions, {minutes:g} minutes each")  # fmt: skip
    rows = pool.map(partial(slow_condition, minutes=minutes, tuning=tuning, cache=cache), names, chunksize=1)
    print(f"{'interval':>9}{'found':>8}{'sign right':>12}{'worst found':>13}{'worst sign':>12}")
    for i, interval_ms in enumerate(INTERVALS_MS):
        found = [row[i][0] for row in rows]
        right = [row[i][1] for row in rows]
        print(f"{interval_ms:>6} ms{np.mean(found):>8.3f}{np.nanmean(right):>12.3f}{min(found):>13.3f}"
              f"{np.nanmin(right):>12.3f}")  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--conditions", default=",".join(CONDITIONS),
                        help="test conditions, any of: " + ", ".join(CONDITIONS))
    parser.add_argument("--minutes", type=float, default=20, help="minutes without objects; 0.8 times as many with")
    parser.add_argument("--every", type=float, default=60, help="mean time between spikes in seconds")
    parser.add_argument("--tuning", action="store_true",
                        help="use the scenes and objects that the constants were chosen with")
    parser.add_argument("--cache", type=Path, help="store the simulated data in this folder and use it again")
    parser.add_argument("--passes", action="store_true", help="print only how sharp the sharpest passes are")
    parser.add_argument("--slow", action="store_true", help="print only the figures by the time between readings")
    parser.add_argument("--processes", type=int, default=2)
    options = parser.parse_args()
    began = time.monotonic()
    names = options.conditions.split(",")
    for name in names:
        if name not in CONDITIONS:
            parser.error(f"there is no test condition {name}; use {', '.join(CONDITIONS)}")
    minutes = 2 * max(1, round(options.minutes / 2))
    if options.passes:
        passes()
    else:
        with multiprocessing.Pool(options.processes) as pool:
            if options.slow:
                slow(pool, names, minutes, options.tuning, options.cache)
            else:
                run_study = partial(study, minutes=minutes, every_s=options.every, tuning=options.tuning,
                                    cache=options.cache)  # fmt: skip
                table(pool.map(run_study, names, chunksize=1), minutes, options.every)
    print(f"{time.monotonic() - began:.0f} s")


if __name__ == "__main__":
    piped.run(main)
