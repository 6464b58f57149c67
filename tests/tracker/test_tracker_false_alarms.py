"""Thresholds from an allowed rate of false alarms: the running counts of the peaks of noise, and rarity."""

import math

import numpy as np
import pytest
from coilcount.tracker import defaults, plain_math
from coilcount.tracker.noise_counts import (
    BAND_ENDS,
    CAUTION,
    CAUTIOUS_MIN,
    LOWEST,
    RAREST_MIN,
    X_LOWEST,
    X_STEP,
    NoiseCounts,
    rarity_min,
    usual_thresholds,
)
from coilcount.tracker.records import Alert
from coilcount.tracker.tracker import GridTracker, Tracker
from tracker_series import EXACT_HZ, INTERVAL_S, INTERVAL_US, bump_ppb, noise_ppb

N = 9000  # three minutes


@pytest.mark.parametrize("x", [1e-9, 0.01, 0.3, 0.75, 1.0, 1.5, 2.0, 50.0, 1e6])
def test_own_functions_are_those_of_the_math_library(x):
    assert plain_math.ln(x) == pytest.approx(math.log(x), rel=1e-11, abs=1e-12)
    assert plain_math.atan(x) == pytest.approx(math.atan(x), rel=1e-11)
    for argument in (-min(x, 70), min(x, 70)):
        assert plain_math.exp(argument) == pytest.approx(math.exp(argument), rel=1e-11)


def test_the_bands_are_equally_wide_in_the_power_of_the_model():
    ends = np.array([LOWEST, *BAND_ENDS]) ** 1.25
    assert ends[0] == pytest.approx(X_LOWEST, rel=1e-4)
    assert np.diff(ends) == pytest.approx(X_STEP, rel=2e-3)


def peaks(minutes, rate, slope, seed):
    """Peaks of a Poisson process: their scores, in the order of time.  `rate` a minute are LOWEST and higher."""
    rng = np.random.default_rng(seed)
    count = rng.poisson(rate * minutes)
    scores = (X_LOWEST + rng.exponential(1 / slope, count)) ** 0.8
    return np.sort(rng.uniform(0, minutes * 60, count)), scores


def counted(rises, dips, seconds, objects=()):
    counts = NoiseCounts()
    for second in range(seconds):
        for sign, (times, scores) in ((counts.rises, rises), (counts.dips, dips)):
            for score in scores[(times >= second) & (times < second + 1)]:
                sign.add(score)
        for at, score in objects:
            if second == at:
                counts.rises.add(score)
        counts.second()
    return counts


def exceeded(rate, slope, z):
    """Peaks of z and higher in a minute."""
    return rate * math.exp(-slope * (z**1.25 - X_LOWEST))


def test_thresholds_allow_what_was_asked_of_a_poisson_process_of_known_rate():
    """Twenty times twelve minutes.  The rate is the mean; each single one has the scatter of four minutes of counts."""
    for rate, slope in ((14.0, 1.3), (30.0, 1.0), (6.0, 1.6)):
        for wanted in (0.3, 1.0, 3.0):
            got = []
            for seed in range(20):
                counts = counted(peaks(12, rate, slope, seed), peaks(12, rate, slope, seed + 100), 720)
                rise, fall = counts.thresholds(wanted)
                got.append(exceeded(rate, slope, rise) + exceeded(rate, slope, fall))
            assert wanted / 1.8 < np.mean(got) < 1.8 * wanted, (rate, slope, wanted)


def test_objects_hardly_move_the_thresholds():
    """Ten objects a minute, evenly over the logarithm of their strength from 2.5 to 100 sigma."""
    rng = np.random.default_rng(1)
    noise = peaks(12, 14.0, 1.3, 5), peaks(12, 14.0, 1.3, 6)
    times, heights = rng.uniform(0, 720, 120), np.exp(rng.uniform(0.92, 4.6, 120))
    objects = [(int(at), float(z)) for at, z in zip(times, heights, strict=True)]
    without, beside = counted(*noise, 720), counted(*noise, 720, objects)
    assert beside.thresholds(1.0)[0] == pytest.approx(without.thresholds(1.0)[0], abs=0.35)
    assert beside.thresholds(1.0)[1] == without.thresholds(1.0)[1]


def test_rarity_is_the_rate_of_the_process_and_is_unknown_for_two_minutes():
    rate, slope = 14.0, 1.3
    rises, dips = peaks(20, rate, slope, 1), peaks(20, rate, slope, 2)
    assert counted(rises, dips, 119).model() is None
    model = counted(rises, dips, 120).model()
    assert model is not None
    assert rarity_min(None, 1, 5.0) is None
    models = [counted(peaks(8, rate, slope, seed), dips, 480).model() for seed in range(20)]
    for z in (3.0, 3.5, 4.0):
        true_min = 1 / (2 * exceeded(rate, slope, z))
        told_min = np.exp(np.mean([math.log(rarity_min(model, 1, z)) for model in models]))
        assert told_min == pytest.approx(true_min, rel=0.4)
    assert rarity_min(model, -1, 9.0) == RAREST_MIN


def test_the_threshold_of_a_rate_and_the_rarity_agree():
    counts = counted(peaks(12, 14.0, 1.3, 3), peaks(12, 14.0, 1.3, 4), 720)
    for wanted in (0.3, 1.0, 3.0):
        rise, fall = counts.thresholds(wanted)
        assert rarity_min(counts.model(), 1, rise) == pytest.approx(1 / wanted, rel=1e-6)
        assert rarity_min(counts.model(), -1, fall) == pytest.approx(1 / wanted, rel=1e-6)


def test_the_counts_go_on_from_their_state():
    rises, dips = peaks(8, 14.0, 1.3, 7), peaks(8, 20.0, 1.1, 8)
    counts = counted(rises, dips, 480)
    other = NoiseCounts()
    other.restore(counts.state())
    assert other.thresholds(1.0) == counts.thresholds(1.0) and other.model() == counts.model()
    for state in ([1.0] * 9, [1.0] * 9 + [-1.0], [float("nan")] * 10):
        with pytest.raises(ValueError, match="10 numbers"):
            other.restore(state)


def series(seed=1):
    y = noise_ppb(N, seed)
    for k in range(12):
        y = y + bump_ppb(N, 10.0 + 13.7 * k, (-1) ** k * 400.0 * 1.4**k, 0.2)
    return y


def events_of(tracker, y):
    out = []
    for k, value in enumerate(y.tolist()):
        out += tracker.reading(k * INTERVAL_US, EXACT_HZ + value)
    return out + list(tracker.finish())


def test_the_counts_do_not_depend_on_any_threshold():
    low, high = Tracker(INTERVAL_S, threshold=2.5), Tracker(INTERVAL_S, threshold=60.0)
    rate = Tracker(INTERVAL_S, false_alarms_per_minute=0.3)
    for tracker in (low, high, rate):
        events_of(tracker, series())
    states = [tracker.noise_counts.state() for tracker in (low, high, rate)]
    assert states[0] == states[1] == states[2]
    assert max(states[0]) > 1.0


def test_a_grid_of_thresholds_and_rates_gives_what_each_alone_gives():
    y = series(3)
    grid = GridTracker(INTERVAL_S, [3.0, 8.0], [0.1, 3.0], false_alarms_per_minute=0.5)
    own = events_of(grid, y)
    alone = [{"threshold": 3.0}, {"threshold": 8.0}, {"false_alarms_per_minute": 0.1}, {"false_alarms_per_minute": 3.0}]
    for position, settings in enumerate(alone):
        further = [event for number, event in grid.further if number == position]
        assert further == events_of(Tracker(INTERVAL_S, **settings), y)
        assert len(further) > 8
    assert own == events_of(Tracker(INTERVAL_S, false_alarms_per_minute=0.5), y)


def test_a_start_is_cautious_unless_counts_were_kept():
    counts = NoiseCounts()
    thresholds = []
    for _ in range(60):
        thresholds.append(counts.thresholds(1.0)[0] / counts.rises.threshold(1.0))
        counts.second()
    assert thresholds == sorted(thresholds, reverse=True)
    assert thresholds[0] == pytest.approx(1 + CAUTION)
    assert thresholds[round(1.2 * 60 * CAUTIOUS_MIN)] == 1.0
    kept = NoiseCounts()
    kept.restore(counts.state())
    assert kept.thresholds(1.0)[0] == kept.rises.threshold(1.0)


def test_fewer_false_alarms_mean_higher_thresholds():
    rates = (0.1, 0.3, 1.0, 3.0, 10.0)
    for sign in (0, 1):
        thresholds = [usual_thresholds(rate)[sign] for rate in rates]
        assert thresholds == sorted(thresholds, reverse=True) and len(set(thresholds)) >= 4


def test_a_rate_or_a_fixed_threshold_can_be_set_in_mid_series():
    tracker = Tracker(INTERVAL_S)
    usual = tracker.thresholds
    at_start = [(1 + CAUTION) * z for z in usual_thresholds(defaults.DEFAULTS["false_alarms_per_minute"])]
    assert usual == pytest.approx(at_start)
    tracker.set_threshold(6.0)
    assert tracker.thresholds == (6.0, 6.0)
    tracker.set_threshold(0.0)
    assert tracker.thresholds == usual
    tracker.set_threshold(6.0)
    tracker.set_false_alarms(0.1)
    assert tracker.thresholds == pytest.approx([(1 + CAUTION) * z for z in usual_thresholds(0.1)])
    for wrong in (0.0, 1000.0, True, "1"):
        with pytest.raises(ValueError, match=r"false_alarms_per_minute is a number from 0\.01 to 100"):
            tracker.set_false_alarms(wrong)
    with pytest.raises(ValueError, match="threshold is 0 or a number from 2"):
        tracker.set_threshold(1.0)


def test_thresholds_follow_the_counts_and_survive_a_gap():
    tracker = Tracker(INTERVAL_S)
    usual = tracker.thresholds
    events_of(tracker, noise_ppb(N, 4))
    learned = tracker.thresholds
    assert learned != usual and all(3.0 <= z <= 9.0 for z in learned)
    tracker.gap(N * INTERVAL_US)
    assert tracker.thresholds == learned


def test_alerts_carry_their_rarity_once_it_is_known():
    events = [e for e in events_of(Tracker(INTERVAL_S), series(5)) if isinstance(e, Alert) and e.stage == "final"]
    early = [e for e in events if e.raised_us < 120e6]
    late = [e for e in events if e.raised_us > 130e6]
    assert early and all(e.rarity_min is None for e in early)
    assert late and all(0 < e.rarity_min <= RAREST_MIN for e in late)
    assert max(late, key=lambda e: e.score).rarity_min == RAREST_MIN
