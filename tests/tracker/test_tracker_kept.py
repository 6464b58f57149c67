"""What a tracker learned goes on in the next one, and a malformed or foreign state does no harm."""

import numpy as np
import pytest
from coilcount.tracker.tracker import Tracker
from hypothesis import given, settings
from hypothesis import strategies as st
from tracker_series import INTERVAL_S, bump_ppb, intervals, noise_ppb

N = 6000


def swept(seed=1):
    """Two minutes with a pass every ten seconds."""
    return noise_ppb(N, seed) + sum(bump_ppb(N, 8.0 + 10 * k, 900 * (-1) ** k, 0.25) for k in range(11))


def fed(tracker, y):
    events = []
    for interval in intervals(y * 1e-9):
        events.extend(tracker.interval(*interval))
    return events


@pytest.fixture(scope="module")
def learned():
    tracker = Tracker(INTERVAL_S)
    assert tracker.learned == ()
    fed(tracker, swept())
    assert not tracker.kept_used
    return tracker.learned


def test_a_kept_state_starts_where_the_earlier_session_ended(learned):
    again = Tracker(INTERVAL_S, learned)
    assert again.kept_used
    # Filters count as at most a minute of sweeping, so that they soon follow the soil of today.  The rest is the same.
    assert len(again.learned) == len(learned)
    differs = [(a, b) for a, b in zip(learned, again.learned, strict=True) if a != b]
    assert 0 < len(differs) <= 12 and all(b < a for a, b in differs)
    fresh = Tracker(INTERVAL_S)
    y = swept(2)[:1000]
    kept_alerts, fresh_alerts = fed(again, y), fed(fresh, y)
    # Known scales need no cautious start: the first pass, at 8 s, has its usual score at once.
    kept_first, fresh_first = (next(a for a in events if a.stage == "final") for events in (kept_alerts, fresh_alerts))
    assert kept_first.peak_us == pytest.approx(fresh_first.peak_us, abs=60_000)
    assert kept_first.score > 1.2 * fresh_first.score
    assert again.thresholds != fresh.thresholds


def test_two_trackers_from_one_state_agree_to_the_last_bit(learned):
    y = swept(3)[:2000]
    one, other = Tracker(INTERVAL_S, learned), Tracker(INTERVAL_S, tuple(learned))
    assert fed(one, y) == fed(other, y)
    assert one.learned == other.learned


def test_a_state_of_other_widths_or_another_interval_is_ignored(learned):
    assert not Tracker(0.05, learned).kept_used
    other = Tracker(INTERVAL_S, learned, widths_s=(0.2, 0.4))
    assert not other.kept_used and other.learned == ()


@given(st.data())
@settings(max_examples=60, deadline=None)
def test_a_malformed_state_is_refused_or_used_and_never_breaks_the_tracker(learned, data):
    values = list(learned)
    for _ in range(data.draw(st.integers(1, 3))):
        at = data.draw(st.integers(0, len(values) - 1))
        wrong = st.floats(allow_nan=True) | st.integers(-10, 10**12) | st.sampled_from(["1", None, True])
        values[at] = data.draw(wrong)
    values = values[: data.draw(st.sampled_from([len(values), len(values) - 1, 3, 30]))]
    try:
        tracker = Tracker(INTERVAL_S, tuple(values))
    except ValueError:
        return
    events = fed(tracker, swept(4)[:400])
    assert all(np.isfinite(event.score) for event in events if hasattr(event, "score"))
