"""Chooses settings and threshold for a wanted false-alarm rate, and judges the choice on recordings left out of it.

The rule: a threshold keeps the rate if the recordings together give at most that rate at it and at every higher
threshold of the grid.  Each candidate gets the lowest such threshold, and the candidate that then finds the most passes
wins.  Thresholds between those of the grid are not tried: their steps are 5 %, far finer than a rate is known.

The figures of the chosen threshold on the same recordings are too good, because it was chosen for them.  So each group
of recordings is left out in turn, the choice is made on all others, and judged on the group left out (M. Stone, Journal
of the Royal Statistical Society B 36, 111, 1974).  A group is a recording or a site, never a pass: repeated passes over
one object are alike, and some of them would be on both sides.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from statistics import median

import numpy as np

from coilcount.desk.rates import rate, share
from coilcount.desk.scoring import answers
from coilcount.model import (
    AtGrid,
    CrossCheck,
    KindFound,
    Label,
    LeftOutGroup,
    Outcome,
    PassScore,
    Score,
    TunedRecording,
)

BAND_CM = 5.0  # passes are listed by depth in bands of this width; chosen by hand
DRAWS = 10_000  # random spreads of the false alarms over the groups, to see whether the spread is chance
SLACK = 1e-9  # a rate of exactly N a minute keeps N, whatever rounding did


@dataclass(frozen=True, slots=True)
class Judged:
    """A recording with its scores.

    scores: scores[candidate][threshold], the fixed thresholds in rising order.
    rates: rates[candidate][rate], the rates that are asked for in rising order.
    own: the score with the settings in force.
    """

    recording: TunedRecording
    scores: tuple[tuple[Score, ...], ...]
    rates: tuple[tuple[Score, ...], ...]
    own: Score


@dataclass(frozen=True, slots=True)
class Choice:
    """candidate: number of the chosen settings; index: of the chosen threshold in the grid."""

    candidate: int
    index: int


def outcome(scores: Iterable[Score]) -> Outcome:
    """Pool scores of several recordings, or of several groups, into one outcome with intervals."""
    scores = list(scores)
    false_alarms = sum(len(score.false_alarms) for score in scores)
    minutes = sum(score.minutes for score in scores)
    passes = sum(len(score.passes) for score in scores)
    found = sum(a_pass.found for score in scores for a_pass in score.passes)
    return Outcome(false_alarms, minutes, rate(false_alarms, minutes), passes, found, share(found, passes))


def at(judged: Sequence[Judged], candidate: int, index: int) -> Outcome:
    """Pool the recordings at one threshold of one candidate."""
    return outcome(one.scores[candidate][index] for one in judged)


def lowest_kept(judged: Sequence[Judged], candidate: int, per_minute: float) -> int | None:
    """Return the index of the lowest threshold that keeps the rate; None if not even the highest one keeps it."""
    count = len(judged[0].scores[candidate]) if judged else 0
    kept = None
    for index in reversed(range(count)):
        scores = [one.scores[candidate][index] for one in judged]
        minutes = sum(score.minutes for score in scores)
        false_alarms = sum(len(score.false_alarms) for score in scores)
        if minutes <= 0 or false_alarms > per_minute * minutes + SLACK:
            break
        kept = index
    return kept


def choose(judged: Sequence[Judged], per_minute: float) -> Choice | None:
    """Choose the candidate and the threshold; None if no threshold of any candidate keeps the rate.

    Of candidates that find equally many passes the first is chosen: the settings in force come first.
    """
    best, most = None, -1
    for candidate in range(len(judged[0].scores) if judged else 0):
        index = lowest_kept(judged, candidate, per_minute)
        if index is None:
            continue
        found = sum(a_pass.found for one in judged for a_pass in one.scores[candidate][index].passes)
        if found > most:
            best, most = Choice(candidate, index), found
    return best


def cross_check(judged: Sequence[Judged], per_minute: float) -> CrossCheck | None:
    """Leave out each group in turn.  Returns None if there is only one group."""
    names = list(dict.fromkeys(one.recording.group for one in judged))
    if len(names) < 2:
        return None
    groups: list[LeftOutGroup] = []
    pooled: list[Score] = []
    for name in names:
        inside = [one for one in judged if one.recording.group == name]
        choice = choose([one for one in judged if one.recording.group != name], per_minute)
        if choice is None:
            groups.append(LeftOutGroup(name, len(inside), None, None, None))
            continue
        scores = [one.scores[choice.candidate][choice.index] for one in inside]
        groups.append(LeftOutGroup(name, len(inside), choice.candidate, scores[0].threshold, outcome(scores)))
        pooled += scores
    return CrossCheck(
        groups=tuple(groups),
        outcome=outcome(pooled),
        answers=answers(a_pass for score in pooled for a_pass in score.passes),
        even=_even([group.outcome for group in groups if group.outcome is not None]),
    )


def curve(judged: Sequence[Judged], candidate: int) -> tuple[AtGrid, ...]:
    """Pool the recordings at each threshold of one candidate."""
    thresholds = [score.threshold for score in judged[0].scores[candidate]]
    return tuple(AtGrid(threshold, at(judged, candidate, index)) for index, threshold in enumerate(thresholds))


def at_rates(judged: Sequence[Judged], candidate: int) -> tuple[AtGrid, ...]:
    """Pool the recordings at each rate of one candidate."""
    return tuple(
        pooled([one.rates[candidate][index] for one in judged]) for index in range(len(judged[0].rates[candidate]))
    )


def pooled(scores: Sequence[Score]) -> AtGrid:
    """Pool scores of several recordings with the same rate or threshold."""
    threshold = round(median(score.threshold for score in scores), 2)
    return AtGrid(threshold, outcome(scores), scores[0].asked_per_minute)


def highest_kept(rates: Sequence[AtGrid], per_minute: float) -> float | None:
    """Return the highest rate of which it and all lower ones gave at most `per_minute` here; None if there is none."""
    kept = None
    for row in rates:
        if row.outcome.minutes <= 0 or row.outcome.false_alarms > per_minute * row.outcome.minutes + SLACK:
            break
        kept = row.asked_per_minute
    return kept


def kinds(judged: Sequence[Judged], choice: Choice) -> tuple[KindFound, ...]:
    """Count the passes by object and depth, in the order of the names and depths."""
    by_kind: dict[tuple[str, float | None], list[list[PassScore]]] = {}
    thresholds = len(judged[0].scores[choice.candidate])
    for one in judged:
        for index, score in enumerate(one.scores[choice.candidate]):
            for a_pass in score.passes:
                rows = by_kind.setdefault(_kind(a_pass.label), [[] for _ in range(thresholds)])
                rows[index].append(a_pass)
    made = []
    for (name, from_cm), rows in sorted(by_kind.items(), key=lambda item: (item[0][0], item[0][1] or 0.0)):
        found_at = tuple(sum(a_pass.found for a_pass in row) for row in rows)
        passes, found = len(rows[0]), found_at[choice.index]
        to_cm = None if from_cm is None else from_cm + BAND_CM
        made.append(KindFound(name, from_cm, to_cm, passes, found, share(found, passes), found_at))
    return tuple(made)


def _kind(label: Label) -> tuple[str, float | None]:
    depth_cm = label.depth_cm
    return label.object, None if depth_cm is None else BAND_CM * (depth_cm // BAND_CM)


def _even(outcomes: Sequence[Outcome]) -> float | None:
    """Return how likely chance alone spreads the false alarms at least so unevenly over the groups.

    Pearson's chi-squared of the counts, given their sum; its distribution is drawn, because the counts are small.
    The draws have a fixed seed, so that the same recordings give the same figure.
    """
    counts = np.array([made.false_alarms for made in outcomes if made.minutes > 0], float)
    minutes = np.array([made.minutes for made in outcomes if made.minutes > 0])
    if len(counts) < 2 or not counts.sum():
        return None
    part = minutes / minutes.sum()
    expected = counts.sum() * part
    drawn = np.random.default_rng(1).multinomial(int(counts.sum()), part, DRAWS)
    seen = np.sum((counts - expected) ** 2 / expected)
    more = np.count_nonzero(np.sum((drawn - expected) ** 2 / expected, axis=1) >= seen - SLACK)
    return float((more + 1) / (DRAWS + 1))
