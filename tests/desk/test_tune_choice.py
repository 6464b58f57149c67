"""The choice of a threshold and its check on recordings left out, on planted false alarms with a known answer."""

from dataclasses import replace
from math import exp

import numpy as np
import pytest
from coilcount.desk.tune import tune
from coilcount.desk.tune_choice import choose, cross_check, curve, kinds, lowest_kept, outcome
from coilcount.settings import defaults
from planted_scores import THRESHOLDS, alert, planted


def with_candidate(first, second):
    """One recording with two candidates, from two planted ones."""
    return replace(first, scores=first.scores + second.scores)


def test_the_lowest_threshold_that_keeps_the_rate():
    """20 minutes: 20, 10 and 4 false alarms reach 4, 4.8 and 6 sigma."""
    noise = [4.1] * 5 + [5.0] * 3 + [7.0] * 2
    judged = [planted(name, noise, (9.0, 4.5)) for name in "ab"]
    assert [row.outcome.false_alarms for row in curve(judged, 0)] == [20, 20, 10, 4, 0]
    assert [THRESHOLDS[lowest_kept(judged, 0, rate)] for rate in (1.0, 0.5, 0.49, 0.1)] == [3.0, 4.8, 6.0, 8.0]
    made = curve(judged, 0)[2].outcome
    assert (made.rate.value, made.found, made.passes, made.share.value) == (0.5, 2, 4, 0.5)
    # Garwood's interval of 10: 4.80 to 18.39.  Wilson's of 2 in 4: 0.15 to 0.85.
    assert (made.rate.low, made.rate.high) == pytest.approx((0.24, 0.92), abs=0.001)
    assert (made.share.low, made.share.high) == pytest.approx((0.150, 0.850), abs=0.001)


def test_a_rate_that_comes_back_at_a_higher_threshold_is_not_kept_below_it():
    """An alert may begin to count only at a higher threshold, because a longer one had swallowed it."""
    one = planted("a", [5.0])
    scores = list(one.scores[0])
    scores[3] = replace(scores[3], false_alarms=(alert(7.0),) * 30)
    assert lowest_kept([replace(one, scores=(tuple(scores),))], 0, 1.0) == 4


def test_rates_out_of_reach():
    assert choose([planted("a", [20.0] * 11)], 1.0) is None
    assert choose([planted("a", [20.0] * 10)], 1.0).index == 0
    assert choose([planted("a", minutes=0.0)], 1.0) is None
    assert choose([], 1.0) is None


def test_the_candidate_that_finds_most_wins_and_the_settings_in_force_win_a_tie():
    first, better = planted("a", [4.5] * 20, [4.4, 9.0]), planted("a", [3.5] * 20, [4.4, 9.0])
    assert choose([with_candidate(first, better)], 1.0).candidate == 1
    assert choose([with_candidate(first, first)], 1.0).candidate == 0


def test_a_recording_does_not_choose_its_own_threshold():
    """Whatever the left-out recording holds, its threshold is the one that the others choose."""
    rng = np.random.default_rng(1)
    others = [planted(name, 2.5 + rng.exponential(1.0, 40), 3 + rng.exponential(3, 10)) for name in "bcd"]
    expected = THRESHOLDS[choose(others, 1.0).index]
    seen = set()
    for heights, objects in (([], []), ([3.5] * 500, [9.0] * 50), ([20.0] * 500, [2.9] * 50)):
        check = cross_check([planted("a", heights, objects), *others], 1.0)
        assert check.groups[0].threshold == expected
        seen.add(check.groups[1].threshold)
    assert len(seen) > 1  # but it does influence the thresholds of the others


def test_all_recordings_of_a_site_are_left_out_together():
    """The two of the meadow alike: if only one were left out, the other would choose its threshold."""
    meadow = [planted(name, [7.5] * 30, [9.0], group="meadow") for name in "ab"]
    slope = [planted(name, [3.5] * 30, [9.0, 5.0], group="slope") for name in "cd"]
    check = cross_check(meadow + slope, 1.0)
    assert [(group.group, group.recordings, group.threshold) for group in check.groups] == [
        ("meadow", 2, 4.0), ("slope", 2, 8.0)
    ]  # fmt: skip
    assert (check.outcome.false_alarms, check.outcome.minutes, check.outcome.found) == (60, 40.0, 4)
    assert check.even < 0.001
    assert cross_check(meadow, 1.0) is None


def test_evenly_spread_false_alarms_are_chance():
    rng = np.random.default_rng(2)
    check = cross_check([planted(str(i), [7.0] * rng.poisson(6)) for i in range(8)], 1.0)
    assert check.even > 0.05
    assert cross_check([planted("a"), planted("b")], 1.0).even is None


def test_a_group_without_which_no_threshold_keeps_the_rate_is_not_judged():
    check = cross_check([planted("quiet", [3.5] * 5), planted("loud", [50.0] * 500)], 1.0)
    assert [group.threshold for group in check.groups] == [None, 3.0]
    assert check.outcome.false_alarms == 500


@pytest.mark.parametrize("wanted", [1.0, 0.3])
def test_the_rate_is_reached_on_recordings_that_were_not_used(wanted):
    """Peaks come 20 exp(-2 (z - 2.5)) times a minute, so the true rate of each chosen threshold is known."""
    thresholds = tuple(np.round(np.geomspace(2.5, 16, 40), 2))
    inside = 0
    for seed in range(20):
        rng = np.random.default_rng(seed)
        judged = [
            planted(str(i), 2.5 + rng.exponential(0.5, rng.poisson(120)), minutes=6.0, thresholds=thresholds)
            for i in range(10)
        ]
        z = thresholds[choose(judged, wanted).index]
        inside += wanted / 3 <= 20 * exp(-2 * (z - 2.5)) <= 3 * wanted
    assert inside == 20


def test_kinds_by_object_and_depth():
    rows = kinds([planted("a", objects=(9.0, 3.5)), planted("b", objects=(5.0,))], choose([planted("a")], 1.0))
    assert [(row.from_cm, row.to_cm, row.passes, row.found) for row in rows] == [(0.0, 5.0, 2, 2), (5.0, 10.0, 1, 1)]
    assert rows[0].found_at == (2, 2, 2, 1, 1) and rows[1].found_at == (1, 0, 0, 0, 0)


def test_a_report_without_passes_and_minutes_divides_by_nothing():
    report = tune([planted("a", minutes=0.0)], [], [defaults()], 1.0, "recording")
    assert (report.best, report.chosen, report.cross, report.kinds) == (None, None, None, ())
    assert report.in_force.outcome.rate is None and report.in_force.outcome.share is None
    assert outcome([]).passes == 0
