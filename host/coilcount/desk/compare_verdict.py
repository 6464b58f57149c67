"""The tests of a comparison, and the ratios beside them.

The verdict is fixed before anything is looked at.  It asks up to three questions:

- passes found: the exact McNemar test, in which the passes of a visit stand or fall together.  A visit is all passes
  over one object in one recording.  They follow one another within seconds, so they share expected noise, baseline
  and height of the coil.  A test of single passes finds a difference between a build and itself too often: in 39 of
  400 comparisons at a level of 5 % (4 recordings, 3 passes in a visit; from an earlier simulation study, not repeated
  here).  tests/bench/compare_seeds.py prints both.
- false alarms: the exact conditional test of two rates; with the same recordings the exact McNemar test on the alarms
  that only one of the two settings raises
- score, for two builds with the same settings: Student's t test on pairs of recordings.  A single pass is no unit
  here, because all passes of a recording share the expected noise and the height of the coil.

Together they report a difference where there is none in at most 5 % of all comparisons (Holm's method).  All other
figures describe, and decide nothing.
"""

from collections import defaultdict
from collections.abc import Callable, Hashable, Sequence
from math import exp, log
from statistics import mean, median

from coilcount.desk import paired
from coilcount.desk.compare_alarms import Alarms
from coilcount.desk.compare_pairs import Pair, Pass
from coilcount.model import Alert
from coilcount.model.compare import FALSE_ALARMS, FOUND, SCORE, ComparedTest, Ratio
from coilcount.model.noise_report import Interval95

FEWEST_RECORDINGS = 3  # pairs of recordings with a score; chosen by hand


def found_counts(pairs: Sequence[Pair]) -> tuple[int, int, int, int]:
    """Count the passes found by both, by A alone, by B alone and by neither."""
    found = [(of_a.judged.found, of_b.judged.found) for of_a, of_b in pairs]
    return (
        found.count((True, True)),
        found.count((True, False)),
        found.count((False, True)),
        found.count((False, False)),
    )


def object_differences(pairs: Sequence[Pair]) -> list[int]:
    """For each object, the passes found by B less those found by A."""
    return [difference for difference, _ in _sums(pairs, lambda of_a, of_b: of_a.object)]


def visit_differences(pairs: Sequence[Pair]) -> list[tuple[int, int]]:
    """For each visit, the passes found by B less those found by A, and the number of passes."""
    return _sums(pairs, lambda of_a, of_b: (of_a.recording, of_b.recording, of_a.object))


def _sums(pairs: Sequence[Pair], key: Callable[[Pass, Pass], Hashable]) -> list[tuple[int, int]]:
    sums: dict[Hashable, tuple[int, int]] = {}
    for of_a, of_b in pairs:
        difference, count = sums.get(key(of_a, of_b), (0, 0))
        sums[key(of_a, of_b)] = difference + of_b.judged.found - of_a.judged.found, count + 1
    return list(sums.values())


def share_difference(pairs: Sequence[Pair]) -> Interval95 | None:
    """The difference of the shares found, B less A; None without pairs, or if all passes are of one visit."""
    visits = visit_differences(pairs)
    if pairs and len(visits) == len(pairs):
        _, only_a, only_b, _ = found_counts(pairs)
        return Interval95(*paired.difference_of_shares(only_a, only_b, len(pairs)))
    return Interval95(*paired.difference_of_visits(visits)) if len(visits) > 1 else None


def recording_logs(pairs: Sequence[Pair], size: Callable[[Alert], float]) -> list[float]:
    """For each pair of recordings, the median of log(size in B / size in A) of the passes that both found.

    Empty if a recording has passes in several pairs, so that the pairs are not independent.
    """
    logs: dict[tuple[int, int], list[float]] = defaultdict(list)
    for of_a, of_b in pairs:
        alert_a, alert_b = of_a.judged.alert, of_b.judged.alert
        if alert_a is not None and alert_b is not None and size(alert_a) > 0 and size(alert_b) > 0:
            logs[of_a.recording, of_b.recording].append(log(size(alert_b) / size(alert_a)))
    if not len({of_a for of_a, _ in logs}) == len({of_b for _, of_b in logs}) == len(logs):
        return []
    return [median(values) for values in logs.values()]


def mean_ratio(logs: Sequence[float]) -> Ratio | None:
    """The geometric mean of ratios; without an interval for fewer than FEWEST_RECORDINGS; None without any."""
    if not logs:
        return None
    if len(logs) < FEWEST_RECORDINGS:
        return Ratio(exp(mean(logs)), None, None)
    return Ratio(*map(exp, paired.mean_interval(logs)))


def ratio_of_rates(a: Alarms, b: Alarms) -> Ratio | None:
    """The ratio of the false-alarm rates, B over A; None if they cannot be counted."""
    if not (a.minutes and b.minutes):
        return None
    if a.common is not None:
        return Ratio(*paired.ratio_of_common(len(a.common), a.alone, b.alone))
    return Ratio(*paired.rate_ratio(a.count, a.minutes, b.count, b.minutes))


def made_tests(
    pairs: Sequence[Pair], a: Alarms, b: Alarms, *, alarms_chosen: bool, same_settings: bool
) -> tuple[ComparedTest, ...]:
    """Make the tests of the three questions.

    alarms_chosen: the thresholds were chosen to give these very recordings one rate.  same_settings: of the tracker,
    apart from the threshold.
    """
    questions = [_found(pairs), _alarms(a, b, alarms_chosen), _score(pairs, a.common is None, same_settings)]
    tested = [p for _, p, _, _ in questions if p is not None]
    adjusted = iter(paired.holm(tested))
    tests = []
    for question, p, higher, not_tested in questions:
        p_holm = None if p is None else next(adjusted)
        different = p_holm is not None and p_holm <= paired.ALPHA
        tests.append(ComparedTest(question, p, p_holm, different, higher, not_tested))
    return tuple(tests)


_Question = tuple[str, float | None, str, str]  # question, p value, the higher side, why there is no p value


def _higher(value_a: float, value_b: float) -> str:
    return "A" if value_a > value_b else "B" if value_b > value_a else ""


def _found(pairs: Sequence[Pair]) -> _Question:
    if not pairs:
        return FOUND, None, "", "no passes are paired"
    _, only_a, only_b, _ = found_counts(pairs)
    p = paired.sign_flip([difference for difference, _ in visit_differences(pairs)])
    return FOUND, p, _higher(only_a, only_b), ""


def _alarms(a: Alarms, b: Alarms, chosen: bool) -> _Question:
    if not (a.minutes and b.minutes):
        return FALSE_ALARMS, None, "", "they cannot be counted"
    if chosen:
        return FALSE_ALARMS, None, "", "the thresholds were chosen for equal rates on these recordings"
    if not a.count + b.count:
        return FALSE_ALARMS, None, "", "there are none"
    if a.common is not None:
        return FALSE_ALARMS, paired.mcnemar(a.alone, b.alone), _higher(a.alone, b.alone), ""
    p = paired.rate_test(a.count, a.minutes, b.count, b.minutes)
    return FALSE_ALARMS, p, _higher(a.count / a.minutes, b.count / b.minutes), ""


def _score(pairs: Sequence[Pair], two_builds: bool, same_settings: bool) -> _Question:
    if not two_builds or not same_settings:
        return SCORE, None, "", "the score is in units of the expected noise, which other settings expect otherwise"
    logs = recording_logs(pairs, lambda alert: alert.score)
    if len(logs) < FEWEST_RECORDINGS:
        return SCORE, None, "", f"at least {FEWEST_RECORDINGS} pairs of recordings are needed"
    return SCORE, paired.mean_test(logs), _higher(0.0, mean(logs)), ""
