"""What the filters answer to a pass beside its peak raises no alert of its own, and broad dips are told apart."""

import numpy as np
import pytest
from coilcount.tracker.alert import BROAD, PendingAlert
from coilcount.tracker.bank import FilterBank
from coilcount.tracker.filters import SHAPE
from coilcount.tracker.pass_answers import SHAPE_SHARE, PassAnswers, integral, shape_of
from coilcount.tracker.tracker import Tracker
from scipy.integrate import quad
from tracker_series import INTERVAL_S, bump_ppb, finals, noise_ppb, read

WIDTHS_S = (0.13, 0.2, 0.32, 0.5)


def shape(x):
    return (1 + x * x) ** -3


@pytest.mark.parametrize("x", [0.0, 0.1, 0.7, 1.0, 2.5, 8.0, 30.0])
def test_the_integral_of_a_pass_is_that_of_quadrature(x):
    assert integral(x) == pytest.approx(quad(shape, 0, x)[0], abs=1e-10)


def learned_bank():
    """A bank that has heard half a minute of noise."""
    bank = FilterBank(WIDTHS_S, INTERVAL_S, 50.0)
    for value in noise_ppb(1500, 8).tolist():
        bank.push(value)
    return bank


@pytest.mark.parametrize("width", range(4))
@pytest.mark.parametrize("pass_width", [7.0, 15.0, 24.0])
def test_the_lobes_of_a_pass_are_those_of_quadrature(width, pass_width):
    """Every reading is the mean of the pass over its interval, so a filter's answer is a sum of integrals."""
    bank = learned_bank()
    answers = PassAnswers(bank)
    learner = bank.learner(width)
    for back in (-10, 0, 7, 25, 60, 110):
        answers.start()
        answers.add(learner, back, 1000.0, pass_width)
        want = 0.0
        for lag, gain in zip(learner.lags, learner.gains, strict=True):
            scale = SHAPE / pass_width
            want += gain * 1000.0 / scale * quad(shape, (back - lag) * scale, back * scale, limit=200)[0]
        # The table of the integral has sixteen steps for each w.  Its errors add up to less than 0.8 % of the height.
        assert answers.middle == pytest.approx(want, abs=8.0)
        assert answers.margin >= SHAPE_SHARE * abs(answers.middle) - 1e-9


def test_a_filter_answers_a_pass_of_its_own_width_with_its_height():
    bank = learned_bank()
    answers = PassAnswers(bank)
    for width, seconds in enumerate(WIDTHS_S):
        learner = bank.learner(width)
        answers.start()
        answers.add(learner, learner.newest, 1000.0, seconds / INTERVAL_S)
        assert answers.middle == pytest.approx(1000.0, rel=0.03)


@pytest.mark.parametrize(("width_s", "height_ppb"), [(0.15, 30_000), (0.3, -20_000), (0.5, 8000)])
def test_the_readings_show_height_width_and_middle_of_a_pass(width_s, height_ppb):
    bank = FilterBank(WIDTHS_S, INTERVAL_S, 50.0)
    for value in (noise_ppb(600, 2) + bump_ppb(600, 11.0, height_ppb, width_s)).tolist():
        bank.push(value)
    back, height, width = shape_of(bank, 53, 0.2 / INTERVAL_S, 0.0, float(height_ppb))
    assert back == pytest.approx(50, abs=1.5)
    assert height == pytest.approx(height_ppb, rel=0.15)
    assert width * INTERVAL_S == pytest.approx(SHAPE * width_s, abs=0.05)


def alerts_of(y, **settings):
    tracker = Tracker(INTERVAL_S, **settings)
    return finals([*read(tracker, y)[0], *tracker.finish()]), tracker


@pytest.mark.parametrize("height_ppb", [60_000, -60_000])
@pytest.mark.parametrize("width_s", [0.13, 0.25, 0.45])
def test_a_strong_lone_pass_is_one_alert(height_ppb, width_s):
    y = noise_ppb(2000, 3) + bump_ppb(2000, 30.0, height_ppb, width_s)
    alerts, _ = alerts_of(y, threshold=5.0)
    near = [a for a in alerts if abs(a.peak_us - 30e6) < 5e6]
    assert [a.sign for a in near] == [1 if height_ppb > 0 else -1]


@pytest.mark.parametrize("apart_s", [1.2, 2.0, 3.0])
def test_a_weaker_neighbour_of_a_strong_pass_keeps_its_alert(apart_s):
    y = noise_ppb(2000, 3) + bump_ppb(2000, 30.0, 12_000, 0.2) + bump_ppb(2000, 30.0 + apart_s, -6000, 0.2)
    alerts, _ = alerts_of(y, threshold=5.0)
    near = [(a.sign, a.peak_us / 1e6) for a in alerts if abs(a.peak_us - 30e6) < 5e6]
    assert [sign for sign, _ in near] == [1, -1]
    assert [at for _, at in near] == pytest.approx([30.0, 30.0 + apart_s], abs=0.1)


def wave(n, peak_s, height_ppb, length_s):
    """One slow dip: the coil is lifted and lowered over magnetic soil."""
    t = np.arange(n) * INTERVAL_S - peak_s
    return np.rint(height_ppb * np.where(np.abs(t) < length_s / 2, np.cos(np.pi * t / length_s) ** 2, 0.0)).astype(int)


def test_a_slow_lift_is_no_object_and_is_counted():
    y = noise_ppb(3000, 6)
    for peak_s in (20.0, 30.0, 40.0):
        y = y + wave(3000, peak_s, -3000, 3.0)
    alerts, tracker = alerts_of(y, threshold=5.0)
    dips = [a for a in alerts if a.sign < 0]
    assert all(a.response == "uncertain" and BROAD in a.reasons and a.confidence is None for a in dips)
    assert tracker.broad_dips >= 3


@pytest.mark.parametrize("broad", [False, True])
def test_a_broad_dip_has_no_rarity(broad):
    alert = PendingAlert(0, [])
    alert.raise_(1, 0, ((14.0, 1.3), (14.0, 1.3)))
    alert.sign, alert.score, alert.peak, alert.broad = -1, 5.0, -800.0, broad
    alert.peak_us, alert.width = 130_000_000, 1
    event = alert.event("final", WIDTHS_S)
    assert (BROAD in event.reasons) == broad
    assert (event.rarity_min is None) == broad


@pytest.mark.parametrize("width_s", [0.13, 0.2, 0.32, 0.5])
def test_dips_of_passes_are_not_broad(width_s):
    y = noise_ppb(3000, 6)
    for peak_s in (20.0, 30.0, 40.0):
        y = y + bump_ppb(3000, peak_s, -5000, width_s)
    alerts, tracker = alerts_of(y, threshold=6.0)
    found = [a for a in alerts if a.sign < 0]
    assert len(found) == 3 and not any(BROAD in a.reasons for a in found)
    assert tracker.broad_dips == 0


def test_a_rise_of_the_same_breadth_is_an_alert():
    y = noise_ppb(3000, 6) + wave(3000, 30.0, 20_000, 3.0)
    alerts, _ = alerts_of(y, threshold=5.0)
    assert not any(BROAD in a.reasons for a in alerts if a.sign > 0)
