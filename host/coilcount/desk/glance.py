"""Looks through a recording for a list of many: when, how long, which coil, whether it is whole.  No tracker runs."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from coilcount.capture.labels import LabelFile
from coilcount.capture.reader import Report
from coilcount.desk.recordings import Recording, read_recording
from coilcount.desk.untracked import Untracked
from coilcount.errors import CoilcountError
from coilcount.model import Entry, Header, MarkMade
from coilcount.readings.intake import Intake

Watched = Callable[[Iterator[Entry], Report], Iterator[Entry]]
# Names of notes that are about the soil, the most exact first.  `record --note` writes "note".
_SOIL_NOTES = ("soil", "place", "note", "title", "scene")


@dataclass(frozen=True, slots=True)
class LabelCounts:
    """The labels beside a recording, counted.

    path: "" if there is no label file; objects: labels with something to find, by response; nothing: labels without;
    proposed: labels that nobody has confirmed; problem: why the file cannot be read, "" if it can.
    """

    path: str = ""
    objects: int = 0
    by_response: tuple[tuple[str, int], ...] = ()
    nothing: int = 0
    proposed: int = 0
    problem: str = ""


@dataclass(frozen=True, slots=True)
class Glance:
    """One row of a list of recordings.

    duration_s: from the first reading to the end of the last, as in a replay; marks: by key and by button;
    complaint: the damage in one phrase, "" if the recording is whole; problem: why it cannot be read at all, "" if it
    can.
    """

    recording: Recording
    header: Header | None
    duration_s: float = 0.0
    marks: int = 0
    complaint: str = ""
    problem: str = ""
    labels: LabelCounts = LabelCounts()

    @property
    def soil(self) -> str:
        """What the notes say about the soil or the place."""
        notes = {} if self.header is None else self.header.notes
        return next((notes[name] for name in _SOIL_NOTES if isinstance(notes.get(name), str)), "")

    @property
    def build(self) -> str:
        """The name of the plan file that was given while recording."""
        return build_name(self.header)


def build_name(header: Header | None) -> str:
    """The name of the plan in a header, without its ending; "" if there is none."""
    build = None if header is None else header.build
    file = build.get("file") if isinstance(build, dict) else None
    return file.removesuffix(".toml") if isinstance(file, str) else ""


def glance(recording: Recording, watched: Watched | None = None) -> Glance:
    """Look through one recording.  Raises nothing: what cannot be read is in `problem`.

    watched: an optional wrapper around the iterator of entries, for a progress display.
    """
    labels = count_labels(recording)
    report = Report()
    intake = Intake(Untracked())
    header = None
    marks = 0
    try:
        # Skimming is quicker, and the time base bridges the intervals that are left out.
        entries = read_recording(recording, report, skim=True)
        if watched is not None:
            entries = watched(entries, report)
        for entry in entries:
            if header is None:
                header = entry
            marks += sum(type(output) is MarkMade for output in intake.feed(entry))
        marks += sum(type(output) is MarkMade for output in intake.finish())
    except CoilcountError as error:
        return Glance(recording, header, problem=str(error), labels=labels)
    complaint = "" if report.whole else report.complaint()
    return Glance(recording, header, intake.duration_s, marks, complaint, labels=labels)


def count_labels(recording: Recording) -> LabelCounts:
    """Count the labels beside a recording.  Raises nothing."""
    path = str(recording.labels) if recording.labels.exists() else ""
    try:
        labels = LabelFile(recording.labels).labels
    except CoilcountError as error:
        return LabelCounts(path, problem=str(error))
    confirmed = [label for label in labels if not label.is_proposed]
    responses = [label.response for label in confirmed if label.is_object]
    return LabelCounts(
        path,
        len(responses),
        tuple((word, responses.count(word)) for word in sorted(set(responses))),
        len(confirmed) - len(responses),
        len(labels) - len(confirmed),
    )
