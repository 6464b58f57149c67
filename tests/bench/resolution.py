"""Prints the resolution of the estimators in readings/frequency.py, next to the theoretical bounds.  It checks nothing.

    python tests/bench/resolution.py [--runs 2000] [--seed 1]

This is a Monte Carlo computation, not a measurement.  The frequency is within 100 Hz of 25 kHz.  Every edge has white
jitter and is rounded down to ticks of 16 ns.  Each run draws its own start phase and frequency.
The regression uses five intervals up to 100 ms, and fifty for one second.  Intervals have a whole number of edges.
A ratio from n runs has a relative uncertainty of 1 / sqrt(2 n).
"""

import argparse
from collections.abc import Iterator
from itertools import pairwise
from math import sqrt

import numpy as np
import piped
from coilcount.physics.noise import NOISE_CLASSES, NoiseClass, PowerLawNoise
from coilcount.readings.frequency import Sums, neighbours_ppm, regression, timestamp_error_s, two_averages
from coilcount.simulate.edges import EdgeSource, merge

TICK_S = 16e-9
MIDDLE_HZ = 25_000.0
# (length of the window in s, intervals in it)
WINDOWS = ((0.02, 10), (0.04, 10), (0.1, 10), (1.0, 50))
JITTERS_S = (0.0, 20e-9, 100e-9)
NEIGHBOURS_S = 0.02  # length of an interval in the table of neighbouring means
WHITE = 2e-14  # white noise of the frequency, S_y in 1/Hz; chosen by hand
_EDGES_AT_ONCE = 4_000_000  # edges simulated together: limits the memory


def runs_of(
    count: int, blocks: int, window_s: float, jitter_s: float, rng: np.random.Generator, wander: float = 0.0
) -> Iterator[tuple[float, list[Sums]]]:
    """Yield (true frequency in Hz, intervals of the window) for `count` runs.

    blocks: intervals in a window; wander: white frequency noise of the coil, S_y in 1/Hz.
    """
    edges = round(MIDDLE_HZ * window_s / blocks)  # edges in an interval
    whole = edges * blocks
    while count > 0:
        some = min(count, max(1, _EDGES_AT_ONCE // whole))
        count -= some
        hz = MIDDLE_HZ + rng.uniform(-100, 100, some)
        at_s = (np.arange(whole) + rng.uniform(0, 1, (some, 1))) / hz[:, None]
        if wander:  # white S_y is a random walk of the phase; its variance grows by S_y / 2 (in s^2) each second
            at_s += np.cumsum(rng.normal(0, sqrt(wander / 2 / MIDDLE_HZ), at_s.shape), axis=1)
        if jitter_s:
            at_s += rng.normal(0, jitter_s, at_s.shape)
        ticks = np.floor(at_s / TICK_S).astype(np.int64)
        inside = ticks.reshape(some, blocks, edges)
        first = inside[:, :, 0]
        s = (inside - first[:, :, None]).sum(axis=2)
        for run in range(some):
            yield float(hz[run]), [Sums(k * edges, edges, int(first[run, k]), int(s[run, k])) for k in range(blocks)]


def spread(errors: list[tuple[float, float]]) -> tuple[float, float, float]:
    """Return the rms error and the shares of errors within one and two uncertainties.

    errors: (error, standard uncertainty that the estimator gave).
    """
    error, uncertainty = np.abs(np.array(errors)).T
    return sqrt(np.mean(error**2)), np.mean(error <= uncertainty), np.mean(error <= 2 * uncertainty)


def pairs(intervals: list[Sums]) -> list[Sums]:
    """Join each two neighbouring intervals into one, exactly: S = s1 + s2 + n2 (t2 - t1)."""
    return [
        Sums(a.first_edge, a.n + b.n, a.t_first, a.s + b.s + b.n * (b.t_first - a.t_first))
        for a, b in zip(intervals[::2], intervals[1::2], strict=True)
    ]


def table(runs: int, rng: np.random.Generator) -> None:
    print("Columns: rms of the relative error; its ratio to the bound; shares of errors within 1 and 2 uncertainties")
    print("(0.683 and 0.954 for a normal distribution).  The estimator knows the jitter.")
    print("Bounds: two averages 4 sx / (T sqrt(N)), regression sqrt(12) sx / (T sqrt(N))")
    print("With five intervals, a regression reaches 1.021 of its bound\n")
    names = ("two averages", "regression")
    print(f"{'window':>7} {'jitter':>6} {'plain count':>11} |" + "".join(f"{name:^31}|" for name in names))
    for window_s, blocks in WINDOWS:
        for jitter_s in JITTERS_S:
            found: tuple[list[tuple[float, float]], ...] = ([], [])
            for hz, intervals in runs_of(runs, blocks, window_s, jitter_s, rng):
                estimates = (
                    two_averages(intervals, TICK_S, jitter_s),
                    regression(intervals if window_s >= 1 else pairs(intervals), TICK_S, jitter_s),
                )
                for errors, estimate in zip(found, estimates, strict=True):
                    errors.append((estimate.frequency_hz / hz - 1, estimate.uncertainty_hz / hz))
            edges = MIDDLE_HZ * window_s
            sx = timestamp_error_s(TICK_S, jitter_s) / window_s
            bounds = (4 * sx / sqrt(edges), sqrt(12 / edges) * sx)
            # A plain counter counts whole cycles in the gate, at a random phase and a random fraction of a cycle.
            cycles = edges + rng.uniform(0, 1, runs)
            plain = np.std(np.floor(rng.uniform(0, 1, runs) + cycles) - cycles) / edges
            row = f"{1000 * window_s:4.0f} ms {1e9 * jitter_s:3.0f} ns {plain:11.1e} |"
            for errors, bound in zip(found, bounds, strict=True):
                rms, within_1, within_2 = spread(errors)
                row += f" {rms:8.2e} {rms / bound:6.3f}  {within_1:.3f} {within_2:.3f} |"
            print(row, flush=True)


def unknown_noise(runs: int, rng: np.random.Generator) -> None:
    print("\nRegression over 1 s (fifty intervals) that does not know the jitter.")
    print("Scatter of a steady coil: rms error.  Scatter of a coil that wanders (estimates of physics/noise.py): rms")
    print("difference from the next second, divided by sqrt(2).  Estimate: rms of the uncertainties that it computes\n")
    print(f"{'jitter':>7} {'coil':>20} {'scatter':>9} {'estimate':>9}  within 1 and 2 uncertainties")
    for jitter_s in JITTERS_S:
        errors = []
        for hz, intervals in runs_of(runs, 50, 1.0, jitter_s, rng):
            estimate = regression(intervals, TICK_S)
            errors.append((estimate.frequency_hz / hz - 1, estimate.uncertainty_hz / hz))
        print_unknown(jitter_s, "steady", errors)
    white = NoiseClass(WHITE, 0.0, 0.0)
    for name, noise in (("careful", NOISE_CLASSES["careful"]), ("typical", NOISE_CLASSES["typical"]),
                        (f"white, S_y {WHITE:.0e}/Hz", white)):  # fmt: skip
        print_unknown(20e-9, name, repeats(runs, noise, 20e-9, rng))


def print_unknown(jitter_s: float, coil: str, errors: list[tuple[float, float]]) -> None:
    rms, within_1, within_2 = spread(errors)
    estimate = sqrt(np.mean([u * u for _, u in errors]))
    print(f"{1e9 * jitter_s:4.0f} ns {coil:>20} {rms:9.2e} {estimate:9.2e}  {within_1:.3f} {within_2:.3f}", flush=True)


def repeats(runs: int, noise: NoiseClass, jitter_s: float, rng: np.random.Generator) -> list[tuple[float, float]]:
    """Return (difference from the next second / sqrt(2), computed uncertainty) of successive seconds, both relative."""
    wander = PowerLawNoise(rng, 1e-3, noise.h0, noise.h_minus1, noise.h_minus2)
    edges = EdgeSource(jitter_s, rng)
    found = []
    for _ in range(runs + 1):
        hz = 25_012.3456 * (1 + wander.block(1000))
        sums = merge(edges.block(hz), 20)
        rows = zip(sums.first_edge.tolist(), sums.n.tolist(), sums.t_first.tolist(), sums.s.tolist(), strict=True)
        found.append(regression([Sums(*row) for row in rows], TICK_S))
    return [
        ((b.frequency_hz / a.frequency_hz - 1) / sqrt(2), a.uncertainty_hz / a.frequency_hz)
        for a, b in pairwise(found)
    ]


def neighbours(runs: int, rng: np.random.Generator) -> None:
    ms = 1000 * NEIGHBOURS_S
    print(f"\nShift between neighbouring means of {ms:.0f} ms, as the tracker uses it.  One reading spans two")
    print(f"intervals, {2 * ms:.0f} ms, and shares one of them with the next reading.")
    print("Lag 1 is the correlation with the next reading: in theory -1/2 if the noise is in the timestamps,")
    print("and +1/4 if the coil wanders (white S_y).")
    print("Lag 2 is 0 in theory\n")
    print(f"{'jitter':>7} {'S_y 1/Hz':>9} {'scatter':>9} {'theory':>9}  {'ratio':>6}  {'lag 1':>6}  theory   lag 2")
    for jitter_s, wander in ((0.0, 0.0), (20e-9, 0.0), (100e-9, 0.0), (0.0, WHITE)):
        shifts = []
        for hz, intervals in runs_of(runs // 10, 50, 50 * NEIGHBOURS_S, jitter_s, rng, wander):
            shifts.append([two_averages(pair, TICK_S).frequency_hz / hz - 1 for pair in pairwise(intervals)])
        y = np.array(shifts)
        scatter = sqrt(np.mean(y * y))
        lags = [np.mean(y[:, lag:] * y[:, :-lag]) / scatter**2 for lag in (1, 2)]
        # White S_y: the mean over a triangle two intervals wide has 2/3 of the variance S_y / (2 tau) of one interval.
        theory = 1e-6 * neighbours_ppm(MIDDLE_HZ, NEIGHBOURS_S, TICK_S, jitter_s)
        theory = sqrt(theory**2 + wander / (3 * NEIGHBOURS_S))
        theory_lag_1 = 0.25 if wander else -0.5
        print(
            f"{1e9 * jitter_s:4.0f} ns {wander:9.0e} {scatter:9.2e} {theory:9.2e}  {scatter / theory:6.3f} "
            f"{lags[0]:+7.3f} {theory_lag_1:+7.3f} {lags[1]:+7.3f}"
        )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=2000, help="runs for each row")
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    rng = np.random.default_rng(args.seed)
    table(args.runs, rng)
    unknown_noise(args.runs, rng)
    neighbours(args.runs, rng)


if __name__ == "__main__":
    piped.run(main)
