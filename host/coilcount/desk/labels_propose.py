"""Proposes labels: turns the alerts and the marks of a recording into spans that a person confirms."""

from collections.abc import Callable, Iterator, Sequence

from coilcount.capture.reader import Report
from coilcount.chain import Chain
from coilcount.desk.recordings import Recording, read_recording
from coilcount.desk.scoring import belongs
from coilcount.model import PROPOSED, Alert, Entry, Label, MarkMade
from coilcount.settings import Settings

Watched = Callable[[Iterator[Entry], Report], Iterator[Entry]]
# All in seconds and chosen by hand.
TOGETHER_S = 1.0  # alerts within this time of the first are one pass and its side lobes
MARK_AFTER_S = 5.0  # a mark belongs to the latest pass that peaked at most this long before it
BEFORE_MARK_S = 3.0  # a mark that belongs to no alert is taken for a pass within this time before it


def propose(
    recording: Recording,
    settings: Settings,
    labels: Sequence[Label],
    watched: Watched | None = None,
    report: Report | None = None,
) -> list[Label]:
    """Run the tracker over a recording and return a proposal for each pass that no label covers yet.

    settings: those of the tracker; rates and thresholds that the operator set while recording are ignored.
    labels: all labels that there are, proposals too.
    watched: an optional wrapper around the iterator of entries, for a progress display.
    report: is filled while the recording is read; damage is counted there.
    Raises what read_capture() raises.
    """
    report = Report() if report is None else report
    entries = read_recording(recording, report)
    if watched is not None:
        entries = watched(entries, report)
    chain = Chain(settings, follow_operator=False)
    alerts: list[Alert] = []
    marks: list[MarkMade] = []

    def take(outputs):
        alerts.extend(output for output in outputs if type(output) is Alert and output.stage == "final")
        marks.extend(output for output in outputs if type(output) is MarkMade)

    for entry in entries:
        take(chain.feed(entry))
    take(chain.finish())
    end_s = chain.duration_s
    passes = _passes(alerts)
    texts: dict[int, list[str]] = {}
    found = []
    for mark in marks:
        near = [
            k for k, alerts in enumerate(passes) if -TOGETHER_S <= mark.time_s - _peak(alerts).peak_s <= MARK_AFTER_S
        ]
        if near:
            texts.setdefault(near[-1], []).append(mark.text)
        else:
            start_s = max(0.0, mark.time_s - BEFORE_MARK_S)
            closest_s = 0.5 * (start_s + mark.time_s)
            found.append(_proposal(start_s, mark.time_s, closest_s, f"mark: {mark.text}"))
    for number, together in enumerate(passes):
        if any(belongs(alert, label) for alert in together for label in labels):
            continue
        peak = _peak(together)
        start_s = min(alert.peak_s - alert.width_s for alert in together)
        last_s = max(alert.peak_s + alert.width_s for alert in together)
        note = "; ".join(
            [
                f"suggests {peak.response}, score {peak.score:.1f}, {peak.peak_shift_ppm:+.2f} ppm, "
                f"alert {' and '.join(str(alert.id) for alert in together)}",
                *(f"mark: {text}" for text in texts.get(number, ())),
            ]
        )
        found.append(_proposal(max(0.0, start_s), min(last_s, max(end_s, peak.peak_s)), peak.peak_s, note))
    known = {(label.start_s, label.end_s, label.closest_s) for label in labels}
    return [
        label
        for label in sorted(found, key=lambda label: label.closest_s)
        if (label.start_s, label.end_s, label.closest_s) not in known
        and not any(other.start_s <= label.closest_s <= other.end_s for other in labels)
    ]


def _passes(alerts: Sequence[Alert]) -> list[list[Alert]]:
    """The alerts in groups of one pass each, in the order of time."""
    groups: list[list[Alert]] = []
    for alert in sorted(alerts, key=lambda alert: alert.peak_s):
        if groups and alert.peak_s - groups[-1][0].peak_s <= TOGETHER_S:
            groups[-1].append(alert)
        else:
            groups.append([alert])
    return groups


def _peak(alerts: Sequence[Alert]) -> Alert:
    return max(alerts, key=lambda alert: alert.score)


def _proposal(start_s: float, end_s: float, closest_s: float, note: str) -> Label:
    """A label that nobody has confirmed, in whole milliseconds."""
    closest_s = round(closest_s, 3)
    return Label(min(round(start_s, 3), closest_s), max(round(end_s, 3), closest_s), closest_s, PROPOSED, note=note)
