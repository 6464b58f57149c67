"""Compares two builds over one course, or two settings on the same recordings, and puts the report together."""

from collections.abc import Callable, Mapping, Sequence
from statistics import median
from typing import Any

from coilcount.desk import paired
from coilcount.desk.compare_alarms import Alarms, counted
from coilcount.desk.compare_depth import half_depth
from coilcount.desk.compare_noise import mean_drift, reading_noise, scatter
from coilcount.desk.compare_pairs import Pair, Pass, numbered, paired_passes
from coilcount.desk.compare_sides import Given, Replay, Side, replayed
from coilcount.desk.compare_verdict import (
    found_counts,
    made_tests,
    mean_ratio,
    object_differences,
    ratio_of_rates,
    recording_logs,
    share_difference,
    visit_differences,
)
from coilcount.desk.many import replay_many
from coilcount.desk.rates import rate_interval, share_interval
from coilcount.model import Alert
from coilcount.model.compare import ComparedPass, ComparedSide, Comparison, LonePass
from coilcount.model.noise_report import Interval95
from coilcount.settings import Settings


def compare(
    a: Given, b: Given, *, same_recordings: bool, per_minute: float | None = None, replay: Replay = replay_many
) -> Comparison:
    """Replay both sides and compare them.

    same_recordings: two settings on the same recordings.  per_minute: false alarms a minute for which each side gets
    a threshold of its own; None for the thresholds of the settings.  replay: see compare_sides.
    Raises InputError if a side has no recording that can be read, or no threshold for the rate.
    """
    cautions: dict[str, None] = {}  # each of them once, in their order

    def caution(text: str) -> None:
        cautions[text] = None

    side_a = replayed(a, per_minute, replay, caution)
    side_b = replayed(b, per_minute, replay, caution, side_a.recordings if same_recordings else None)
    within = len(a.recordings) == len(b.recordings)
    pairs, lone_a, lone_b = paired_passes(_passes(side_a, within), _passes(side_b, within), within=within)
    alarms_a, alarms_b = counted(side_a, side_b, same_recordings=same_recordings, caution=caution)
    chosen_here = per_minute is not None and not a.clean
    same_settings = _without_threshold(a.settings) == _without_threshold(b.settings)
    tests = made_tests(pairs, alarms_a, alarms_b, alarms_chosen=chosen_here, same_settings=same_settings)
    level = paired.ALPHA / max(1, sum(test.p is not None for test in tests))
    both, only_a, only_b, neither = found_counts(pairs)
    differences, visits = object_differences(pairs), [difference for difference, _ in visit_differences(pairs)]
    better_in_a, better_in_b = sum(value < 0 for value in visits), sum(value > 0 for value in visits)
    ratio_is_tested = not same_recordings and not chosen_here and bool(alarms_a.minutes and alarms_b.minutes)
    _note_doubts(side_a, side_b, pairs, caution)
    return Comparison(
        same_recordings=same_recordings,
        same_settings=same_settings,
        false_alarms_per_minute=per_minute,
        clean=bool(a.clean),
        a=_figures(side_a, [of_a for of_a, _ in pairs], alarms_a, _shifts(pairs, 0)),
        b=_figures(side_b, [of_b for _, of_b in pairs], alarms_b, _shifts(pairs, 1)),
        pairing="recording" if within else "all",
        both=both,
        only_a=only_a,
        only_b=only_b,
        neither=neither,
        difference=share_difference(pairs),
        visits=len(visits),
        objects=len(differences),
        p_passes=paired.mcnemar(only_a, only_b) if pairs else None,
        p_objects=paired.sign_flip(differences) if pairs else None,
        rate_ratio=ratio_of_rates(alarms_a, alarms_b),
        alarms_only_a=alarms_a.alone,
        alarms_only_b=alarms_b.alone,
        score_ratio=mean_ratio(recording_logs(pairs, _score)),
        shift_ratio=mean_ratio(recording_logs(pairs, _shift)),
        tests=tests,
        visible_difference=paired.visible_difference(better_in_a, better_in_b, len(visits), level),
        visible_ratio=paired.visible_ratio(alarms_a.count + alarms_b.count, alarms_a.minutes, alarms_b.minutes, level)
        if ratio_is_tested
        else None,
        passes=tuple(_compared(*pair) for pair in pairs),
        unpaired=tuple(_lone("A", one_pass) for one_pass in lone_a)
        + tuple(_lone("B", one_pass) for one_pass in lone_b),
        alarms=(*alarms_a.listed(), *alarms_b.listed()),
        cautions=tuple(cautions),
    )


def _score(alert: Alert) -> float:
    return alert.score


def _shift(alert: Alert) -> float:
    return abs(alert.peak_shift_ppm)


def _passes(side: Side, within: bool) -> list[Pass]:
    rows = [(judged.place, judged.name, judged.at_threshold.passes, judged.weak.passes) for judged in side.recordings]
    return numbered(rows, within=within)


def _without_threshold(settings: Settings) -> Mapping[str, Any]:
    levels = ("threshold", "false_alarms_per_minute")
    return {name: value for name, value in settings.tracker.items() if name not in levels}


def _shifts(pairs: Sequence[Pair], index: int) -> list[float]:
    """Median size of the shift in ppm on one side, for each object with passes that both found."""
    sizes: dict[Any, list[float]] = {}
    for pair in pairs:
        if pair[0].judged.found and pair[1].judged.found:
            sizes.setdefault(pair[0].object, []).append(_shift(pair[index].judged.alert))
    return [median(values) for values in sizes.values()]


def _figures(side: Side, passes: Sequence[Pass], alarms: Alarms, shifts_ppm: Sequence[float]) -> ComparedSide:
    recordings = side.recordings
    found = sum(one_pass.judged.found for one_pass in passes)
    noises = [judged.noise for judged in recordings if judged.noise is not None]
    spread = scatter(noises)
    depth = half_depth([(one_pass.judged.label.depth_cm, one_pass.judged.found) for one_pass in passes])
    baselines = [judged.baseline_hz for judged in recordings if judged.baseline_hz is not None]
    shift = paired.median_interval(shifts_ppm)
    rate = None
    if alarms.minutes:
        rate = Interval95(alarms.count / alarms.minutes, *rate_interval(alarms.count, alarms.minutes))
    return ComparedSide(
        name=side.given.name,
        files=tuple(judged.name for judged in recordings),
        settings=side.given.settings_from,
        simulated=any(judged.simulated for judged in recordings),
        threshold=round(median(judged.at_threshold.threshold for judged in recordings), 2),
        threshold_from_peaks=side.peaks,
        minutes=sum(judged.ready_minutes for judged in recordings),
        baseline_hz=median(baselines) if baselines else None,
        noise_ppm=reading_noise(noises),
        scatter_ppm=None if spread is None else spread[0],
        scatter_tau_s=None if spread is None else spread[1],
        drift_ppm_per_minute=mean_drift(noises),
        passes=len(passes),
        found=found,
        found_share=Interval95(found / len(passes), *share_interval(found, len(passes))) if passes else None,
        peak_shift_ppm=None if shift is None else Interval95(*shift),
        half_depth_cm=depth.interval,
        half_depth_unknown=depth.unknown,
        false_alarms=alarms.count,
        false_alarm_minutes=alarms.minutes,
        false_alarms_per_minute=rate,
        asked_per_minute=side.settings.false_alarms_per_minute,
    )


def _note_doubts(a: Side, b: Side, pairs: Sequence[Pair], caution: Callable[[str], None]) -> None:
    labelled = [any(judged.at_threshold.passes for judged in side.recordings) for side in (a, b)]
    if all(labelled) and not pairs:
        caution(
            "no pass of A has a partner in B: names and depths of the objects differ. Give the same object the same "
            "name and depth in both"
        )
    elif not any(labelled) and any(judged.labels is not None for side in (a, b) for judged in side.recordings):
        caution("the labels name no object: only false alarms, noise and drift can be compared")
    elif (
        any(labelled)
        and not all(labelled)
        and all(any(judged.labels is not None for judged in side.recordings) for side in (a, b))
    ):
        caution(f"the labels of {'B' if labelled[0] else 'A'} name no object: passes cannot be compared")
    simulated = [any(judged.simulated for judged in side.recordings) for side in (a, b)]
    if simulated[0] != simulated[1]:
        caution(f"{'A' if simulated[0] else 'B'} is simulated and the other is not")


def _compared(a: Pass, b: Pass) -> ComparedPass:
    return ComparedPass(
        object=a.judged.label.object,
        depth_cm=a.judged.label.depth_cm,
        number=a.number,
        file_a=a.file,
        time_a_s=a.judged.label.closest_s,
        found_a=a.judged.found,
        score_a=None if a.best is None else a.best.score,
        shift_a_ppm=None if a.best is None else a.best.peak_shift_ppm,
        file_b=b.file,
        time_b_s=b.judged.label.closest_s,
        found_b=b.judged.found,
        score_b=None if b.best is None else b.best.score,
        shift_b_ppm=None if b.best is None else b.best.peak_shift_ppm,
    )


def _lone(side: str, one_pass: Pass) -> LonePass:
    label = one_pass.judged.label
    return LonePass(
        side=side,
        file=one_pass.file,
        time_s=label.closest_s,
        object=label.object,
        depth_cm=label.depth_cm,
        number=one_pass.number,
        found=one_pass.judged.found,
    )
