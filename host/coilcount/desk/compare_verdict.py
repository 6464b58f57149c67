"""The tests of a comparison, and the ratios beside them.

The verdict is fixed before anything is looked at.  It asks up to three questions:

- passes found: the exact McNemar test on the paired passes
- false alarms: the exact conditional test of two rates; with the same recordings the exact McNemar test on the alarms
  that only one of the two settings raises
- score, for two builds with the same settings: the sign test on the objects that both found

Together they report a difference where there is none in at most 5 % of all comparisons (Holm's method).  All other
figures describe, and decide nothing.
"""

from collections import defaultdict
from collections.abc import Callable, Sequence
from math import exp, log
from statistics import median

from coilcount.desk import paired
from coilcount.desk.compare_alarms import Alarms
from coilcount.desk.compare_pairs import ObjectKey, Pair
from coilcount.model import Alert
from coilcount.model.compare import FALSE_ALARMS, FOUND, SCORE, ComparedTest, RatioOfRates
from coilcount.model.noise_report import Interval95


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
    differences: dict[ObjectKey, int] = defaultdict(int)
    for of_a, of_b in pairs:
        differences[of_a.object] += of_b.judged.found - of_a.judged.found
    return list(differences.values())


def object_logs(pairs: Sequence[Pair], size: Callable[[Alert], float]) -> list[float]:
    """For each object with passes that both found, the median of log(size in B / size in A)."""
    logs: dict[ObjectKey, list[float]] = defaultdict(list)
    for of_a, of_b in pairs:
        alert_a, alert_b = of_a.judged.alert, of_b.judged.alert
        if alert_a is not None and alert_b is not None and size(alert_a) > 0 and size(alert_b) > 0:
            logs[of_a.object].append(log(size(alert_b) / size(alert_a)))
    return [median(values) for values in logs.values()]


def median_ratio(logs: Sequence[float]) -> Interval95 | None:
    """The median ratio over the objects, with the interval of the sign test; None for fewer than 6 objects."""
    found = paired.median_interval(logs)
    return None if found is None else Interval95(*map(exp, found))


def ratio_of_rates(a: Alarms, b: Alarms) -> RatioOfRates | None:
    """The ratio of the false-alarm rates, B over A; None if they cannot be counted."""
    if not (a.minutes and b.minutes):
        return None
    if a.common is not None:
        return RatioOfRates(*paired.ratio_of_common(len(a.common), a.alone, b.alone))
    return RatioOfRates(*paired.rate_ratio(a.count, a.minutes, b.count, b.minutes))


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
    return FOUND, paired.mcnemar(only_a, only_b), _higher(only_a, only_b), ""


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
    logs = object_logs(pairs, lambda alert: alert.score)
    fewest = paired.fewest_for(paired.ALPHA)
    if len(logs) < fewest:
        return SCORE, None, "", f"both found {len(logs)} different objects, and at least {fewest} are needed"
    return SCORE, paired.sign_test(logs), _higher(0.0, median(logs)), ""
