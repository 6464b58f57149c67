"""The parts of `compare`: pairing, common alarms, the depth of half, noise, and the verdict."""

from array import array

import numpy as np
import pytest
from coilcount.desk import paired
from coilcount.desk.compare_depth import half_depth
from coilcount.desk.compare_noise import mean_drift, noise_figures, reading_noise, scatter
from coilcount.desk.compare_pairs import common_alarms, numbered, paired_passes
from coilcount.desk.compare_verdict import share_difference, visit_differences
from coilcount.model import Alert, Label, PassScore, Series


def alert(number: int, peak_s: float, score: float = 9.0) -> Alert:
    return Alert(
        "final", number, peak_s, peak_s, peak_s, peak_s, False, 1, "non-ferrous", (), score, 5.0, 0.1, 0.9, 0.2
    )


def judged(name: str, closest_s: float, depth_cm: float | None, found: bool) -> PassScore:
    label = Label(closest_s - 0.2, closest_s + 0.2, closest_s, name, "", "non-ferrous", depth_cm)
    return PassScore(label, alert(1, closest_s) if found else None)


def side(*recordings, within=True):
    """Numbered passes.  recordings: lists of (name, time, depth, found)."""
    rows = [[judged(*one_pass) for one_pass in recording] for recording in recordings]
    return numbered([(place, f"{place}.ccap", row, row) for place, row in enumerate(rows)], within=within)


def test_passes_pair_by_object_depth_and_number_whatever_their_times():
    a = side([("coin", 8, 5, True), ("nail", 12, 3, True), ("coin", 10, 5.04, False), ("coin", 14, 9, True)])
    b = side([("nail", 30, 3, False), ("coin", 20, 5, True), ("coin", 22, 5, True), ("coin", 24, 5, True)])
    pairs, lone_a, lone_b = paired_passes(a, b, within=True)
    assert [(of_a.judged.label.closest_s, of_b.judged.label.closest_s) for of_a, of_b in pairs] == [
        (8, 20), (10, 22), (12, 30),
    ]  # fmt: skip
    assert [(one.object, one.number) for one in lone_a] == [(("coin", 9), 1)]
    assert [(one.object, one.number) for one in lone_b] == [(("coin", 5), 3)]


def test_with_other_numbers_of_recordings_passes_are_counted_over_all():
    a = side([("coin", 8, 5, True)], [("coin", 9, 5, True)], within=False)
    b = side([("coin", 4, 5, True), ("coin", 6, 5, False)], within=False)
    pairs, lone_a, lone_b = paired_passes(a, b, within=False)
    assert len(pairs) == 2 and not lone_a and not lone_b


def test_a_false_alarm_has_at_most_one_partner_the_nearest():
    a = [alert(1, 10.0), alert(2, 20.0)]
    b = [alert(5, 10.25), alert(6, 10.1), alert(7, 20.5)]
    assert common_alarms(a, b) == ({1}, {6})


def test_the_depth_of_half_of_simulated_passes():
    rng = np.random.default_rng(3)
    inside = 0
    for _ in range(40):
        depth = np.tile([3.0, 5.0, 7.0, 9.0, 11.0], 12)
        found = rng.random(len(depth)) < 1 / (1 + np.exp((depth - 7.5) / 1.2))
        interval = half_depth(list(zip(depth, found, strict=True))).interval
        inside += interval.low <= 7.5 <= interval.high
    assert inside >= 35  # 38 of 40 expected; 35 or fewer has a probability of 5 %


@pytest.mark.parametrize(
    ("passes", "why"),
    [
        ([(None, True)] * 20, "no depths"),
        ([(5.0, True), (6.0, False)] * 10, "too few"),
        ([(float(depth), True) for depth in range(20)], "nearly all passes were found"),
        ([(float(depth), False) for depth in range(20)], "nearly all passes were missed"),
        ([(d, True) for d in (1.0, 2.0, 3.0)] * 4 + [(4.0, True)] * 5 + [(4.0, False)] * 3, "outside"),
        ([(float(depth), depth > 9) for depth in range(20)], "does not fall clearly"),
        ([(float(depth), depth % 2 == 0) for depth in range(20)], "does not fall clearly"),
    ],
)
def test_where_the_depth_of_half_cannot_be_said(passes, why):
    result = half_depth(passes)
    assert result.interval is None and why in result.unknown


def test_depths_that_separate_found_from_missed_give_a_depth_between_them():
    interval = half_depth([(float(depth), depth < 10) for depth in range(20)]).interval
    assert 9 <= interval.value <= 10 and interval.low < 9.5 < interval.high


def readings(seconds: float, noise_ppm: float, ppm_per_minute: float, seed: int) -> Series:
    rng = np.random.default_rng(seed)
    time_s = np.arange(0.0, seconds, 0.02)
    ppm = noise_ppm * rng.standard_normal(len(time_s)) + ppm_per_minute * time_s / 60
    empty = array("d", [0.0]) * len(time_s)
    return Series(array("d", time_s), array("d", 25000 * (1 + 1e-6 * ppm)), empty, empty, empty)


def test_noise_and_drift_of_known_readings():
    """White noise of 2 ppm: 2 ppm in a reading, 2 / sqrt(16) over 0.32 s; drift of 3 ppm a minute."""
    figures = [noise_figures(readings(400.0, 2.0, 3.0, seed), ()) for seed in range(4)]
    noise, (spread, tau_s), drift = reading_noise(figures), scatter(figures), mean_drift(figures)
    assert noise.low < 2.0 < noise.high and noise.value == pytest.approx(2.0, rel=0.03)
    assert tau_s == pytest.approx(0.32) and spread.value == pytest.approx(0.5, rel=0.1)
    assert spread.low < 0.5 < spread.high
    assert drift.low < 3.0 < drift.high and drift.high - drift.low < 1.0


def test_a_labelled_pass_does_not_count_as_noise():
    series = readings(100.0, 2.0, 0.0, 1)
    for i in range(2500, 2520):
        series.frequency_hz[i] += 5.0
    label = Label(50.0, 50.4, 50.2, "coin", "", "non-ferrous", 5.0)
    with_label, without = noise_figures(series, [label]), noise_figures(series, ())
    assert scatter([with_label])[0].value == pytest.approx(0.5, rel=0.15)
    assert scatter([without])[0].value > 1.0


def test_a_gap_and_too_few_readings():
    series = readings(60.0, 2.0, 0.0, 2)
    for i in range(1500, len(series.time_s)):
        series.time_s[i] += 20.0
    assert reading_noise([noise_figures(series, ())]).value == pytest.approx(2.0, rel=0.05)
    assert noise_figures(readings(0.2, 1.0, 0.0, 1), ()) is None
    assert (reading_noise([]), scatter([]), mean_drift([])) == (None, None, None)


def test_passes_of_one_visit_stand_or_fall_together():
    """Three passes over each of two coins, all found by B alone: two visits, so no more than p = 1/2."""
    recording = [(name, 8 + 2 * i, 5, False) for i, name in enumerate(("coin", "disc") * 3)]
    a, b = side(recording), side([(*one_pass[:3], True) for one_pass in recording])
    pairs, _, _ = paired_passes(a, b, within=True)
    assert visit_differences(pairs) == [(3, 3), (3, 3)]
    assert paired.mcnemar(0, 6) < 0.05
    assert paired.sign_flip([difference for difference, _ in visit_differences(pairs)]) == 0.5
    assert share_difference(pairs).value == 1.0


def test_the_interval_of_visits_with_one_pass_each_is_that_of_pairs():
    visits = [(1, 1)] * 15 + [(-1, 1)] * 8 + [(0, 1)] * 140
    _, low, high = paired.difference_of_visits(visits)
    assert (low, high) == pytest.approx(paired.difference_of_shares(8, 15, 163)[1:], abs=0.01)
