"""Judges the alerts of a replay by the labels of the recording.

The rules are those of the detection benchmark (tests/bench/detection/README.md).
"""

from collections.abc import Sequence

from coilcount.model import Alert, AtThreshold, GridReplay, Label, PassScore, Score

# Seconds.  An alert belongs to a pass if it peaks this near to the closest approach, or within the label's span.
NEAR_S = 0.3


def belongs(alert: Alert, label: Label) -> bool:
    """Return True if an alert belongs to the pass of a label."""
    return (
        min(label.start_s, label.closest_s - NEAR_S) <= alert.peak_s <= max(label.end_s, label.closest_s + NEAR_S)
    )


def score(replay: GridReplay, at: AtThreshold, labels: Sequence[Label]) -> Score:
    """Judge the alerts of one threshold of a replay.  All passes of the recording count as labelled."""
    objects = [label for label in labels if label.is_object]
    passes = []
    used: set[int] = set()
    for label in objects:
        near = [alert for alert in at.alerts if belongs(alert, label)]
        used.update(alert.id for alert in near)
        passes.append(PassScore(label, max(near, key=lambda alert: alert.score, default=None)))
    spans_s = sum(label.end_s - label.start_s for label in objects)
    return Score(
        threshold=at.threshold,
        passes=tuple(passes),
        false_alarms=tuple(alert for alert in at.alerts if alert.id not in used),
        minutes=max(0.0, replay.ready_minutes - spans_s / 60.0),
    )
