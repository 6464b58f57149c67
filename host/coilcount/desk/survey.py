"""Lists the contents of a recording, and whether it is whole.

Times and counts are those of a replay, but no tracker runs.
"""

import os
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

from coilcount.capture.ends import Ends
from coilcount.capture.reader import Report
from coilcount.desk.mended import Mended
from coilcount.desk.recordings import Recording, read_recording
from coilcount.model import Entry, Header, MarkMade, Operator, Output, Silence
from coilcount.readings.intake import Intake

# Number of marks, gaps and operator actions that are listed from either end.  Those between are only counted.
# Chosen by hand.
_LISTED = 500


def _ends() -> Ends:
    return Ends(_LISTED)


@dataclass
class Survey:
    """The contents of one recording.  Times are on the time axis of its readings, as in a replay.

    Each list keeps only its first and last 500 items; its left_out counts the others.
    """

    report: Report
    header: Header
    duration_s: float = 0.0  # from the first reading to the end of the last, gaps included
    records: int = 0  # interval sums and imported readings
    lost: int = 0  # records missing from the sequence
    dropped: int = 0  # records that the board itself dropped, by its count since the first status of each boot
    damaged: int = 0  # lines or readings of ours that could not be used
    mended: int = 0  # readings that jumped further than a pass can
    repaired: int = 0  # miscounted edges removed from raw sums
    faults: dict[str, int] = field(default_factory=dict)  # intervals that the board flagged, by fault
    text_lines: int = 0  # received lines that were not frames
    kinds: dict[str, int] = field(default_factory=dict)  # sound records by kind
    boots: int = 0  # number of starts of a board
    hello: dict | None = None  # fields of the latest hello
    marks: Ends = field(default_factory=_ends)  # MarkMade, by key or button
    operator: Ends = field(default_factory=_ends)  # (time_s, Operator): all actions of the operator
    gaps: Ends = field(default_factory=_ends)  # Silence


def survey(
    recording: Recording | str | os.PathLike,
    watched: Callable[[Iterator[Entry], Report], Iterator[Entry]] | None = None,
) -> Survey:
    """Read a recording once and list its contents.

    recording: all parts of it, or the path of one capture.
    watched: an optional wrapper around the iterator of entries, for a progress display.
    Raises what read_capture raises.
    """
    if not isinstance(recording, Recording):
        recording = Recording((Path(recording),))
    report = Report()
    entries = read_recording(recording, report)
    if watched is not None:
        entries = watched(entries, report)
    mended = Mended()
    intake = Intake(mended)
    result = Survey(report, next(entries))
    _note(result, intake.feed(result.header))
    for entry in entries:
        if type(entry) is Operator:
            result.operator.append((intake.time_s(entry.host_s), entry))
        outputs = intake.feed(entry)
        if outputs:
            _note(result, outputs)
    _note(result, intake.finish())
    silence = intake.open_gap()
    if silence is not None:
        result.gaps.append(silence)
    mended.finish()
    link = intake.link
    result.duration_s = intake.duration_s
    result.records, result.lost, result.dropped, result.damaged = link.records, link.lost, link.dropped, link.damaged
    result.mended, result.repaired = mended.mended, mended.repaired
    result.faults, result.text_lines, result.kinds = dict(link.faults), link.text, dict(link.kinds)
    result.boots = intake.boots
    result.hello = intake.board._asdict() if intake.board else None
    return result


def _note(result: Survey, outputs: list[Output]) -> None:
    for output in outputs:
        if type(output) is MarkMade:
            result.marks.append(output)
        elif type(output) is Silence:
            result.gaps.append(output)
