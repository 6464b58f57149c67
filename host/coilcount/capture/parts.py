"""Reads the parts of a rotated recording as one stream of entries, as if it had never been rotated."""

import contextlib
import itertools
import os
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path

from coilwire import frame, records

from coilcount.capture.entries import decode
from coilcount.capture.lasting import Lasting, is_hello
from coilcount.capture.reader import KEPT_LINE_NUMBERS, Report, read_capture, read_text
from coilcount.model import End, Entry, Gap, Line

MISSING = "part missing"  # reason of the gap where a part is not there
_LONG_AGO_S = float("-inf")
# How much of the end and of the start of a part is searched for an interval.  Chosen by hand: about a minute of lines.
_TAIL_BYTES = 1 << 18
_FIRST_ENTRIES = 3000


def read_parts(
    paths: Sequence[Path], report: Report, missing: Iterable[int] = (), skim: bool = False
) -> Iterator[Entry]:
    """The entries of all parts in their order: one Header, then everything that was recorded, then the last End.

    paths: the parts, of one recording, in their order.
    report: is filled for all parts together.  Numbers of damaged lines run on from part to part.
    missing: numbers of parts that are not there.  A Gap stands in their place.
    skim: as of read_capture().

    What a part repeats at its start is skipped.  Raises what read_capture() raises.
    """
    if len(paths) == 1:
        yield from read_capture(paths[0], report, skim)
        return
    missing = sorted(missing)
    report.parts = len(paths)
    report.size_bytes = sum(_size(path) for path in paths)
    lasting = Lasting()
    last_s = _LONG_AGO_S  # the latest host time
    number = 0  # of the part
    for path in paths:
        part = Report()
        entries = read_capture(path, part, skim)
        header = next(entries)
        before, number = number, number + 1 if part.header_lost else header.part
        absent = [n for n in missing if before < n < number]
        if absent:
            words = "part " + str(absent[0]) if len(absent) == 1 else "parts " + ", ".join(map(str, absent))
            report.complaints.append(f"{words} missing")
        if path is paths[0]:
            yield header
        else:
            entries = _without_repeats(entries, lasting, last_s)
            if absent:
                entries = _after_a_gap(entries, last_s)
        read_before = report.read_bytes
        for entry in entries:
            report.read_bytes = read_before + part.read_bytes
            if type(entry) is End:
                if path is paths[-1]:
                    yield entry
                continue
            lasting.note(entry)
            last_s = max(last_s, getattr(entry, "host_s", last_s))
            yield entry
        report.read_bytes = read_before + part.read_bytes
        _add(report, part, path)


def _size(path: Path) -> int:
    try:
        return path.stat().st_size
    except OSError:
        return 0  # the error is reported when the part is read


def _without_repeats(entries: Iterator[Entry], lasting: Lasting, last_s: float) -> Iterator[Entry]:
    """Leave out the first entries if they only repeat earlier ones; each is left out at most once.

    An old hello is left out even if the part before has lost it by damage: its uptime would look like a restart.
    """
    repeated = lasting.entries()
    for number, entry in enumerate(entries):
        if entry in repeated:
            repeated.remove(entry)
        elif number or not is_hello(entry) or entry.host_s > last_s:
            yield entry
            break
    yield from entries


def _after_a_gap(entries: Iterator[Entry], last_s: float) -> Iterator[Entry]:
    """Put a Gap in front of the first entry that came after last_s."""
    for entry in entries:
        host_s = getattr(entry, "host_s", last_s)
        if host_s > last_s and type(entry) is not End:
            yield Gap(host_s, last_s, MISSING)
            yield entry
            break
        yield entry
    yield from entries


def _add(report: Report, part: Report, path: Path) -> None:
    """Add what is known of a part to the report on all parts."""
    room = KEPT_LINE_NUMBERS - len(report.damaged_lines)
    report.damaged_lines += [report.lines + number for number in part.damaged_lines[:room]]
    report.lines += part.lines
    report.damaged += part.damaged
    report.unknown += part.unknown
    report.missing += part.missing
    report.torn_tail |= part.torn_tail
    report.header_lost |= part.header_lost
    report.closed, report.status = part.closed, part.status
    report.kinds.update(part.kinds)
    if not part.whole:
        report.complaints.append(f"{os.path.basename(path)}: {part.complaint()}")


def follows_on(earlier: Path, later: Path) -> bool:
    """True if the first interval of a part comes next after the last one of another part, by its sequence number.

    Raises InputError if a file cannot be read.
    """
    tail = b""
    for chunk in read_text(earlier):
        tail = (tail + chunk)[-_TAIL_BYTES:]
    last = None
    for line in tail.split(b"\n")[1:]:
        with contextlib.suppress(ValueError):
            last = _sequence(decode(line), last)
    for entry in itertools.islice(read_capture(later), _FIRST_ENTRIES):
        first = _sequence(entry, None)
        if first is not None:
            return last is not None and first == (last + 1) % records.U16
    return False


def _sequence(entry: Entry | None, other: int | None) -> int | None:
    """The sequence number of an interval; `other` if the entry is none."""
    found = frame.parse(entry.data) if type(entry) is Line else None
    try:
        record = records.read(found) if found else None
    except ValueError:
        record = None
    return record.sequence if type(record) is records.Interval else other
