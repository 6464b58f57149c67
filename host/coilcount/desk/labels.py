"""The labels of a recording: where they may lie, and what is odd about them."""

import itertools
import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import timedelta

from coilcount.capture.labels import LabelFile
from coilcount.capture.reader import Report
from coilcount.desk.labels_times import Clock, start_of
from coilcount.desk.recordings import Recording, read_recording
from coilcount.desk.untracked import Untracked
from coilcount.errors import CoilcountError
from coilcount.model import Entry, Header, Imported, Label, MarkMade
from coilcount.readings.intake import Intake

Watched = Callable[[Iterator[Entry], Report], Iterator[Entry]]
# s.  Times in a label file are rounded, so a label may end this long after the last reading.  Chosen by hand.
_SLACK_S = 0.01


@dataclass(frozen=True, slots=True)
class Extent:
    """What a recording covers on its time axis, and the clock that ties the axis to the day.

    end_s is at least that of the recording's first enough_s seconds; see extent_of().
    """

    start_s: float
    end_s: float
    clock: Clock

    def holds(self, label: Label) -> bool:
        """True if the label lies inside the recording."""
        return self.start_s - _SLACK_S <= label.start_s and label.end_s <= self.end_s + _SLACK_S


def extent_of(recording: Recording, enough_s: float = math.inf, watched: Watched | None = None) -> Extent:
    """Read a recording as far as enough_s of its time axis.

    watched: an optional wrapper around the iterator of entries, for a progress display.
    Raises what read_capture() raises.
    """
    report = Report()
    entries = read_recording(recording, report, skim=True)
    if watched is not None:
        entries = watched(entries, report)
    intake = Intake(Untracked())
    header = Header(source="unknown", start_utc="")
    zero_s = None  # host time at t = 0 of the axis
    imported = False
    start_s = 0.0
    for entry in entries:
        intake.feed(entry)
        if type(entry) is Header:
            header = entry
        if not intake.duration_s:
            continue
        if zero_s is None:
            imported = type(entry) is Imported
            zero_s = 0.0 if imported else entry.host_s - intake.duration_s
        if intake.duration_s >= enough_s and not imported:
            break
    intake.finish()
    end_s = intake.duration_s
    if imported:  # the axis of a log begins wherever its times begin
        end_s = intake.time_s(0.0)
        start_s = end_s - intake.duration_s
    begin = start_of(header.start_utc)
    known = begin is not None and zero_s is not None
    return Extent(start_s, end_s, Clock(begin + timedelta(seconds=zero_s) if known else None))


def label_warnings(recording: Recording) -> list[str]:
    """Sentences about the labels beside a recording: proposals that nobody confirmed, and labels that overlap.

    A label file that cannot be read gives none, because whoever uses the labels reports that.
    """
    try:
        file = LabelFile(recording.labels)
    except CoilcountError:
        return []
    warnings = []
    proposals = sum(label.is_proposed for label in file.labels)
    if proposals:
        words = "1 proposal is" if proposals == 1 else f"{proposals} proposals are"
        warnings.append(
            f"{file.proposed_path}: {words} not confirmed and no label; alerts there may count as false alarms"
        )
    return [*warnings, *(f"{file.path}: {text}" for text in overlaps(file.labels))]


def marks_of(recording: Recording, watched: Watched | None = None) -> list[MarkMade]:
    """The marks of a recording, by key and by button, on its time axis.  Raises what read_capture() raises."""
    report = Report()
    entries = read_recording(recording, report, skim=True)
    if watched is not None:
        entries = watched(entries, report)
    intake = Intake(Untracked())
    found = [output for entry in entries for output in intake.feed(entry) if type(output) is MarkMade]
    return found + [output for output in intake.finish() if type(output) is MarkMade]


def overlaps(labels: Sequence[Label]) -> list[str]:
    """A sentence for each pair of neighbouring labels whose times overlap.  Proposals do not count."""
    ordered = sorted((label for label in labels if not label.is_proposed), key=lambda label: label.start_s)
    found = []
    for earlier, later in itertools.pairwise(ordered):
        if later.start_s < earlier.end_s:
            found.append(
                f'the labels "{earlier.object}" at {earlier.closest_s:g} s and "{later.object}" at '
                f"{later.closest_s:g} s overlap; an alert there may belong to either"
            )
    return found
