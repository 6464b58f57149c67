"""Judges the alerts of a replay by the labels of the recording.

The rules are those of the detection benchmark (tests/bench/detection/README.md):

- An alert belongs to a pass if it peaks within 0.3 s of the closest approach, or within the span of the label if that
  is longer.  The benchmark says "within the width of the pass", which is 1.02 w for the pass shape (1 + (t / w)^2)^-3.
  A label of `simulate` covers the time above 10 % of the peak, which is 1.07 w to either side (computation).
- A pass is found if an alert belongs to it.  Of several alerts the one with the highest score is judged.
- If passes overlap, one alert may belong to both of them.  Then both are found.
- Every other alert is a false alarm, also one at a label with an empty response: a knock, soil, "nothing".
- An alert that is still open at the end counts like any other, by its peak.

Minutes are counted where a false alarm could have been raised: there is a statistic, and no pass is within reach.
So a gap and the warm-up do not count.  A label is left out and reported if there was no statistic at its closest
approach: it lies outside the recording, in a gap or in the warm-up, and no threshold could have found it.

A recording is labelled if it has a label file.  A label file without objects says that there was nothing to find.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Sequence

from coilcount.capture.labels import read_labels
from coilcount.desk.rates import share
from coilcount.desk.recordings import Recording
from coilcount.model import Alert, AnswerCounts, AtThreshold, GridReplay, Label, PassScore, Score

# Seconds.  An alert belongs to a pass if it peaks this near to the closest approach, or within the label's span.
NEAR_S = 0.3

Spans = list[tuple[float, float]]


def labels_of(recording: Recording) -> list[Label] | None:
    """Return the labels of a recording; None if it has no label file.  Raises InputError if the file is wrong."""
    return read_labels(recording.labels) if recording.labels.exists() else None


def reach(label: Label) -> tuple[float, float]:
    """Return from when to when an alert must peak to belong to the pass of a label, in s."""
    return min(label.start_s, label.closest_s - NEAR_S), max(label.end_s, label.closest_s + NEAR_S)


def belongs(alert: Alert, label: Label) -> bool:
    """Return True if an alert belongs to the pass of a label."""
    start_s, end_s = reach(label)
    return start_s <= alert.peak_s <= end_s


def score(replay: GridReplay, at: AtThreshold, labels: Sequence[Label] | None) -> Score:
    """Judge the alerts of one threshold of a replay.

    labels: all labels of the recording; None if it has no label file, so that nothing can be judged.
    All passes of a labelled recording count as labelled.
    """
    if labels is None:
        return Score(at.threshold, (), (), 0.0, labelled=False, asked_per_minute=at.asked_per_minute)
    ready = _ready(replay)
    inside = [any(start_s <= label.closest_s <= end_s for start_s, end_s in ready) for label in labels]
    objects = [label for label, yes in zip(labels, inside, strict=True) if yes and label.is_object]
    alerts = sorted(at.alerts, key=lambda alert: alert.peak_s)
    peaks_s = [alert.peak_s for alert in alerts]
    used = [False] * len(alerts)
    passes = []
    for label in objects:
        start_s, end_s = reach(label)
        first, last = bisect_left(peaks_s, start_s), bisect_right(peaks_s, end_s)
        used[first:last] = [True] * (last - first)
        passes.append(PassScore(label, max(alerts[first:last], key=lambda alert: alert.score, default=None)))
    ready_s = sum(end_s - start_s for start_s, end_s in replay.ready_spans) or 60.0 * replay.ready_minutes
    spent_s = sum(_overlap_s(ready, *span) for span in _joined(map(reach, objects)))
    return Score(
        threshold=at.threshold,
        passes=tuple(passes),
        false_alarms=tuple(alert for alert, taken in zip(alerts, used, strict=True) if not taken),
        minutes=max(0.0, ready_s - spent_s) / 60.0,
        left_out=tuple(label for label, yes in zip(labels, inside, strict=True) if not yes),
        asked_per_minute=at.asked_per_minute,
    )


def answers(passes: Iterable[PassScore]) -> tuple[AnswerCounts, AnswerCounts]:
    """Count what the alerts say of the found passes whose label says ferrous, and of those that say non-ferrous.

    The alert judged is the one with the highest score.  Labels that say "uncertain" are in neither.
    """
    found = [(a_pass.label.response, a_pass.alert) for a_pass in passes if a_pass.alert is not None]
    counted = []
    for response, right_sign in (("ferrous", -1), ("non-ferrous", 1)):
        alerts = [alert for labelled, alert in found if labelled == response]
        unsure = [alert.sign for alert in alerts if alert.response not in ("ferrous", "non-ferrous")]
        ferrous = sum(alert.response == "ferrous" for alert in alerts)
        non_ferrous = sum(alert.response == "non-ferrous" for alert in alerts)
        counted.append(
            AnswerCounts(
                response=response,
                found=len(alerts),
                ferrous=ferrous,
                non_ferrous=non_ferrous,
                uncertain=len(unsure),
                uncertain_right=unsure.count(right_sign),
                uncertain_wrong=unsure.count(-right_sign),
                ferrous_share=share(ferrous, len(alerts)),
                non_ferrous_share=share(non_ferrous, len(alerts)),
                uncertain_share=share(len(unsure), len(alerts)),
            )
        )
    return counted[0], counted[1]


def _ready(replay: GridReplay) -> Spans:
    """The spans with a statistic.  If the replay does not know them: the recording without its gaps."""
    if replay.ready_spans:
        return list(replay.ready_spans)
    spans, start_s = [], 0.0
    for silence in sorted(replay.silences, key=lambda silence: silence.start_s):
        spans.append((start_s, silence.start_s))
        start_s = max(start_s, silence.end_s)
    return [span for span in [*spans, (start_s, replay.summary.duration_s)] if span[0] < span[1]]


def _joined(spans: Iterable[tuple[float, float]]) -> Spans:
    """Join overlapping spans, so that no second counts twice."""
    joined: Spans = []
    for start_s, end_s in sorted(spans):
        if joined and start_s <= joined[-1][1]:
            joined[-1] = joined[-1][0], max(joined[-1][1], end_s)
        else:
            joined.append((start_s, end_s))
    return joined


def _overlap_s(spans: Spans, start_s: float, end_s: float) -> float:
    return sum(max(0.0, min(end_s, last_s) - max(start_s, first_s)) for first_s, last_s in spans)
