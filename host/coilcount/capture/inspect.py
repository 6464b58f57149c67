"""What a capture holds and whether it is whole; and the sound lines of one that is not."""

import os
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Any

from coilwire import frame, records

from coilcount.capture.ends import Ends
from coilcount.capture.entries import encode
from coilcount.capture.failures import cannot_write
from coilcount.capture.reader import Report, read_capture, read_lines
from coilcount.model import End, Entry, Gap, Header, Imported, Line, Operator
from coilcount.new_files import new_file

# A sequence that steps further than this, or not at all, is a board that began anew, not loss.
_NEW_START_STEPS = 100
# Of marks, of gaps and of what the operator did: so many from either end are listed, the others counted.
_LISTED = 500
# Kinds of frame that are counted by name: this version knows nine, and junk may pass for thousands.
_MOST_KINDS = 100
OTHER_KINDS = "others"


def _ends() -> Ends:
    return Ends(_LISTED)


@dataclass
class Survey:
    """The contents of one capture.  Times are host seconds, those of imported readings their own.

    Of the lists only the first and last 500 are kept, and their left_out counts the others.
    """

    report: Report
    header: Header
    first_s: float | None = None
    last_s: float | None = None
    records: int = 0  # interval sums and imported readings
    lost: int = 0  # by the sequence numbers; of imported readings by their times
    dropped: int = 0  # by the board's own count since the first status of each boot
    damaged_frames: int = 0  # lines of the link that were meant as frames and are not sound
    faults: dict[str, int] = field(default_factory=dict)  # intervals that the board flagged, by what went wrong
    text_lines: int = 0  # lines of the link that were no frames
    kinds: dict[str, int] = field(default_factory=dict)  # sound frames by kind; beyond a hundred kinds as OTHER_KINDS
    boots: int = 0  # different boot numbers
    hello: dict | None = None  # the latest, by field
    marks: Ends = field(default_factory=_ends)  # (host_s, text), by key and by button
    operator: Ends = field(default_factory=_ends)  # Operator entries: all that the operator did
    gaps: Ends = field(default_factory=_ends)  # Gap entries

    @property
    def duration_s(self) -> float:
        return 0.0 if self.first_s is None else self.last_s - self.first_s


def survey(
    path: str | os.PathLike,
    watch: Callable[[Any], None] = lambda _: None,
    watched: Callable[[Iterator[Entry], Report], Iterator[Entry]] | None = None,
) -> Survey:
    """Reads a capture once; `watched` may see the entries pass.  Raises what read_capture raises.

    watch: called with the Header and each reading (a coilwire Interval or an Imported), Hello and Gap, in their order.
    """
    report = Report()
    entries = read_capture(path, report)
    if watched is not None:
        entries = watched(entries, report)
    result = Survey(report, next(entries))
    link = _Link(result, watch)
    watch(result.header)
    for entry in entries:
        match entry:
            case Line():
                link.line(entry)
                _seen(result, entry.host_s)
            case Imported():
                watch(entry)
                result.records += 1
                result.lost += _rows_left_out(result, entry)
                _seen(result, entry.time_s)
            case Operator():
                result.operator.append(entry)
                if entry.action == "mark":
                    result.marks.append((entry.host_s, entry.text))
            case Gap():
                watch(entry)
                result.gaps.append(entry)
                _seen(result, entry.host_s)
    return result


def salvage(path: str | os.PathLike, out: str | os.PathLike) -> int:
    """Copies every sound line of a capture, byte for byte, to a new file and closes it; returns their number.

    Raises InputError where `out` exists or cannot be made.
    """
    report = Report()
    lines = read_lines(path, report)
    first, header = next(lines)
    last_s = 0.0
    count = 0
    try:
        with new_file(out, "wb") as file:
            file.write((first or encode(header).rstrip(b"\n")) + b"\n")
            for raw, entry in lines:
                if type(entry) is End:
                    continue
                file.write(raw + b"\n")
                count += 1
                last_s = max(last_s, getattr(entry, "host_s", 0.0))
            file.write(encode(End(last_s, "salvaged", count + 1)))
    except OSError as error:
        raise cannot_write(error, out) from None
    return count


class _Link:
    """Counts what the lines of the link say."""

    def __init__(self, result: Survey, watch: Callable[[Any], None]) -> None:
        self._result = result
        self._watch = watch
        self._sequence: int | None = None
        self._boot: int | None = None
        self._dropped: int | None = None

    def line(self, entry: Line) -> None:
        result = self._result
        wire_frame = frame.parse(entry.data)
        if wire_frame is None:
            if frame.why(entry.data) == "text":
                result.text_lines += bool(entry.data.strip())
            else:
                result.damaged_frames += 1
            return
        try:
            record = records.read(wire_frame)
        except ValueError:
            result.damaged_frames += 1
            return
        kind = wire_frame.kind
        if kind not in result.kinds and len(result.kinds) >= _MOST_KINDS:
            kind = OTHER_KINDS
        result.kinds[kind] = result.kinds.get(kind, 0) + 1
        match record:
            case records.Interval():
                self._watch(record)
                result.records += 1
                self._count_lost(record)
                for word in records.faults(record.flags):
                    result.faults[word] = result.faults.get(word, 0) + 1
            case records.Hello():
                self._watch(record)
                if record.boot != self._boot:
                    result.boots += 1
                    self._boot, self._sequence, self._dropped = record.boot, None, None
                result.hello = record._asdict()
            case records.Status():
                if self._dropped is not None:
                    result.dropped += (record.dropped - self._dropped) % records.U32
                self._dropped = record.dropped
            case records.Mark():
                result.marks.append((entry.host_s, f"button {record.number}"))

    def _count_lost(self, record: records.Interval) -> None:
        if self._sequence is not None:
            step = (record.sequence - self._sequence) % records.U16
            if 0 < step <= _NEW_START_STEPS:
                self._result.lost += step - 1
        self._sequence = record.sequence


def _rows_left_out(result: Survey, entry: Imported) -> int:
    interval_s = result.header.interval_s
    if result.last_s is None or not interval_s:
        return 0
    steps = round((entry.time_s - result.last_s) / interval_s)
    return steps - 1 if 0 < steps <= _NEW_START_STEPS else 0


def _seen(result: Survey, time_s: float) -> None:
    if result.first_s is None:
        result.first_s = result.last_s = time_s
    result.last_s = max(result.last_s, time_s)
