"""The baseline that stands: held by itself over a target, or frozen by the operator."""

import numpy as np
import pytest
from coilcount.tracker.records import Hold
from coilcount.tracker.tracker import Tracker
from tracker_series import INTERVAL_S, INTERVAL_US, bump_ppb, finals, noise_ppb, read, run

N = 600  # twelve seconds


def test_a_movement_over_a_held_target_is_no_other_object():
    y = noise_ppb(N, 3, 100.0)
    y[350:650] += 20_000
    y = y + bump_ppb(N, 10.0, -8000, 0.3)
    dip = [a for a in finals(run(y)[0]) if abs(a.peak_us - 10_000_000) < 200_000]
    assert [(a.sign, a.response, a.reasons) for a in dip] == [(-1, "uncertain", ("moving over a held target",))]
    y = y + bump_ppb(N, 10.0, -22_000, 0.3)  # deeper than the held level: another object
    other = [a for a in finals(run(y)[0]) if abs(a.peak_us - 10_000_000) < 200_000]
    assert [(a.sign, a.response) for a in other] == [(-1, "ferrous")]


def test_the_baseline_stands_while_a_hold_is_on():
    y = noise_ppb(N, 3, 100.0)
    y[350:500] += 20_000
    states = run(y)[1]
    assert all(s.held for s in states[410:495]) and not states[530].held
    assert abs(states[495].baseline_ppb) < 1000
    assert not any(s.held for s in run(y, hold=False)[1])


def test_leaving_a_target_that_is_no_longer_held_starts_no_hold():
    t = np.arange(900) * INTERVAL_S
    y = noise_ppb(900, 3, 100.0)
    rest = np.interp(t, [7, 7.2, 12, 12.2], [0, -20_000, -20_000, 0]).astype(np.int64)
    events, states = run(y + rest, hold_limit_s=2.0)
    holds = [e for e in events if isinstance(e, Hold) and e.stage == "final"]
    assert [e.sign for e in holds] == [-1]  # and none of the other sign after 12 s
    assert holds[0].end_us < 10_000_000
    assert not any(s.held for s in states[500:])
    assert abs(states[720].baseline_ppb) < 2000  # it tracks again
    only_back = np.interp(t, [12, 12.2], [-20_000, 0]).astype(np.int64)  # the same step with no rest before it
    assert [e.sign for e in run(y + only_back)[0] if isinstance(e, Hold)][:1] == [1]


def test_freeze_freezes_the_baseline_and_thaw_tracks_it_again():
    y = noise_ppb(1500, 6, 30.0) + np.arange(1500) * 10
    tracker = Tracker(INTERVAL_S)
    read(tracker, y[:900])
    tracker.freeze()
    _, frozen = read(tracker, y[900:1200], 900 * INTERVAL_US)
    assert all(s.frozen for s in frozen)
    steps = np.diff([s.baseline_ppb for s in frozen])
    assert steps[0] == pytest.approx(10, rel=0.1)  # it goes on as before,
    assert np.all(np.diff(steps) < 1e-6)
    assert 0 < steps[-1] < 0.2 * steps[0]  # but its slope dies away: a drift is known for some seconds only
    assert y[1199] - frozen[-1].baseline_ppb > 1000
    tracker.thaw()
    _, thawed = read(tracker, y[1200:], 1200 * INTERVAL_US)
    assert not thawed[-1].frozen
    assert abs(y[-1] - thawed[-1].baseline_ppb) < 300


def test_freeze_while_frozen_sets_the_baseline_again():
    rise = np.where(np.arange(900) < 400, 0, 8000)
    y = noise_ppb(900, 6, 30.0) + rise
    tracker = Tracker(INTERVAL_S)
    read(tracker, y[:300])
    tracker.freeze()
    _, beside = read(tracker, y[300:503], 300 * INTERVAL_US)  # within a block
    assert all(s.frozen for s in beside)
    assert y[502] - beside[-1].baseline_ppb > 7000
    assert tracker.freeze() == ()
    assert abs(tracker.state.baseline_ppb - np.mean(y[483:503])) < 1e-6
    _, zeroed = read(tracker, y[503:], 503 * INTERVAL_US)
    steps = np.diff([s.baseline_ppb for s in zeroed])
    assert all(s.frozen for s in zeroed)
    assert steps[0] == pytest.approx(beside[-1].baseline_ppb - beside[-2].baseline_ppb, rel=0.05)  # the slope stays
    assert np.all(abs(np.diff(steps)) < 0.001)


def test_freezing_twice_before_there_are_readings_is_no_error():
    tracker = Tracker(INTERVAL_S)
    tracker.freeze()
    tracker.freeze()
    read(tracker, noise_ppb(20, 1))
    tracker.freeze()
    assert tracker.state.frozen
