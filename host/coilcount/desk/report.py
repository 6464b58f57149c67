"""Gathers what the report page shows of a recording: replays at a grid of thresholds, judged by the labels."""

from collections.abc import Sequence
from itertools import pairwise

from coilcount.capture.labels import read_all_labels
from coilcount.desk.rates import rate_interval, share_interval
from coilcount.desk.recordings import Recording
from coilcount.desk.scoring import NEAR_S, score
from coilcount.errors import InputError
from coilcount.model import Alert, GridReplay, Label, Score
from coilcount.model.report import Figures, PageRecording
from coilcount.settings import Settings
from coilcount.tracker.defaults import TABLE
from coilcount.tracker.noise_counts import usual_thresholds

# Positions of the slider: each threshold is STEP times the one before.  Chosen by hand: 5 % is finer than the interval
# of any false-alarm rate that an hour of recording can give.
STEP, POSITIONS_BELOW, POSITIONS_ABOVE = 1.05, 12, 28
# Decimals of a threshold on the grid, so that a person can type it after `replay --threshold`.
_DECIMALS = 2

_LOWEST, _HIGHEST = next((row.lowest, row.highest) for row in TABLE if row.name == "threshold")


def threshold_grid(settings: Settings) -> list[float]:
    """The fixed thresholds (sigma) of the slider, in rising order: 41 around that of the settings.

    If the settings ask for a rate of false alarms, they lie around its thresholds on usual soil.  The rate has a
    position of its own, which replay_grid() adds.
    """
    own = settings.fixed_threshold or round(min(usual_thresholds(settings.false_alarms_per_minute)), _DECIMALS)
    powers = range(-POSITIONS_BELOW, POSITIONS_ABOVE + 1)
    grid = {own if power == 0 else round(own * STEP**power, _DECIMALS) for power in powers}
    return sorted(threshold for threshold in grid if _LOWEST <= threshold <= _HIGHEST)


def page_recording(recording: Recording, settings: Settings, replay: GridReplay) -> PageRecording:
    """Judge the replays of a recording by its labels, and add what else the page shows.

    replay: of this recording with these settings, at every position of the slider, with its series.
    Labels that are damaged do not stop the report: they become a complaint.
    Raises InputError if the recording holds no readings.
    """
    if replay.series is None or not replay.series.time_s:
        raise InputError("the capture holds no readings", recording.name, "See coilcount inspect")
    labels, complaints = _labels_of(recording)
    scores = [] if labels is None else [score(replay, at, labels) for at in replay.at]
    if labels:
        complaints += _misplaced(labels, scores[0])
    most = max(len(at.alerts) for at in replay.at)
    return PageRecording(
        replay=replay,
        own=replay.own,
        find_of=tuple(find_numbers(at.alerts) for at in replay.at),
        labels=None if labels is None else tuple(labels),
        label_file=recording.labels.name,
        label_complaints=tuple(complaints),
        figures=tuple(map(figures, scores)),
        ready_s=sum(end_s - start_s for start_s, end_s in replay.ready_spans) or 60.0 * replay.ready_minutes,
        ready_spans=replay.ready_spans or ((0.0, replay.summary.duration_s),),
        near_s=NEAR_S,
        rate_limits=tuple(rate_interval(count, 1.0) for count in range(most + 1)),
        settings=settings.as_dict(),
    )


def figures(judged: Score) -> Figures:
    """The figures of one score, with their intervals."""
    passes, found = len(judged.passes), sum(one_pass.found for one_pass in judged.passes)
    found_low, found_high = share_interval(found, passes)
    false_alarms = len(judged.false_alarms)
    rate_low, rate_high = rate_interval(false_alarms, judged.minutes)
    return Figures(
        passes=passes,
        found=found,
        found_low=found_low,
        found_high=found_high,
        false_alarms=false_alarms,
        minutes=judged.minutes,
        rate_low=rate_low,
        rate_high=rate_high if judged.minutes > 0 else None,
    )


def find_numbers(alerts: Sequence[Alert]) -> tuple[int, ...]:
    """The number of the find that each alert belongs to.

    The tracker counts passes in a row over one place (`seen`): an alert with seen 2 or more continues the row of the
    alert before it that has a sign.
    """
    numbers = []
    latest: dict[int, int] = {}  # sign: number of its latest find
    count = 0
    for alert in alerts:
        if alert.seen < 2 or alert.sign not in latest:
            latest[alert.sign] = count
            count += 1
        numbers.append(latest[alert.sign])
    return tuple(numbers)


def _labels_of(recording: Recording) -> tuple[list[Label] | None, list[str]]:
    """All labels, proposals too, or None if there are none; and what is wrong with their file."""
    if not recording.labels.exists():
        return None, []
    try:
        return read_all_labels(recording.labels), []
    except InputError as error:
        return None, [f"the labels are not used: {error}"]


def _misplaced(labels: Sequence[Label], judged: Score) -> list[str]:
    """Sentences about labels that cannot be judged and labels that overlap."""
    spans = sorted((label.start_s, label.end_s) for label in labels)
    overlaps = sum(start < end for (_, end), (start, _) in pairwise(spans))
    sentences = []
    if judged.left_out:
        count = len(judged.left_out)
        sentences.append(f"labels outside the recording, in a gap or in the warm-up, which are not judged: {count}")
    if overlaps:
        sentences.append(f"labels that overlap the one before: {overlaps}")
    return sentences
