"""The noise profile of a clean sweep, and the tracker with it, both tested with noise of a known density."""

import numpy as np
import pytest
from coilcount.desk.spectrum import band_edges_hz, centre_hz, noise_ppm_rthz
from coilcount.tracker.bank import FilterBank
from coilcount.tracker.filters import taps
from coilcount.tracker.judge import Judge
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
    judge = Judge(bank, INTERVAL_S, known)
    seen, heights, late = [], [], []
    for y in np.rint(1000 * coloured(density, 20_000, 3)).astype(int).tolist():
        bank.push(y)
        if bank.ready and bank.count > 200:
            sigmas = zip(bank.zs, bank.used, bank._learned, strict=True)
            seen.append([z * scale / sigma for z, scale, sigma in sigmas])
            heights.append([bank.height(i) for i in range(len(WIDTHS_S))])
            lags, gains, newest, sigma = judge._filters[1]
            late.append(bank.answer(lags, gains[0], 0) / sigma)
            assert newest < bank.look_back
    assert np.std(seen, axis=0) == pytest.approx(1.0, rel=0.1)
    assert np.std(heights, axis=0) == pytest.approx(judge.height_sigma, rel=0.1)
    assert np.std(late) == pytest.approx(1.0, rel=0.1)


@pytest.mark.parametrize("noise", [(), (0.1,), (5.0, 1.0, 0.1)], ids=["unknown", "white", "steep"])
@pytest.mark.parametrize("late", [False, True])
@pytest.mark.parametrize("f", [1.0, 6.5, 25.0, 100.0])
def test_a_filter_returns_the_height_of_a_pass_and_ignores_level_and_slope(f, late, noise):
    lags, each, newest, _ = taps(f, INTERVAL_S, noise, late)
    k = np.arange(lags[0])  # readings ago
    t = (newest - k - 0.5) * 1.02 / max(f, 2.0)
    for gains in each:
        weights = np.zeros(lags[0])
        for lag, gain in zip(lags, gains, strict=True):
            weights[:lag] += gain
        assert weights @ (1 + t**2) ** -3 == pytest.approx(1.0, rel=1e-9)
        assert abs(weights.sum()) < 1e-9 * np.abs(weights).sum()
        assert abs(weights @ k) < 1e-9 * (np.abs(weights) @ k)
