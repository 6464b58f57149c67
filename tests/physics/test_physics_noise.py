"""Power-law noise against the Allan deviations of the standards, and against its exact spectrum."""

import numpy as np
import pytest
from coilcount.physics import noise

DT = 0.01


def allan(y, m):
    """Overlapping Allan deviation of fractional frequency samples at m samples (NIST SP 1065, eq. 11)."""
    x = np.concatenate([[0.0], np.cumsum(y)])
    d = x[2 * m :] - 2 * x[m:-m] + x[: -2 * m]
    return np.sqrt(np.mean(d**2) / 2) / m


@pytest.mark.parametrize(
    ("h", "law"),
    [
        ({"h0": 2e-14}, lambda tau: np.sqrt(2e-14 / (2 * tau))),
        ({"h_minus1": 7e-13}, lambda tau: np.sqrt(2 * np.log(2) * 7e-13) * tau**0),
        ({"h_minus2": 1e-14}, lambda tau: np.sqrt(2 * np.pi**2 / 3 * 1e-14 * tau)),
    ],
    ids=["white", "flicker", "random-walk"],
)
def test_allan_deviation(h, law):
    """sqrt(h0/2 tau), sqrt(2 ln2 h-1), sqrt(2 pi^2 h-2 tau/3): NIST SP 1065 / IEEE 1139, quoted from memory.

    2^18 samples in averages of 16 to 256 make at least 1000 independent averages.  So the standard error of each
    deviation is below 3 %.  Four standard errors are allowed for each, and 3 % for the mean of the five.
    """
    y = noise.PowerLawNoise(np.random.default_rng(7), DT, **h).block(2**18)
    m = np.array([16, 32, 64, 128, 256])
    ratio = np.array([allan(y, k) for k in m]) / law(m * DT)
    assert np.all(np.abs(ratio - 1) < 0.12)
    assert abs(ratio.mean() - 1) < 0.03


def test_the_exact_flicker_spectrum_is_within_one_per_cent():
    """The discrete spectrum of the relaxation processes is within 1 % of h-1/f up to 1/20 of the sampling rate."""
    rates = noise.flicker_rates(DT, 1e5)
    keep = np.exp(-rates * DT)
    f = np.geomspace(1e-4, 0.05 / DT, 400)
    variance = np.log(noise.POLE_RATIO) * (1 - keep**2)
    spectrum = 2 * DT * np.sum(variance / np.abs(1 - keep * np.exp(-2j * np.pi * f[:, None] * DT)) ** 2, axis=1)
    assert spectrum * f == pytest.approx(np.ones(400), rel=0.01)


def test_the_stream_does_not_depend_on_the_size_of_its_blocks():
    one = noise.PowerLawNoise(np.random.default_rng(3), DT, 1e-14, 1e-13, 1e-14)
    two = noise.PowerLawNoise(np.random.default_rng(3), DT, 1e-14, 1e-13, 1e-14)
    whole = one.block(1000)
    parts = np.concatenate([two.block(n) for n in (1, 2, 300, 7, 690)])
    assert parts == pytest.approx(whole, rel=1e-9, abs=1e-18)
    assert whole.std() > 1e-7


def test_flicker_is_stationary_from_the_first_sample():
    """No start-up transient: over 4000 streams the first and the last samples have the same spread, within 4 sigma."""
    rng = np.random.default_rng(5)
    ends = np.array([noise.PowerLawNoise(rng, DT, h_minus1=1e-12).block(64)[[0, -1]] for _ in range(4000)])
    assert ends[:, 0].std() / ends[:, 1].std() == pytest.approx(1, abs=4 * np.sqrt(1 / 4000))


def test_the_noise_classes_have_their_deviation_at_one_second():
    """Engineering estimates: sigma_y(1 s) is 1e-7, 1e-6 and 6e-6 by the formulas, within 35 %."""
    for name, want in (("careful", 1e-7), ("typical", 1e-6), ("poor", 6e-6)):
        of = noise.NOISE_CLASSES[name]
        variance = of.h0 / 2 + 2 * np.log(2) * of.h_minus1 + 2 * np.pi**2 / 3 * of.h_minus2
        assert np.sqrt(variance) == pytest.approx(want, rel=0.35)


def test_impossible_noise_is_refused():
    rng = np.random.default_rng(0)
    with pytest.raises(ValueError, match="negative"):
        noise.PowerLawNoise(rng, DT, h0=-1)
    with pytest.raises(ValueError, match="dt_s"):
        noise.PowerLawNoise(rng, 0)
