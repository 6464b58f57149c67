"""Frequency from interval sums, compared with the theory of counters and with a count of every edge."""

import random
import statistics
from itertools import pairwise
from math import ceil, log, sqrt

import numpy as np
import pytest
from coilcount.physics.noise import PowerLawNoise
from coilcount.readings.frequency import Sums, neighbours_ppm, regression, timestamp_error_s, two_averages
from coilcount.readings.noise import Noise
from coilcount.simulate.edges import EdgeSource, merge
from hypothesis import given
from hypothesis import strategies as st

TICK_S = 16e-9


def counted(hz: float, intervals: int, jitter_s: float, rng: random.Random, edges: int = 500) -> list[Sums]:
    """Intervals from a timestamp of every edge in whole ticks.  No formula under test is used."""
    start_s = rng.random() / hz
    out = []
    for k in range(intervals):
        stamps = [ceil((start_s + (k * edges + i) / hz + rng.gauss(0, jitter_s)) / TICK_S) for i in range(edges)]
        out.append(Sums(k * edges, edges, stamps[0], sum(t - stamps[0] for t in stamps)))
    return out


def many(runs, intervals, edges, jitter_s, seed, step_s=0.0):
    """The same, but quicker, as (Hz, run).  Each run has its own start and its own frequency from 24.9 to 25.1 kHz.

    step_s: sigma of a random step that each edge adds to the time, for a coil that wanders.
    """
    rng = np.random.default_rng(seed)
    for hz in rng.uniform(24_900, 25_100, runs):
        at_s = (np.arange(intervals * edges) + rng.uniform()) / hz
        if step_s:
            at_s += np.cumsum(rng.normal(0, step_s, len(at_s)))
        stamps = np.ceil((at_s + rng.normal(0, jitter_s, len(at_s))) / TICK_S).astype(np.int64).reshape(intervals, -1)
        first = stamps[:, 0]
        s = (stamps - first[:, None]).sum(axis=1)
        yield hz, [Sums(k * edges, edges, int(first[k]), int(s[k])) for k in range(intervals)]


def rms(values):
    return sqrt(np.mean(np.square(values)))


def share_within(errors, uncertainties):
    return float(np.mean(np.abs(errors) < uncertainties))


def test_the_uncertainty_of_two_averages_is_the_scatter():
    rng = random.Random(4)
    hz = 25_012.3456
    found = [two_averages(counted(hz, 2, 20e-9, rng), TICK_S, 20e-9) for _ in range(100)]
    scatter = statistics.stdev(estimate.frequency_hz for estimate in found) / hz
    uncertainty = found[0].uncertainty_hz / hz
    # From a Monte Carlo run on an emulated counter, not repeated here.  The formula is Rubiola's (see frequency.py).
    assert uncertainty == pytest.approx(6.5e-8, rel=0.02)
    # 100 runs give a standard deviation within 7 %, one sigma.
    assert scatter == pytest.approx(uncertainty, rel=0.21)
    assert abs(statistics.mean(estimate.frequency_hz for estimate in found) / hz - 1) < 4 * uncertainty / sqrt(100)


def test_timestamp_error_without_jitter_is_a_rectangular_distribution():
    # GUM (JCGM 100:2008) 4.3.7: the half width over sqrt(3).
    assert timestamp_error_s(TICK_S) == pytest.approx(TICK_S / 2 / sqrt(3))


@given(st.integers(1, 40), st.integers(10, 4000), st.integers(700, 20_000))
def test_exact_edges_give_the_exact_frequency(half, edges, period):
    run = [Sums(k * edges, edges, k * edges * period, period * edges * (edges - 1) // 2) for k in range(2 * half)]
    exact = 1 / (period * TICK_S)
    assert two_averages(run, TICK_S).frequency_hz == pytest.approx(exact, rel=1e-12)


def test_neighbours_ppm_is_the_uncertainty_of_two_averages():
    run = counted(25_000.0, 2, 0.0, random.Random(1))
    estimate = two_averages(run, TICK_S, 20e-9)
    assert neighbours_ppm(25_000.0, 0.02, TICK_S, 20e-9) == pytest.approx(
        1e6 * estimate.uncertainty_hz / estimate.frequency_hz, rel=1e-4
    )


@pytest.mark.parametrize("run", [[], [Sums(0, 5, 0, 10)], [Sums(0, 5, 0, 10), Sums(5, 0, 9, 0)]])
def test_two_averages_refuse_odd_numbers_and_empty_intervals(run):
    with pytest.raises(ValueError, match="interval"):
        two_averages(run, TICK_S)


@pytest.mark.parametrize("jitter_s", [20e-9, 100e-9])
@pytest.mark.parametrize(("window_s", "intervals"), [(0.02, 5), (0.1, 5), (0.4, 20)])
def test_regression_is_within_five_per_cent_of_the_bound(window_s, intervals, jitter_s):
    # sqrt(12) sx / (T sqrt(N)): Rubiola et al. 2016 (see frequency.py).
    edges = round(25_000 * window_s / intervals)
    count = edges * intervals
    runs, errors, uncertainties = 1500, [], []
    for hz, run in many(runs, intervals, edges, jitter_s, seed=5):
        estimate = regression(run, TICK_S, jitter_s)
        bound = sqrt(12) * timestamp_error_s(TICK_S, jitter_s) / (count / hz) / sqrt(count)
        errors.append((estimate.frequency_hz / hz - 1) / bound)
        uncertainties.append(estimate.uncertainty_hz / hz / bound)
    # In at least half of the runs nothing counts as wander: the smallest uncertainty is that of the timestamps alone.
    assert 1.0 < min(uncertainties) < 1.05
    assert estimate.span_s == pytest.approx(window_s, rel=0.01)
    # A standard deviation from 1500 runs is uncertain by 1 / sqrt(3000) = 1.8 %: four of these.
    assert rms(errors) / min(uncertainties) == pytest.approx(1, abs=4 / sqrt(2 * runs))
    within = share_within(errors, uncertainties)
    assert within > 0.683 - 4 * sqrt(0.683 * 0.317 / runs)


def test_neighbouring_means_share_an_interval():
    # Readings over (0, 1) and (1, 2) share the mean of 1 with opposite signs, which is -1/2 of the variance.  Readings
    # over (0, 1) and (2, 3) share nothing.  Elementary, for independent timestamps.
    shifts = np.array([
        [two_averages(two, TICK_S).frequency_hz / hz - 1 for two in pairwise(run)]
        for hz, run in many(150, 40, 100, 20e-9, seed=6)
    ])  # fmt: skip
    scatter = rms(shifts)
    assert scatter == pytest.approx(1e-6 * neighbours_ppm(25_000, 0.004, TICK_S, 20e-9), rel=0.06)
    # Some 5,800 products, a few of them dependent: uncertain by .02 at most.
    for lag, theory in ((1, -0.5), (2, 0.0)):
        assert np.mean(shifts[:, lag:] * shifts[:, :-lag]) / scatter**2 == pytest.approx(theory, abs=0.08)


@pytest.mark.parametrize("intervals", [5, 25])
def test_the_uncertainty_of_a_wandering_coil_is_wide_enough(intervals):
    # White noise of the frequency, 1e-7 over the window: twenty times that of the timestamps.
    runs, window_s = 1000, 0.1
    errors, uncertainties = [], []
    edges = round(25_000 * window_s / intervals)
    for hz, run in many(runs, intervals, edges, 0.0, seed=7, step_s=1e-7 * window_s / sqrt(25_000 * window_s)):
        estimate = regression(run, TICK_S)
        errors.append(estimate.frequency_hz / hz - 1)
        uncertainties.append(estimate.uncertainty_hz / hz)
    # A regression has 6/5 of the variance of the plain mean; F. Vernotte et al. 2016 on the Omega counter, from memory.
    assert rms(errors) == pytest.approx(1e-7 * sqrt(1.2), rel=4 / sqrt(2 * runs))
    # The factor 20 is for flicker; 73/9 would be enough here.  The uncertainty is that much wider, and not more.  The
    # mean of 1000 squares of two or three degrees of freedom is uncertain by 3 %, its root by half of that.
    assert rms(uncertainties) / rms(errors) == pytest.approx(sqrt(20 / (73 / 9)), rel=0.11)
    assert 0.70 < share_within(errors, uncertainties) < 0.82


def test_the_uncertainty_is_the_scatter_of_repeats_if_the_frequency_flickers():
    # An Allan deviation of 1e-6 at any time: sqrt(2 ln 2 h) (IEEE Std 1139).
    rng = np.random.default_rng(9)
    wander = PowerLawNoise(rng, 1e-3, h_minus1=1e-12 / (2 * log(2)))
    edges = EdgeSource(20e-9, rng)
    found = []
    for _ in range(400):
        sums = merge(edges.block(25_000 * (1 + wander.block(500))), 20)
        rows = zip(sums.first_edge.tolist(), sums.n.tolist(), sums.t_first.tolist(), sums.s.tolist(), strict=True)
        found.append(regression([Sums(*row) for row in rows], TICK_S))
    repeats = [(after.frequency_hz - before.frequency_hz) / sqrt(2) for before, after in pairwise(found)]
    uncertainties = [estimate.uncertainty_hz for estimate in found[:-1]]
    # The two are uncertain by 3.5 % and by 3 %: four times both together.
    assert rms(uncertainties) / rms(repeats) == pytest.approx(1, abs=0.19)
    assert rms(repeats) / 25_000 == pytest.approx(1e-6, rel=0.25)  # near the Allan deviation: a little more
    assert 0.57 - 4 * 0.025 < share_within(repeats, uncertainties) < 0.57 + 4 * 0.025


def test_unknown_jitter_shows_in_the_residuals():
    uncertainties = [regression(run, TICK_S).uncertainty_hz / hz for hz, run in many(300, 50, 100, 100e-9, seed=8)]
    known = sqrt(12) * timestamp_error_s(TICK_S, 100e-9) / 0.2 / sqrt(5000)
    # Second differences of 50 means are uncertain by about a sixth.  If the parts show wander, it is more.
    assert 0.6 * known < min(uncertainties) and statistics.median(uncertainties) < 1.5 * known


@given(
    st.lists(st.integers(2, 600), min_size=5, max_size=30),
    st.integers(700, 20_000),
    st.integers(0, 1 << 60),
    st.integers(0, 1 << 60),
)
def test_exact_edges_of_uneven_intervals_lie_on_the_line(counts, period, edge, tick):
    run = []
    for n in counts:
        run.append(Sums(edge, n, tick, period * n * (n - 1) // 2))
        edge += n
        tick += n * period
    estimate = regression(run, TICK_S)
    assert estimate.frequency_hz == pytest.approx(1 / (period * TICK_S), rel=1e-14)
    # Only the tick and the weights are left: u(period) = sx / sqrt(sum of n (mean edge - common mean edge)^2).
    middle = sum(counts) / 2
    mean_edges = np.cumsum(counts) - np.array(counts) / 2 - middle
    spread = float(np.sum(np.array(counts) * mean_edges * mean_edges))
    assert estimate.uncertainty_hz / estimate.frequency_hz == pytest.approx(
        timestamp_error_s(TICK_S) / (period * TICK_S) / sqrt(spread), rel=1e-9
    )
    assert estimate.span_s == pytest.approx(sum(counts) * period * TICK_S)


@pytest.mark.parametrize(
    "run", [[Sums(5 * k, 5, 9 * k, 10) for k in range(4)], [Sums(0, 5, 0, 10)] * 5, [Sums(0, 0, 0, 0)] * 5]
)
def test_a_regression_refuses_too_few_or_empty_intervals(run):
    with pytest.raises(ValueError, match="interval"):
        regression(run, TICK_S)


def test_noise_is_the_scatter_of_one_reading_without_the_slope():
    rng = random.Random(2)
    noise = Noise()
    # 0.5 ppm, on a drift of 1 ppm a second and with a pass of 50 ppm every 20 s.
    for k in range(20_000):
        shift = 0.02 * k + rng.gauss(0, 0.5) + (50 if k % 1000 < 15 else 0)
        noise.push(25_000 * (1 + 1e-6 * shift))
    median_hz, sigma_ppm = noise.result()
    assert median_hz == pytest.approx(25_000 * (1 + 200e-6), rel=3e-6)
    assert sigma_ppm == pytest.approx(0.5, rel=0.05)
    assert noise.recent_ppm == pytest.approx(0.5, rel=0.3)


def test_noise_in_bounded_memory_still_covers_all_readings():
    rng = random.Random(3)
    noise = Noise()
    for k in range(300_000):
        noise.push(1000.0 if k < 200_000 else 2000.0 + rng.gauss(0, 1e-3))
    assert len(noise._values) == len(noise._residuals) <= 65_536
    # Two thirds were 1000 Hz.  The median would be another if the start or the end was forgotten.
    assert noise.result()[0] == 1000.0
    assert sorted(noise._values)[-len(noise._values) // 4] > 1999


@pytest.mark.parametrize(("count", "known"), [(0, (False, False)), (1, (True, False)), (7, (True, True))])
def test_noise_of_few_readings(count, known):
    noise = Noise()
    for k in range(count):
        noise.push(25_000.0 + k % 2)
    assert tuple(value is not None for value in noise.result()) == known
