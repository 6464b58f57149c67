"""The noise profile of a clean sweep, and the tracker with it, both tested with noise of a known density."""

import numpy as np
import pytest
import scipy.linalg
from coilcount.desk.spectrum import band_edges_hz, centre_hz, noise_ppm_rthz
from coilcount.tracker.bank import FilterBank
from coilcount.tracker.filters import backward, cholesky, early_edges, forward, late_edges
from coilcount.tracker.learner import Learner
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.signal import welch

INTERVAL_S = 0.02
WIDTHS_S = (0.13, 0.2, 0.32, 0.5)


def coloured(density, n, seed):
    """(n,) y in ppm with density(hz) in ppm per root hertz, one-sided: shaped in the frequency domain."""
    hz = np.fft.rfftfreq(n, INTERVAL_S)
    white = np.fft.rfft(np.random.default_rng(seed).standard_normal(n))
    return np.fft.irfft(white * density(np.maximum(hz, hz[1])) * (0.5 / INTERVAL_S) ** 0.5, n)


def sway(hz):
    """A noise density like that of smooth soil below 2 Hz, above a flat floor."""
    return 0.05 + 2.0 / (1 + (hz / 1.5) ** 4)


def phases(y_ppm):
    return np.cumsum(np.concatenate([[0.0], y_ppm])) * 1e-6 * INTERVAL_S


def test_the_density_is_found_as_scipy_finds_it():
    """Above 0.5 Hz each band is the mean of scipy.signal.welch in it within 15 %, also for a recording with a gap."""
    y = coloured(sway, 30_000, 1)
    x = phases(y)
    x[10_000] = np.nan
    learned = noise_ppm_rthz([x[:20_000], x[20_000:]], INTERVAL_S)
    hz, power = welch(y, 1 / INTERVAL_S, nperseg=2000)
    edges = band_edges_hz(INTERVAL_S)
    assert len(learned) == len(edges) - 1 == 25
    for band, density in enumerate(learned):
        inside = (hz >= edges[band]) & (hz < edges[band + 1])
        if centre_hz(band) > 0.5:  # below 0.5 Hz, segments of six seconds do not separate the bands
            assert density == pytest.approx(np.sqrt(power[inside].mean()), rel=0.15)
            assert edges[band] < centre_hz(band) < edges[band + 1]


def test_less_than_a_minute_without_a_break_gives_no_noise_profile():
    x = phases(coloured(sway, 6000, 2))
    assert noise_ppm_rthz([x], INTERVAL_S) is not None
    assert noise_ppm_rthz([x[:2700]], INTERVAL_S) is None
    x[::250] = np.nan
    assert noise_ppm_rthz([x], INTERVAL_S) is None


@pytest.mark.parametrize("density", [lambda hz: 0.1 + 0 * hz, sway], ids=["white", "sway"])
def test_the_statistic_has_a_sigma_of_one_in_the_noise_of_the_profile(density):
    bands = len(band_edges_hz(INTERVAL_S)) - 1
    known = tuple(float(density(np.array(centre_hz(band)))) for band in range(bands))
    bank = FilterBank(WIDTHS_S, INTERVAL_S, 1.0, known)
    own = [bank.learner(i).sigma for i in range(len(WIDTHS_S))]
    late = Learner(late_edges(10), 10, INTERVAL_S, 1.0, known)
    assert late.newest < bank.look_back
    seen, late_answers = [], []
    # The filters of the profile, before anything was learned.
    filters = [(learner.lags, learner.gains) for learner in map(bank.learner, range(len(WIDTHS_S)))]
    for y in np.rint(1000 * coloured(density, 20_000, 3)).astype(int).tolist():
        bank.push(y)
        if bank.count > 200:
            seen.append([bank.answer(lags, gains, 0) for lags, gains in filters])
            late_answers.append(bank.answer(late.lags, late.gains, 0))
    assert np.std(seen, axis=0) == pytest.approx(own, rel=0.1)
    assert np.std(late_answers) == pytest.approx(late.sigma, rel=0.1)


@pytest.mark.parametrize("density", [lambda hz: 0.1 + 0 * hz, sway], ids=["white", "sway"])
def test_what_is_learned_in_three_minutes_is_as_good_as_the_profile(density):
    """The learned filters lose at most 5 % of the signal-to-noise ratio, and their sigmas are right within 15 %.

    The reference is the matched filter for the known density, computed by another module (priors.py) from the density.
    """
    bands = len(band_edges_hz(INTERVAL_S)) - 1
    known = tuple(float(density(np.array(centre_hz(band)))) for band in range(bands))
    best = FilterBank(WIDTHS_S, INTERVAL_S, 1.0, known)
    bank = FilterBank(WIDTHS_S, INTERVAL_S, 1.0)
    before = [(bank.learner(i).lags, bank.learner(i).gains) for i in range(len(WIDTHS_S))]
    answers = []
    for k, y in enumerate(np.rint(1000 * coloured(density, 15_000, 8)).astype(int).tolist()):
        bank.push(y)
        if k == 9000:
            filters = [(bank.learner(i).lags, bank.learner(i).gains) for i in range(len(WIDTHS_S))]
            sigmas = [bank.learner(i).sigma for i in range(len(WIDTHS_S))]
        if k > 9000:
            answers.append([bank.answer(lags, gains, 0) for lags, gains in filters])
    assert filters != before
    real = np.std(answers, axis=0)
    assert sigmas == pytest.approx(real, rel=0.15)
    for i, sigma in enumerate(real):
        assert sigma < 1.05 * 1.1 * best.learner(i).sigma  # 10 % for the sample of two minutes


@pytest.mark.parametrize("noise", [(), (0.1,), (5.0, 1.0, 0.1)], ids=["unknown", "white", "steep"])
@pytest.mark.parametrize("late", [False, True])
@pytest.mark.parametrize("f", [2.0, 6.5, 25.0, 100.0])
def test_a_filter_returns_the_height_of_a_pass_and_ignores_level_and_slope(f, late, noise):
    edges = late_edges(f) if late else early_edges(f, INTERVAL_S)
    learner = Learner(edges, f, INTERVAL_S, 1.0, noise)
    k = np.arange(learner.lags[0])  # readings ago
    t = (learner.newest - k - 0.5) * 1.02 / f
    weights = np.zeros(learner.lags[0])
    for lag, gain in zip(learner.lags, learner.gains, strict=True):
        weights[:lag] += gain
    assert weights @ (1 + t**2) ** -3 == pytest.approx(1.0, rel=1e-9)
    assert abs(weights.sum()) < 1e-9 * np.abs(weights).sum()
    assert abs(weights @ k) < 1e-9 * (np.abs(weights) @ k)


@given(st.integers(0, 10_000), st.integers(1, 7))
@settings(max_examples=25, deadline=None)
def test_cholesky_and_its_solutions_are_those_of_scipy(seed, m):
    rng = np.random.default_rng(seed)
    root = rng.normal(size=(m, m + 3))
    matrix = root @ root.T
    x = rng.normal(size=m)
    lower = cholesky([list(row[: i + 1]) for i, row in enumerate(matrix.tolist())])
    for i, row in enumerate(scipy.linalg.cholesky(matrix, lower=True)):
        assert lower[i] == pytest.approx(row[: i + 1], rel=1e-6, abs=1e-9)
    v = [0.0] * m
    assert forward(lower, x.tolist(), v) == pytest.approx(x @ np.linalg.solve(matrix, x), rel=1e-6)
    backward(lower, v)
    assert v == pytest.approx(np.linalg.solve(matrix, x), rel=1e-6, abs=1e-9)
    assert cholesky([[1.0], [2.0, 1.0]]) is None
