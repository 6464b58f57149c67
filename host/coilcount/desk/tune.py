"""The report of `coilcount tune`: detections against false alarms, and the threshold for a wanted rate."""

from collections.abc import Sequence
from typing import Any

from coilcount import __version__
from coilcount.desk import tune_choice
from coilcount.desk.rates import minutes_to_know
from coilcount.desk.scoring import answers
from coilcount.desk.tune_choice import Choice, Judged
from coilcount.model import Candidate, LeftOutRecording, TuneReport
from coilcount.settings import Settings


def tune(
    judged: Sequence[Judged],
    left_out: Sequence[LeftOutRecording],
    candidates: Sequence[Settings],
    per_minute: float,
    by: str,
) -> TuneReport:
    """Choose for `per_minute` false alarms a minute, and check the choice on recordings left out of it.

    judged: at least one recording; candidates: the settings that it was judged with, the ones in force first.
    by: "recording" or "site", the groups of the check.
    """
    in_force = tune_choice.pooled([one.own for one in judged])
    choice = tune_choice.choose(judged, per_minute)
    shown = choice or Choice(0, _nearest(judged[0], in_force.threshold))
    rates = tune_choice.at_rates(judged, shown.candidate)
    return TuneReport(
        false_alarms_per_minute=per_minute,
        by=by,
        version=__version__,
        settings_sha256=candidates[0].sha256(),
        simulated=any(one.recording.simulated for one in judged),
        recordings=tuple(one.recording for one in judged),
        left_out=tuple(left_out),
        candidates=tuple(
            _candidate(judged, number, _changed(candidates[0], settings), per_minute)
            for number, settings in enumerate(candidates)
        ),
        best=None if choice is None else choice.candidate,
        curve=tune_choice.curve(judged, shown.candidate),
        in_force=in_force,
        kinds=tune_choice.kinds(judged, shown),
        answers=answers(
            a_pass for one in judged for a_pass in one.scores[shown.candidate][shown.index].passes
        ),
        cross=tune_choice.cross_check(judged, per_minute),
        minutes_needed=minutes_to_know(per_minute),
        rates=rates,
        proposed_rate=tune_choice.highest_kept(rates, per_minute),
    )


def _nearest(one: Judged, threshold: float) -> int:
    """The position of the fixed threshold that is nearest to one."""
    found = [score.threshold for score in one.scores[0]]
    return min(range(len(found)), key=lambda index: abs(found[index] - threshold))


def _candidate(judged: Sequence[Judged], number: int, changed: dict[str, Any], per_minute: float) -> Candidate:
    index = tune_choice.lowest_kept(judged, number, per_minute)
    if index is None:
        return Candidate(changed, None, None)
    return Candidate(changed, judged[0].scores[number][index].threshold, tune_choice.at(judged, number, index))


def _changed(in_force: Settings, settings: Settings) -> dict[str, Any]:
    return {name: value for name, value in settings.tracker.items() if value != in_force.tracker[name]}
