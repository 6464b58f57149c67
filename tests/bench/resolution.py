"""Prints the resolution of the estimators in readings/frequency.py beside their bounds.  Nothing passes or fails.

    python tests/bench/resolution.py [--runs 2000] [--seed 1]

COMPUTATION (Monte Carlo): 25 kHz, every edge in whole ticks of 16 ns, white jitter of the edges, start phase and
frequency (within 100 Hz) drawn again for each run; no hardware was at hand.  Up to 100 ms the regression is over five
intervals (of whole edges), over a second it is over fifty.  A ratio of n runs is uncertain by 1 / sqrt(2 n).
"""

import argparse
from collections.abc import Iterator
from itertools import pairwise
from math import sqrt

import numpy as np
from coilcount.physics.noise import NOISE_CLASSES, NoiseClass, PowerLawNoise
from coilcount.readings.frequency import Estimate, Sums, neighbours_ppm, regression, timestamp_error_s, two_averages
from coilcount.simulate.edges import EdgeSource, merge

TICK_S = 16e-9
MIDDLE_HZ = 25_000.0
WINDOWS = ((0.02, 10), (0.04, 10), (0.1, 10), (1.0, 50))
JITTERS_S = (0.0, 20e-9, 100e-9)
NEIGHBOURS_S = 0.02
WHITE = 2e-14  # white noise of the frequency, S_y in 1/Hz
_AT_ONCE = 4_000_000  # edges


def runs_of(
    count: int, blocks: int, window_s: float, jitter_s: float, rng: np.random.Generator, wander: float = 0.0
) -> Iterator[tuple[float, list[Sums]]]:
    """(true Hz, the window's intervals and the first edge of the next) of `count` runs."""
    edges = round(MIDDLE_HZ * window_s / blocks)  # in an interval
    whole = edges * blocks + 1
    while count > 0:
        some = min(count, max(1, _AT_ONCE // whole))
        count -= some
        hz = MIDDLE_HZ + rng.uniform(-100, 100, some)
        at_s = (np.arange(whole) + rng.uniform(0, 1, (some, 1))) / hz[:, None]
        if wander:  # white S_y is a random walk of the phase, S_y / 2 s^2 a second
            at_s += np.cumsum(rng.normal(0, sqrt(wander / 2 / MIDDLE_HZ), at_s.shape), axis=1)
        if jitter_s:
            at_s += rng.normal(0, jitter_s, at_s.shape)
        ticks = np.floor(at_s / TICK_S).astype(np.int64)
        inside = ticks[:, :-1].reshape(some, blocks, edges)
        first = inside[:, :, 0]
        s = (inside - first[:, :, None]).sum(axis=2)
        for run in range(some):
            intervals = [Sums(k * edges, edges, int(first[run, k]), int(s[run, k])) for k in range(blocks)]
            yield float(hz[run]), [*intervals, Sums(blocks * edges, 1, int(ticks[run, -1]), 0)]


def two_point(first: Sums, last: Sums, tick_s: float, jitter_s: float) -> Estimate:
    """The plainest estimator, for comparison: from the first edge of `first` to the first edge of `last`."""
    span_s = (last.t_first - first.t_first) * tick_s
    hz = (last.first_edge - first.first_edge) / span_s
    return Estimate(hz, hz * sqrt(2.0) * timestamp_error_s(tick_s, jitter_s) / span_s, span_s)


def spread(errors: list[tuple[float, float]]) -> tuple[float, float, float]:
    """Of (error, standard uncertainty): the rms error, and the shares within one and two uncertainties."""
    error, told = np.abs(np.array(errors)).T
    return sqrt(np.mean(error**2)), np.mean(error <= told), np.mean(error <= 2 * told)


def pairs(intervals: list[Sums]) -> list[Sums]:
    """Neighbours in one, exactly: S = s1 + s2 + n2 (t2 - t1)."""
    return [
        Sums(one.first_edge, one.n + two.n, one.t_first, one.s + two.s + two.n * (two.t_first - one.t_first))
        for one, two in zip(intervals[::2], intervals[1::2], strict=True)
    ]


def table(runs: int, rng: np.random.Generator) -> None:
    print("Relative standard deviation; its ratio to the bound; shares of the errors within 1 and 2 of the standard")
    print("uncertainties told (of a normal distribution .683 and .954).  The jitter is given to the estimator.")
    print("Bounds: sqrt2 sx / T, 4 sx / (T sqrtN), sqrt12 sx / (T sqrtN); five intervals reach 1.021 of the last\n")
    names = ("two points", "two averages", "regression")
    print(f"{'window':>7} {'jitter':>6} {'plain count':>11} |" + "".join(f"{name:^31}|" for name in names))
    for window_s, blocks in WINDOWS:
        for jitter_s in JITTERS_S:
            found: tuple[list[tuple[float, float]], ...] = ([], [], [])
            for hz, intervals in runs_of(runs, blocks, window_s, jitter_s, rng):
                inside = intervals[:-1]
                told = (
                    two_point(intervals[0], intervals[-1], TICK_S, jitter_s),
                    two_averages(inside, TICK_S, jitter_s),
                    regression(inside if window_s >= 1 else pairs(inside), TICK_S, jitter_s),
                )
                for errors, one in zip(found, told, strict=True):
                    errors.append((one.frequency_hz / hz - 1, one.uncertainty_hz / hz))
            edges = MIDDLE_HZ * window_s
            sx = timestamp_error_s(TICK_S, jitter_s) / window_s
            bounds = (sqrt(2) * sx, 4 * sx / sqrt(edges), sqrt(12 / edges) * sx)
            # Whole cycles in the gate, at any phase and a frequency that is no multiple of 1 / gate.
            cycles = edges + rng.uniform(0, 1, runs)
            plain = np.std(np.floor(rng.uniform(0, 1, runs) + cycles) - cycles) / edges
            row = f"{1000 * window_s:4.0f} ms {1e9 * jitter_s:3.0f} ns {plain:11.1e} |"
            for errors, bound in zip(found, bounds, strict=True):
                rms, one, two = spread(errors)
                row += f" {rms:8.2e} {rms / bound:6.3f}  {one:.3f} {two:.3f} |"
            print(row, flush=True)


def unknown_noise(runs: int, rng: np.random.Generator) -> None:
    print("\nRegression over 1 s (fifty intervals) that is told no jitter.  Scatter: of a steady coil the error;")
    print("of one that wanders (physics/noise.py, estimates) the difference from the next second, over sqrt2\n")
    print(f"{'jitter':>7} {'coil':>20} {'scatter':>9} {'told, rms':>9}  within 1 and 2 told")
    for jitter_s in JITTERS_S:
        errors = []
        for hz, intervals in runs_of(runs, 50, 1.0, jitter_s, rng):
            one = regression(intervals[:-1], TICK_S)
            errors.append((one.frequency_hz / hz - 1, one.uncertainty_hz / hz))
        print_unknown(jitter_s, "steady", errors)
    white = NoiseClass(WHITE, 0.0, 0.0)
    for name, noise in (("careful", NOISE_CLASSES["careful"]), ("typical", NOISE_CLASSES["typical"]),
                        (f"white, S_y {WHITE:.0e}/Hz", white)):  # fmt: skip
        print_unknown(20e-9, name, repeats(runs, noise, 20e-9, rng))


def print_unknown(jitter_s: float, coil: str, errors: list[tuple[float, float]]) -> None:
    rms, one, two = spread(errors)
    told = sqrt(np.mean([u * u for _, u in errors]))
    print(f"{1e9 * jitter_s:4.0f} ns {coil:>20} {rms:9.2e} {told:9.2e}  {one:.3f} {two:.3f}", flush=True)


def repeats(runs: int, noise: NoiseClass, jitter_s: float, rng: np.random.Generator) -> list[tuple[float, float]]:
    """(difference from the second after over sqrt2, uncertainty told), both relative, of seconds in a row."""
    wander = PowerLawNoise(rng, 1e-3, noise.h0, noise.h_minus1, noise.h_minus2)
    edges = EdgeSource(jitter_s, rng)
    found = []
    for _ in range(runs + 1):
        hz = 25_012.3456 * (1 + wander.block(1000))
        sums = merge(edges.block(hz), 20)
        rows = zip(sums.first_edge.tolist(), sums.n.tolist(), sums.t_first.tolist(), sums.s.tolist(), strict=True)
        found.append(regression([Sums(*row) for row in rows], TICK_S))
    return [
        ((two.frequency_hz / one.frequency_hz - 1) / sqrt(2), one.uncertainty_hz / one.frequency_hz)
        for one, two in pairwise(found)
    ]


def neighbours(runs: int, rng: np.random.Generator) -> None:
    ms = 1000 * NEIGHBOURS_S
    print(f"\nShift between neighbouring means of {ms:.0f} ms, which the tracker uses: one reading spans two")
    print(f"intervals, {2 * ms:.0f} ms, and shares one with the next.  Correlation with the next reading (lag 1):")
    print("theory -1/2 where the timestamps are the noise, +1/4 where the coil wanders (white S_y); lag 2: theory 0\n")
    print(f"{'jitter':>7} {'S_y 1/Hz':>9} {'scatter':>9} {'theory':>9}  {'ratio':>6}  {'lag 1':>6}  theory   lag 2")
    for jitter_s, wander in ((0.0, 0.0), (20e-9, 0.0), (100e-9, 0.0), (0.0, WHITE)):
        shifts = []
        for hz, intervals in runs_of(runs // 10, 50, 50 * NEIGHBOURS_S, jitter_s, rng, wander):
            inside = intervals[:-1]
            shifts.append([two_averages(two, TICK_S).frequency_hz / hz - 1 for two in pairwise(inside)])
        y = np.array(shifts)
        scatter = sqrt(np.mean(y * y))
        lags = [np.mean(y[:, lag:] * y[:, :-lag]) / scatter**2 for lag in (1, 2)]
        # White S_y: the mean over a triangle two intervals wide has 2/3 of the variance S_y / (2 tau) of one interval.
        theory = 1e-6 * neighbours_ppm(MIDDLE_HZ, NEIGHBOURS_S, TICK_S, jitter_s)
        theory = sqrt(theory**2 + wander / (3 * NEIGHBOURS_S))
        told = 0.25 if wander else -0.5
        print(
            f"{1e9 * jitter_s:4.0f} ns {wander:9.0e} {scatter:9.2e} {theory:9.2e}  {scatter / theory:6.3f} "
            f"{lags[0]:+7.3f} {told:+7.3f} {lags[1]:+7.3f}"
        )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=2000, help="runs of each row")
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    rng = np.random.default_rng(args.seed)
    table(args.runs, rng)
    unknown_noise(args.runs, rng)
    neighbours(args.runs, rng)


if __name__ == "__main__":
    main()
