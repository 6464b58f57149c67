"""The threshold for a wanted false-alarm rate, on exponential tails with a known answer and on simulated soil."""

import numpy as np
import pytest
from coilcount.desk import exceedance, quiet
from coilcount.desk.exceedance import Peak, fit, poisson_interval, strange
from coilcount.model import Header
from coilcount.settings import defaults
from coilcount.simulate.lines import entries
from coilcount.simulate.scene import Ground, Scene, Sweep, Weather
from scipy import stats


def exponential(rng, per_minute, minutes, scale=0.5, power=1):
    """Peaks beyond 2.5, Poisson in number, z ** power exponential."""
    count = rng.poisson(per_minute * minutes)
    return (2.5**power + rng.exponential(scale, count)) ** (1 / power)


@pytest.mark.parametrize(("power", "scale"), [(1, 0.5), (2, 4.0)])
def test_the_level_of_a_known_tail(power, scale):
    """Of 20 peaks a minute over 500 minutes, 0.1 a minute exceed the level (2.5^p + scale ln 200)^(1/p)."""
    tail = fit(exponential(np.random.default_rng(1), 20, 500, scale, power), 500)
    assert tail.power == power
    want = (2.5**power + scale * np.log(200)) ** (1 / power)
    assert tail.threshold(0.1) == pytest.approx(want, rel=0.03)
    assert tail.rate(tail.threshold(0.1)) == pytest.approx(0.1)
    assert tail.rate(2.5) == pytest.approx(20, rel=0.05)
    assert tail.threshold(15) == pytest.approx(2.5**1 + np.log(20 / 15) * 0.5 if power == 1 else 2.72, abs=0.05)


def test_the_interval_holds_the_true_rate():
    """The interval holds the true rate of 0.3 a minute in 95 % of 300 recordings of 5 minutes.

    The share may differ from 95 % by 2.5 of its standard errors.
    """
    rng = np.random.default_rng(2)
    level = 2.5 + 0.5 * np.log(15 / 0.3)
    held = 0
    for _ in range(300):
        tail = fit(exponential(rng, 15, 5), 5)
        low, high = tail.interval(level)
        held += low <= 0.3 <= high
    assert held / 300 == pytest.approx(0.95, abs=0.035)


def test_the_lowest_known_rate_agrees_with_the_interval():
    tail = fit(exponential(np.random.default_rng(3), 15, 10), 10)
    low, high = tail.interval(tail.threshold(tail.promised))
    assert np.sqrt(high / low) == pytest.approx(3, rel=0.1)
    assert tail.minutes_for(tail.promised) == pytest.approx(10, rel=1e-6)
    assert tail.minutes_for(0.01) > 20
    assert fit(exponential(np.random.default_rng(3), 15, 10)[:11], 10) is None
    with pytest.raises(ValueError, match="peaks"):
        tail.threshold(100)


@pytest.mark.parametrize("count", [0, 1, 7, 40])
def test_poisson_interval(count):
    """The interval of F. Garwood (1936), by the chi-squared quantiles of scipy.stats."""
    low = stats.chi2.ppf(0.025, 2 * count) / 2 / 3 if count else 0.0
    high = stats.chi2.ppf(0.975, 2 * count + 2) / 2 / 3
    assert poisson_interval(count, 3.0) == pytest.approx((low, high))


def test_single_high_peaks_are_reported_and_noise_is_not():
    rng = np.random.default_rng(5)
    refused = 0
    for _ in range(50):
        noise = [Peak(float(t), float(z), 0.1) for t, z in enumerate(exponential(rng, 15, 5))]
        refused += bool(strange(noise, 5))
        found = strange([*noise[:20], Peak(20.5, -9.5, -0.4), *noise[20:], Peak(400.0, 30.0, 2.0)], 5)
        assert [peak.time_s for peak in found][-1] == 400.0
        assert 20.5 in [peak.time_s for peak in found]
        assert len(found) <= 4
    assert refused == 0
    # A recording that is full of objects has no bulk of noise, but no noise goes so far so often.
    sizes = exceedance.GIANT * np.array([2.2, 2.0, 1.7, 1.4, 1.2, 1.0, 0.9, 0.7, 0.6, 0.5, 0.4, 0.3, 0.25, 0.2])
    full = [Peak(float(t), float(z), 0.1) for t, z in enumerate(sizes)]
    assert len(strange(full, 1)) == 10
    assert strange(full, 30) == []
    assert len(strange(full[:8], 1)) == 6
    assert strange([], 0) == []


def clean(seed, minutes):
    scene = Scene(
        schema=1, duration_s=60 * minutes, sweep=Sweep(speed_m_s=0.5, height_cm=3),
        ground=Ground(chi=2e-4, variation=0.2, patch_m=0.8, wobble_cm=0.6),
        weather=Weather(start_c=15, warm_up_k=1.5, warm_up_s=90, swing_k=0.1),
    )  # fmt: skip
    recording = [Header("simulate", scene.start_utc, simulated=True), *entries(scene, seed)]
    return lambda: recording


def test_the_threshold_keeps_its_rate_on_other_recordings():
    """A threshold from 3 minutes keeps its rate on 5 other minutes of the same simulated soil.

    The Poisson interval of that rate overlaps 1/3 to 3 a minute.
    tests/bench/false_alarms.py does the same for all test conditions.
    """
    found = quiet.examine(clean(1, 3), defaults(), "simulated").statistic
    assert not found.strange
    # The scales are known, so only the warm-up of the filters is missing.
    assert found.minutes == pytest.approx(3 - (2.26 + 0.02) / 60, abs=0.002)
    z = found.tail.threshold(1.0)
    count = quiet.alerts_at(clean(2, 5), defaults(), z, found.learned)
    low, high = exceedance.poisson_interval(count, 5)
    assert low <= 3.0
    assert high >= 1 / 3
    # A level far below it does not keep it: the test can tell.
    assert quiet.alerts_at(clean(2, 5), defaults(), 2.6, found.learned) > 30
