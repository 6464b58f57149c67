"""Prints the cost of miscounted edges in an imported log, mended and not mended.  Nothing here passes or fails.

    python tests/bench/spikes.py [--kinds bench,garden] [--minutes 20] [--every 60] [--tuning] [--cache DIR]
    python tests/bench/spikes.py --passes      how sharp passes are, which sets the limit
    python tests/bench/spikes.py --slow        how far apart readings may be

SIMULATION: the scenes, the scoring and the thirteen test conditions of tests/bench/detection (README there), as the log
of another counter: one frequency every 20 ms.  One reading a minute at a random place has one edge too many (2,000 ppm
at 500 edges); in every other minute the next reading has one too few, as with a counter that only opens its gate late.
Each way has thresholds of its own on its own clean series, with spikes where it has spikes.
"""

import argparse
import multiprocessing
import sys
import time
from dataclasses import dataclass
from functools import partial
from pathlib import Path

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
from kinds import KINDS, target_of
from score import Found
from series import INTERVAL_S, Run, data_of

# On a condition's threshold for 1 a minute, among which that for 0.1 is looked up.  Spikes score thousands.
FACTORS = (*(float(f) for f in np.round(1.1 ** np.arange(8), 4)), *(float(f) for f in 2.0 ** np.arange(1, 12)))
LOUDEST = 1e5

F0_HZ = 25_028.5
EDGE_PPB = 1e9 / 500
# (name, whether there are spikes, whether they are mended)
WAYS = (("no spikes", False, True), ("as it was", True, False), ("mended", True, True))
INTERVALS_MS = (20, 60, 100, 120, 140, 160, 200, 240, 300, 400, 500, 1000)


class Untouched:
    """In place of tracker.spikes.Spikes: lets every reading through."""

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
    """One way over one condition: found and sign right of the passes that count, at 1 and at 0.1 a minute."""

    threshold: float
    clean: list[int]  # false alarms at each of FACTORS times the threshold
    found: list[float]  # share, at each of FACTORS
    default_rate: float  # false alarms a minute at the default threshold
    strongest: float  # score of the strongest false alarm there
    mended: int  # readings, of the clean and the swept series
    spikes: int  # readings that were spoilt


def spoilt(run: Run, rng: np.random.Generator, every_s: float) -> tuple[np.ndarray, int]:
    """The readings with a spike in each stretch of every_s, and how many readings that spoilt."""
    y = run.y.copy()
    size = round(every_s / INTERVAL_S)
    count = 0
    for number, start in enumerate(range(0, len(y) - size // 2, size)):
        at = start + int(rng.integers(min(size, len(y) - start) - 2))
        y[at] += EDGE_PPB
        count += 1
        if number % 2:
            y[at + 1] -= EDGE_PPB
            count += 1
    return y, count


def over(y: np.ndarray, first_s: float, interval_s: float, threshold: float, mend: bool, **settings):
    """The tracker over imported readings: its alerts and the readings it mended."""
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
    data = data_of(KINDS[name], tuning, minutes, 0.8 * minutes, cache)
    passes = [one for run in data.swept for one in run.passes if score.counts(one)]
    out = []
    for _, spiked, mend in WAYS:
        rng = np.random.default_rng([7, len(name), *name.encode()])
        made = [spoilt(run, rng, every_s) if spiked else (run.y, 0) for run in (*data.clean, *data.swept)]
        clean = [(y, run) for (y, _), run in zip(made, data.clean, strict=False)]
        swept = [(y, run) for (y, _), run in zip(made[len(clean) :], data.swept, strict=True)]
        heard = sum(len(y) for y, _ in clean) * INTERVAL_S / 60
        out.append(_way(clean, swept, heard, mend, sum(count for _, count in made)))
    return name, len(passes), out


def _way(clean, swept, heard, mend, spikes) -> Way:
    kept_runs = {}

    def of(which, at, threshold):
        """The alerts of one run.  Above what the setting allows: those of its highest that score so much."""
        level = min(threshold, trackers.MOST)
        if (which, at, level) not in kept_runs:
            y, run = (clean, swept)[which][at]
            kept_runs[which, at, level] = over(y, run.first_s, INTERVAL_S, level, mend)[0]
        return [one for one in kept_runs[which, at, level] if one.score >= threshold]

    def alerts(threshold):
        return [one for at in range(len(clean)) for one in of(0, at, threshold)]

    def found(threshold):
        hits = total = 0
        for at, (_, run) in enumerate(swept):
            matched = score.match(run.passes, of(1, at, threshold))[0]
            kept = [got for one, got in zip(run.passes, matched, strict=True) if score.counts(one)]
            hits += sum(got is not None for got in kept)
            total += len(kept)
        return hits / total

    at = trackers.threshold_for(lambda threshold: len(alerts(threshold)), heard, 1.0, LOUDEST)
    default = alerts(trackers.DEFAULT)
    mended = sum(over(y, run.first_s, INTERVAL_S, trackers.DEFAULT, mend)[1] for y, run in (*clean, *swept))
    return Way(
        at, [len(alerts(at * factor)) for factor in FACTORS], [found(at * factor) for factor in FACTORS],
        len(default) / heard, max((one.score for one in default), default=0.0), mended, spikes,
    )  # fmt: skip


def factor_for(ways: list[Way], minutes: float, rate: float) -> int:
    """The first of FACTORS that leaves all conditions together `rate` a minute, or the last."""
    for i in range(len(FACTORS)):
        if sum(way.clean[i] for way in ways) <= rate * minutes * len(ways):
            return i
    return len(FACTORS) - 1


def table(results: list[tuple[str, int, list[Way]]], minutes: float, every_s: float) -> None:
    print(f"SIMULATION: {minutes:g} minutes of clean ground and {0.8 * minutes:g} with objects for each condition, "
          f"one spike every {every_s:g} s")  # fmt: skip
    names = [name for name, _, _ in WAYS]
    print("share found, passes from d' = 4 on; thresholds for 1, and for all together 0.1, false alarms a minute")
    print(f"{'':<12}{'passes':>7}{'at 1 a minute':^31}{'':>8}{'at 0.1':^31}{'':>8}{'FA/min at 4.8':^30}"
          f"{'strongest':>20}{'readings':>16}")  # fmt: skip
    heads = "".join(f"{name:>10}" for name in names)
    print(f"{'':<19}{heads}{'ratio':>8} {heads}{'ratio':>8}{heads}{'as it was':>11}{'mended':>9}{'spoilt':>8}"
          f"{'mended':>8}")  # fmt: skip
    last = [factor_for([ways[i] for _, _, ways in results], minutes, 0.1) for i in range(len(WAYS))]
    sums = np.zeros((2, len(WAYS)))
    for name, count, ways in results:
        at = [[way.found[0] for way in ways], [way.found[i] for way, i in zip(ways, last, strict=True)]]
        sums += np.array(at)
        cells = [_cells(row) for row in at]
        rates = "".join(f"{way.default_rate:>10.2f}" for way in ways)
        print(f"{name:<12}{count:>7}{cells[0]} {cells[1]}{rates}{ways[1].strongest:>11.0f}{ways[2].strongest:>9.1f}"
              f"{ways[2].spikes:>8}{ways[2].mended:>8}")  # fmt: skip
    means = sums / len(results)
    print(f"{'mean':<19}{_cells(means[0])} {_cells(means[1])}")
    print(f"mended where there were no spikes: {sum(ways[0].mended for _, _, ways in results)} readings")
    rates = [sum(ways[i].clean[last[i]] for _, _, ways in results) / minutes / len(results) for i in range(len(WAYS))]
    each = ", ".join(f"{name} {rate:.2f}" for name, rate in zip(names, rates, strict=True))
    print(f"false alarms a minute that 0.1 came to: {each}")


def _cells(row) -> str:
    return "".join(f"{share:>10.3f}" for share in row) + f"{row[2] / row[0] if row[0] else 0:>8.3f}"


# ---------------------------------------------------------------- what the limits rest on


def passes() -> None:
    """Least share that readings beside a sharp reading have, over the strongest passes; and whether any is mended."""
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
    print(f"COMPUTATION: {8 * len(shapes)} passes of the benchmark's objects 3 to 6 cm from the coil, up to "
          f"{strongest:.0f} ppm, at 0.3 to 3 m/s")  # fmt: skip
    print("least range of the readings around a sharp one, as a share of its jump, beside what is taken for a spike")
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
                    for one in np.rint(1e9 * series).astype(int).tolist():
                        spikes.push(one, 1, out)
                    spikes.flush(out)
        one, two = (1 / share if share else 0 for share in spikes._shares)
        print(f"{interval_ms:>6} ms{least[0]:>13.4f}{one:>9.4f}{least[1]:>15.4f}{least[2]:>15.4f}{two:>9.4f}"
              f"{spikes.mended:>8}")  # fmt: skip


def _shares(series: np.ndarray) -> tuple[float, ...]:
    """Range of the three readings before and the two after, over the jump of one reading, of two, of two opposite."""
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


def slow_kind(name: str, minutes: float, tuning: bool, cache: Path | None) -> list[tuple[float, float, int]]:
    """For each of INTERVALS_MS: share found at 1 false alarm a minute, sign right of those found, passes."""
    data = data_of(KINDS[name], tuning, minutes, 0.8 * minutes, cache)
    out = []
    for interval_ms in INTERVALS_MS:
        size = interval_ms // 20
        interval_s = interval_ms / 1000

        def series(run, size=size):
            whole = len(run.y) // size * size
            return run.y[:whole].reshape(-1, size).mean(axis=1), run.first_s + (size - 1) * INTERVAL_S / 2

        clean = [series(run) for run in data.clean]
        heard = sum(len(y) for y, _ in clean) * interval_s / 60

        def count(threshold, clean=clean, interval_s=interval_s):
            return sum(len(over(y, first_s, interval_s, threshold, True)[0]) for y, first_s in clean)

        at = trackers.threshold_for(count, heard, 1.0)
        hits = right = named = total = 0
        for run in data.swept:
            y, first_s = series(run)
            alerts = over(y, first_s, interval_s, at, True)[0]
            for one, got in zip(run.passes, score.match(run.passes, alerts)[0], strict=True):
                if score.counts(one) and not one.rest_s and not one.two_faced:
                    total += 1
                    hits += got is not None
                    right += got is not None and got.sign == one.sign
                    named += got is not None
        out.append((hits / total, right / named if named else float("nan"), total))
    return out


def slow(pool, names: list[str], minutes: float, tuning: bool, cache: Path | None) -> None:
    print("SIMULATION: share of passes found at 1 false alarm a minute, and of these the share with the right sign, "
          f"by the time between readings; {len(names)} conditions, {minutes:g} minutes each")  # fmt: skip
    rows = pool.map(partial(slow_kind, minutes=minutes, tuning=tuning, cache=cache), names, chunksize=1)
    print(f"{'interval':>9}{'found':>8}{'sign right':>12}{'worst found':>13}{'worst sign':>12}")
    for i, interval_ms in enumerate(INTERVALS_MS):
        found = [row[i][0] for row in rows]
        right = [row[i][1] for row in rows]
        print(f"{interval_ms:>6} ms{np.mean(found):>8.3f}{np.nanmean(right):>12.3f}{min(found):>13.3f}"
              f"{np.nanmin(right):>12.3f}")  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--kinds", default=",".join(KINDS), help="some of: " + ", ".join(KINDS))
    parser.add_argument("--minutes", type=float, default=20, help="of clean ground; with objects 0.8 of that")
    parser.add_argument("--every", type=float, default=60, help="seconds from spike to spike")
    parser.add_argument("--tuning", action="store_true", help="the scenes and objects that constants are chosen by")
    parser.add_argument("--cache", type=Path, help="keep the series in this folder")
    parser.add_argument("--passes", action="store_true", help="how sharp the sharpest passes are")
    parser.add_argument("--slow", action="store_true", help="by the time between readings")
    parser.add_argument("--processes", type=int, default=2)
    options = parser.parse_args()
    began = time.monotonic()
    names = options.kinds.split(",")
    for name in names:
        if name not in KINDS:
            parser.error(f"no kind {name}; there are {', '.join(KINDS)}")
    minutes = 2 * max(1, round(options.minutes / 2))
    if options.passes:
        passes()
    else:
        with multiprocessing.Pool(options.processes) as pool:
            if options.slow:
                slow(pool, names, minutes, options.tuning, options.cache)
            else:
                one = partial(study, minutes=minutes, every_s=options.every, tuning=options.tuning, cache=options.cache)
                table(pool.map(one, names, chunksize=1), minutes, options.every)
    print(f"{time.monotonic() - began:.0f} s")


if __name__ == "__main__":
    main()
