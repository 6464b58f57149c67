"""Frequency from interval sums, against the counters' theory and a count of every edge."""

import random
import statistics
from math import ceil, sqrt

import pytest
from coilcount.readings.frequency import Sums, neighbours_ppm, timestamp_error_s, two_averages, two_point
from coilcount.readings.noise import Noise
from hypothesis import given
from hypothesis import strategies as st

TICK_S = 16e-9


def counted(hz: float, intervals: int, jitter_s: float, rng: random.Random, edges: int = 500) -> list[Sums]:
    """Every edge timestamped in whole ticks, then summed: nothing of the formulas under test."""
    start_s = rng.random() / hz
    out = []
    for k in range(intervals):
        stamps = [ceil((start_s + (k * edges + i) / hz + rng.gauss(0, jitter_s)) / TICK_S) for i in range(edges)]
        out.append(Sums(k * edges, edges, stamps[0], sum(t - stamps[0] for t in stamps)))
    return out


# 20 ms and 20 ns of jitter: relative standard uncertainties of two points over 100 ms, and of neighbouring 20 ms means,
# from a Monte Carlo run made before this project on an emulated counter; the formulas are Rubiola's (see frequency.py).
@pytest.mark.parametrize(("intervals", "estimate", "relative"), [(6, "points", 2.9e-7), (2, "means", 6.5e-8)])
def test_uncertainty_is_the_scatter(intervals, estimate, relative):
    rng = random.Random(4)
    hz = 25_012.3456
    found = []
    for _ in range(100):
        run = counted(hz, intervals, 20e-9, rng)
        if estimate == "points":
            found.append(two_point(run[0], run[-1], TICK_S, 20e-9))
        else:
            found.append(two_averages(run, TICK_S, 20e-9))
    scatter = statistics.stdev(one.frequency_hz for one in found) / hz
    told = found[0].uncertainty_hz / hz
    assert told == pytest.approx(relative, rel=0.02)
    # 100 runs tell a standard deviation to 7 %.
    assert scatter == pytest.approx(told, rel=0.21)
    assert abs(statistics.mean(one.frequency_hz for one in found) / hz - 1) < 4 * told / sqrt(len(found))


def test_timestamp_error_without_jitter_is_a_rectangular_distribution():
    # GUM (JCGM 100:2008) 4.3.7: the half width over sqrt(3).
    assert timestamp_error_s(TICK_S) == pytest.approx(TICK_S / 2 / sqrt(3))


@given(st.integers(1, 40), st.integers(10, 4000), st.integers(700, 20_000))
def test_exact_edges_give_the_exact_frequency(half, edges, period):
    run = [Sums(k * edges, edges, k * edges * period, period * edges * (edges - 1) // 2) for k in range(2 * half)]
    exact = 1 / (period * TICK_S)
    assert two_averages(run, TICK_S).frequency_hz == pytest.approx(exact, rel=1e-12)
    assert two_point(run[0], run[-1], TICK_S).frequency_hz == pytest.approx(exact, rel=1e-12)


def test_neighbours_ppm_is_two_averages():
    run = counted(25_000.0, 2, 0.0, random.Random(1))
    told = two_averages(run, TICK_S, 20e-9)
    assert neighbours_ppm(25_000.0, 0.02, TICK_S, 20e-9) == pytest.approx(
        1e6 * told.uncertainty_hz / told.frequency_hz, rel=1e-4
    )


@pytest.mark.parametrize("run", [[], [Sums(0, 5, 0, 10)], [Sums(0, 5, 0, 10), Sums(5, 0, 9, 0)]])
def test_what_holds_no_two_averages(run):
    with pytest.raises(ValueError, match="interval"):
        two_averages(run, TICK_S)


def test_noise_is_that_of_one_reading_after_its_slope():
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


def test_noise_in_bounded_memory_still_sees_all():
    rng = random.Random(3)
    noise = Noise()
    for k in range(300_000):
        noise.push(1000.0 if k < 200_000 else 2000.0 + rng.gauss(0, 1e-3))
    assert len(noise._values) == len(noise._residuals) <= 65_536
    # Two thirds were 1000 Hz: whoever forgot the start, or the end, would not find that.
    assert noise.result()[0] == 1000.0
    assert sorted(noise._values)[-len(noise._values) // 4] > 1999


@pytest.mark.parametrize(("count", "known"), [(0, (False, False)), (1, (True, False)), (7, (True, True))])
def test_noise_of_little(count, known):
    noise = Noise()
    for k in range(count):
        noise.push(25_000.0 + k % 2)
    assert tuple(value is not None for value in noise.result()) == known
