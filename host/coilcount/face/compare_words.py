"""The conclusion of a comparison in plain sentences."""

from coilcount.model.compare import FALSE_ALARMS, FOUND, SCORE, ComparedTest, Comparison
from coilcount.model.noise_report import Interval95

SAME_SETTINGS = "A and B are the same settings: all alerts are identical, so there is nothing to compare."


def conclusion(report: Comparison) -> str:
    """One or two plain sentences: what differs, or how large a difference would have been seen."""
    tested = [test for test in report.tests if test.p is not None]
    if not tested:
        return "nothing could be tested; see the reasons above."
    shown = [test for test in tested if test.different]
    if not shown:
        return "no difference could be shown. " + _visible(report)
    text = "; ".join(_shown(test, report) for test in shown) + "."
    found, alarms = report.test(FOUND), report.test(FALSE_ALARMS)
    if found.different and alarms.different and found.higher == alarms.higher:
        text += (
            f" {found.higher} finds more and raises more false alarms, as a lower threshold does: compare again with "
            "--false-alarms-per-minute."
        )
    elif found.different and not alarms.different and report.false_alarms_per_minute is None:
        text += " No difference of the false alarms could be shown."
    return text[0].upper() + text[1:]


def beyond_doubt(report: Comparison) -> list[str]:
    """What else a person should know before believing the conclusion."""
    lines = []
    if report.passes:
        lines.append(_by_object(report))
    if not report.same_recordings and report.passes:
        lines.append(
            "A lower sweep, another speed or another day also changes what is found: sweep in the order A, B, A, B "
            "with the same hand."
        )
    if report.false_alarms_per_minute is not None:
        rate = f"{report.false_alarms_per_minute:g} false alarm{'s' if report.false_alarms_per_minute != 1 else ''}"
        if report.clean:
            lines.append(f"The thresholds for {rate} a minute come from the recordings of --clean.")
        else:
            lines.append(
                f"The thresholds for {rate} a minute come from these very recordings, outside the labels: that is a "
                "little optimistic for both. Better: --clean with recordings without objects."
            )
        lines.append("Each threshold has an uncertainty of its own, which the test of the passes does not know.")
    return lines


def _by_object(report: Comparison) -> str:
    if report.objects == len(report.passes):
        return "Each object was passed once, so the passes are as good as independent."
    text = ""
    if report.visits < len(report.passes):
        text = (
            "Passes over one object in one recording are alike: they are one visit, and count together. Taken one by "
            f"one, the passes give p = {report.p_passes:.2g}; that is too easily small. "
        )
    text += f"The strictest look takes all passes over one object together: p = {report.p_objects:.2g}"
    if report.test(FOUND).different and report.p_objects > 0.05:
        return text + ". The difference may lie in a few objects: use more objects."
    return text + "."


def _shown(test: ComparedTest, report: Comparison) -> str:
    other = "A" if test.higher == "B" else "B"
    if test.question == FOUND:
        a, b = report.a, report.b
        more, fewer = (a, b) if test.higher == "A" else (b, a)
        return f"{more.name} finds more passes than {fewer.name}: {more.found} against {fewer.found} of {more.passes}"
    if test.question == FALSE_ALARMS:
        a, b = report.a, report.b
        more, fewer = (a, b) if test.higher == "A" else (b, a)
        return (
            f"{more.name} raises more false alarms than {fewer.name}: "
            f"{rate_words(more.false_alarms_per_minute.value)} against "
            f"{rate_words(fewer.false_alarms_per_minute.value)} a minute"
        )
    ratio = report.score_ratio
    return f"passes stand out better in {test.higher} than in {other}: score of B over A {ratio.value:.2g}"


def _visible(report: Comparison) -> str:
    parts = []
    if report.test(FOUND).p is not None:
        count = report.visits
        unit = "pass" if count == len(report.passes) else "visit"
        units = {"pass": "passes", "visit": "visits"}[unit]
        of_all = f"with {count} {unit if count == 1 else units}"
        if report.visible_difference is None:
            parts.append(f"{of_all}, even the largest difference would hardly have been seen")
        else:
            parts.append(
                f"{of_all}, a difference in {percent(report.visible_difference)} of the {units} would have been seen "
                "in 8 of 10 comparisons"
            )
    if report.visible_ratio is not None:
        minutes = report.a.false_alarm_minutes + report.b.false_alarm_minutes
        parts.append(
            f"with {minutes:.0f} minutes, false alarms {report.visible_ratio:.2g} times as frequent as the other's"
        )
    elif report.test(FALSE_ALARMS).p is not None and not report.same_recordings:
        parts.append("false alarms are too few to show any ratio")
    ratio = report.score_ratio
    if report.test(SCORE).p is not None and ratio is not None:
        parts.append(f"the score of B is {ratio.low:.2g} to {ratio.high:.2g} times that of A")
    text = "; ".join(parts)
    return text[:1].upper() + text[1:] + "." if text else ""


def percent(share: float) -> str:
    """A share in per cent."""
    return f"{100 * share:.0f} %"


def signed(found: Interval95) -> str:
    """A difference of shares in per cent with its interval."""
    return f"{100 * found.value:+.0f} % ({100 * found.low:+.0f} to {100 * found.high:+.0f} %)"


def rate_words(rate: float) -> str:
    """A rate with two digits."""
    return f"{rate:.2g}"
