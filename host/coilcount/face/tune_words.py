"""The sentences of `coilcount tune`: what was chosen, what the data cannot say, and the origin of a settings file."""

from collections.abc import Sequence

from coilcount.model import AnswerCounts, Interval95, Outcome, TuneReport

FACTOR = 3.0  # a rate counts as known, or as reached, if it is within this factor
WIDE = 0.4  # an interval of a share that is wider than this says nearly nothing; chosen by hand
CHANCE = 0.01  # false alarms are called uneven if chance alone spreads them so less often than this; chosen by hand


def known(outcome: Outcome) -> bool:
    """Return True if the 95 % interval of the rate lies within a factor of 3 of it."""
    rate = outcome.rate
    return rate is not None and 0 < rate.value <= FACTOR * rate.low and rate.high <= FACTOR * rate.value


def reached(outcome: Outcome, per_minute: float) -> bool:
    """Return True if the measured rate is within a factor of 3 of `per_minute`."""
    rate = outcome.rate
    return rate is not None and per_minute / FACTOR <= rate.value <= FACTOR * per_minute


def honest(report: TuneReport) -> Outcome | None:
    """The outcome to believe: of the recordings left out, else of those that the threshold was chosen on."""
    if report.cross is not None and report.cross.outcome.rate is not None:
        return report.cross.outcome
    return report.chosen.outcome if report.chosen is not None else None


def outcome_words(outcome: Outcome) -> str:
    """Write an outcome as "0.93 false alarms a minute (0.71 to 1.2), 180 of 240 passes found, 75 % (69 to 80 %)"."""
    rate, share = outcome.rate, outcome.share
    words = "no minutes without objects"
    if rate is not None:
        words = f"{rate.value:.2g} false alarms a minute ({rate.low:.2g} to {rate.high:.2g})"
    if share is None:
        return f"{words}, no passes over objects"
    passes = count_words(outcome.passes, "pass", "es")
    return f"{words}, {outcome.found} of {passes} found, {100 * share.value:.0f} % ({percents(share)})"


def rate_words(asked_per_minute: float) -> str:
    """Write a rate that is asked for as "at most 1 false alarm a minute"."""
    return f"at most {_alarms(asked_per_minute)} a minute"


def proposal(report: TuneReport) -> str:
    """Which rate to ask for in place of a fixed threshold."""
    wanted = _alarms(report.false_alarms_per_minute)
    if report.proposed_rate is None:
        return f"None of these rates keeps {wanted} a minute here."
    return (
        f"To leave the thresholds to the tracker, ask for {rate_words(report.proposed_rate)}. That is the highest of "
        f"these rates that keeps {wanted} a minute here (--false-alarms {report.proposed_rate:g})."
    )


def _alarms(number: float) -> str:
    return f"{number:g} false alarm{'' if number == 1 else 's'}"


def percents(share: Interval95 | None) -> str:
    """Write the interval of a share as "69 to 80 %"; a dash for None."""
    return "–" if share is None else f"{100 * share.low:.0f} to {100 * share.high:.0f} %"


def count_words(count: int, noun: str, plural: str = "s") -> str:
    """Write "1 pass" or "3 passes"."""
    return f"{count} {noun}{'' if count == 1 else plural}"


def cautions(report: TuneReport) -> list[str]:
    """What the recordings cannot say, and what is strange in them; one sentence or two each."""
    wanted = report.false_alarms_per_minute
    found = []
    if report.cross is None:
        found.append(
            f"Only one {report.by}: the choice could not be checked on others, so its figures are too good. "
            + ("Give several recordings." if report.by == "recording" else "Give several sites, or use --by recording.")
        )
    outcome = honest(report)
    if outcome is not None and outcome.rate is not None:
        found += _rate_cautions(report, outcome, wanted)
    share = report.in_force.outcome.share
    if share is not None and share.high - share.low > WIDE:
        passes = count_words(report.in_force.outcome.passes, "pass", "es")
        found.append(
            f"Too few passes to know the share found: of {passes}, the settings in force find {percents(share)}."
        )
    if share is None:
        found.append("The labels name no objects: nothing is known of detections and answers.")
    else:
        answers = report.answers if report.cross is None else report.cross.answers
        found += [
            f"No found pass is labelled {row.response}: how often such an object is called "
            f"{'non-ferrous' if row.response == 'ferrous' else 'ferrous'} is not known."
            for row in answers
            if not row.found
        ]
    outside = sum(recording.left_out for recording in report.recordings)
    if outside:
        found.append(
            f"{count_words(outside, 'label')} not used: outside the recording, in a gap or in the warm-up, so that no "
            "threshold could find them."
        )
    return found


def _rate_cautions(report: TuneReport, outcome: Outcome, wanted: float) -> list[str]:
    found = []
    rate = outcome.rate
    if not known(outcome):
        found.append(
            f"Too few data to know {wanted:g} a minute: {count_words(outcome.false_alarms, 'false alarm')} in "
            f"{outcome.minutes:.1f} minutes, so the rate lies between {rate.low:.2g} and {rate.high:.2g} a minute. It "
            f"is usually known within a factor of 3 from {report.minutes_needed:.0f} minutes without objects."
        )
    chosen = report.chosen
    if chosen is not None and chosen.threshold == report.curve[0].threshold:
        found.append(
            f"Even the lowest threshold that was tried, {chosen.threshold:g}, gives no more false alarms than "
            f"{wanted:g} a minute."
        )
    elif known(outcome) and not reached(outcome, wanted):
        found.append(
            f"On recordings that were left out of the choice, the rate of {wanted:g} a minute was not reached within a "
            "factor of 3."
        )
    cross = report.cross
    if cross is None:
        return found
    lost = [group.group for group in cross.groups if group.outcome is None]
    if lost:
        found.append(f"No threshold keeps the rate if these are left out: {', '.join(lost)}.")
    if cross.even is not None and cross.even < CHANCE:
        judged = [group for group in cross.groups if group.outcome is not None and group.outcome.rate is not None]
        most = max(judged, key=lambda group: group.outcome.rate.value)
        found.append(
            f"The false alarms are spread unevenly over the {report.by}s (by chance in {cross.even:.2g} of cases). The "
            f"rate elsewhere may lie outside the interval; the highest is {most.outcome.rate.value:.2g} a minute in "
            f"{most.group}."
        )
    return found


def answer_sentences(rows: Sequence[AnswerCounts]) -> list[str]:
    """How often one response is called the other, and what "uncertain" costs and saves; nothing for no passes."""
    from_name = {"ferrous": "non_ferrous", "non-ferrous": "ferrous"}
    found = []
    for row in rows:
        if row.found:
            wrong = getattr(row, from_name[row.response])
            found.append(
                f"{row.response} called {from_name[row.response].replace('_', '-')}: {wrong} of {row.found}; by the "
                f"sign alone {wrong + row.uncertain_wrong}"
            )
    right = sum(row.uncertain_right for row in rows)
    wrong = sum(row.uncertain_wrong for row in rows)
    if any(row.uncertain for row in rows):
        found.append(
            f'"uncertain" saves {count_words(wrong, "wrong answer")} and costs {count_words(right, "right one")}'
        )
    return found


def settings_comments(report: TuneReport) -> list[str]:
    """Where a settings file comes from, for its first lines.  The report must have a chosen threshold."""
    minutes = sum(recording.minutes for recording in report.recordings)
    recordings = count_words(len(report.recordings), "recording") + (", simulated" if report.simulated else "")
    lines = [
        f"Chosen by coilcount tune {report.version} from {recordings}, {minutes:.1f} minutes without objects.",
        f"False alarms a minute asked for: {report.false_alarms_per_minute:g}.  All intervals are 95 %.",
        f"On these recordings: {outcome_words(report.chosen.outcome)}.",
    ]
    if report.cross is not None:
        lines.append(f"On recordings left out by {report.by}: {outcome_words(report.cross.outcome)}.")
    changed = report.candidates[report.best].changed
    if changed:
        lines.append(f"Best of {len(report.candidates)} settings tried; changed: {', '.join(changed)}.")
    lines.append(f"Started from the settings with SHA-256 {report.settings_sha256}.")
    lines += cautions(report)
    lines.append("Recordings, with the SHA-256 of each file:")
    for recording in report.recordings:
        lines += [f"  {recording.start_utc}  {recording.file}", *(f"    {digest}" for digest in recording.sha256)]
    return lines
