"""Reads captures, whole or damaged: returns the undamaged entries, and reports the damage."""

import codecs
import os
import re
import zlib
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

from coilcount.capture.entries import FORMAT, NewerSchema, decode
from coilcount.capture.entries import SCHEMA as KNOWN_SCHEMA
from coilcount.capture.failures import cannot_read
from coilcount.errors import DamageError, InputError
from coilcount.model import End, Entry, Header

# Bytes that are read from the disk at once.  Chosen by hand.
_CHUNK_BYTES = 1 << 16
# Bytes.  A longer line is damage, and is taken in pieces so that memory stays bounded.  Chosen by hand: the longest
# line is a header with a plan inside, and schema/toml_text.py limits the plan so that it fits.
_MAX_LINE_BYTES = 1 << 20
# A file without an entry in this many first lines is refused as no capture.  Chosen by hand.
_HEADER_SEARCH_LINES = 20
# How many numbers of damaged lines a report keeps.  Chosen by hand.
KEPT_LINE_NUMBERS = 20
# The line of an interval as a writer makes it.  Only lines that decode() takes fit.
_USUAL_INTERVAL = re.compile(rb'\{"t":(?:0|[1-9][0-9]{0,15})(?:\.[0-9]+)?,"l":"@I,[0-9,]+\*[0-9A-F]{8}"\}')
# The statuses of a capture that is whole, and the meaning of the others.
_WHOLE = ("closed", "rotated", "salvaged")
_CUT_SHORT = {
    "aborted": "an error ended it before its time (aborted)",
    "disk full": "it ended because the disk was full",
    "write failed": "it ended because the disk could not be written",
}


@dataclass
class Report:
    """The state of a capture; filled while it is read, and final after the last entry."""

    lines: int = 0  # all lines of the file, damaged or not
    damaged: int = 0  # lines inside the file that are not entries
    damaged_lines: list[int] = field(default_factory=list)  # numbers of the first of them, from 1
    unknown: int = 0  # undamaged lines of a kind that this version does not know
    missing: int = 0  # lines that the End counted and that are not there; negative if lines were added
    torn_tail: bool = False  # the file stops in the middle of a line
    closed: bool = False  # the last line is an End
    status: str = ""  # of that End
    header_lost: bool = False  # the first line is damaged; the Header is a stand-in
    kinds: Counter = field(default_factory=Counter)  # number of entries by the name of their class
    read_bytes: int = 0  # of the file as it lies on the disk
    size_bytes: int = 0  # of the whole file when it was opened
    parts: int = 1  # number of files, if a recording of several parts was read
    complaints: list[str] = field(default_factory=list)  # of several parts: the damage of each, with its name

    @property
    def whole(self) -> bool:
        """True if the capture was ended in order and nothing is missing or damaged."""
        if self.parts > 1:
            return not self.complaints
        ended = self.closed and self.status in _WHOLE
        return ended and not (self.damaged or self.missing or self.torn_tail or self.header_lost)

    def share(self) -> float:
        """The fraction of the file that was read, 0 to 1."""
        return min(1.0, self.read_bytes / self.size_bytes) if self.size_bytes else 0.0

    def complaint(self) -> str:
        """The damage in one phrase; "" if the capture is whole."""
        if self.parts > 1:
            return "; ".join(self.complaints)
        parts = []
        if self.header_lost:
            parts.append("its first line is missing or damaged")
        if self.damaged:
            parts.append(f"{self.damaged} damaged line{'s' if self.damaged > 1 else ''}")
        if self.missing:
            count, word = abs(self.missing), "missing" if self.missing > 0 else "added or repeated"
            parts.append(f"{count} line{'s' if count > 1 else ''} {word}")
        if self.torn_tail:
            parts.append("it stops in the middle of a line")
        if not self.closed:
            parts.append("it was not closed")
        elif self.status not in _WHOLE:
            parts.append(_CUT_SHORT.get(self.status, f'it ended with "{self.status}"'))
        return ", ".join(parts)


def read_capture(path: str | os.PathLike, report: Report | None = None, skim: bool = False) -> Iterator[Entry]:
    """The entries of a capture (also `.gz`), the Header first.

    report: is filled meanwhile; damaged lines are counted there.
    skim: if True, of each run of intervals only the first and the last are returned, which is quicker.  The report is
    the same.
    Raises when the first entry is asked for: InputError if there is no such file, or if it is not a capture or has a
    newer format; DamageError if it was begun as a capture and no entry of it is left.
    """
    for _, entry in read_lines(path, Report() if report is None else report, skim):
        if entry is not None:
            yield entry


def read_lines(path: str | os.PathLike, report: Report, skim: bool = False) -> Iterator[tuple[bytes, Entry | None]]:
    """Like read_capture(), with the bytes of each undamaged line without its line feed.

    A line of an unknown kind has None for its entry.  If the first line is damaged, a stand-in Header with b"" for its
    bytes comes first.
    """
    path = Path(path)
    begun = False
    usual = _USUAL_INTERVAL.fullmatch
    first_of_run = True
    held = b""  # the latest line of a run that was left out
    for raw, complete in _lines(_chunks(path, report)):
        report.lines += 1
        if skim and begun and complete and usual(raw):
            if not first_of_run:
                held = raw
                report.kinds["Line"] += 1
                continue
            first_of_run = False
        else:
            first_of_run = True
            if held:
                yield held, decode(held)
                held = b""
        if report.lines == 1:
            raw = raw.removeprefix(codecs.BOM_UTF8)  # an editor may have added it
        entry = None
        try:
            entry = decode(raw)
            sound = True
        except NewerSchema as error:
            raise InputError(
                f"this capture has schema {error.args[0]}, and this version reads up to {KNOWN_SCHEMA}",
                str(path),
                "Update coilcount",
            ) from None
        except ValueError:
            sound = False
        if not complete:
            # The line feed is missing, so the line may be cut even if it reads well.
            report.torn_tail = True
        elif not sound:
            report.damaged += 1
            if len(report.damaged_lines) < KEPT_LINE_NUMBERS:
                report.damaged_lines.append(report.lines)
        if not begun:
            if entry is None:
                if report.lines >= _HEADER_SEARCH_LINES:
                    break
                continue
            begun = True
            if type(entry) is not Header:
                report.header_lost = True
                yield b"", Header(source="unknown", start_utc="")
        if not sound:
            continue
        report.closed = type(entry) is End
        if entry is None:
            report.unknown += 1
        else:
            report.kinds[type(entry).__name__] += 1
        if report.closed:
            report.status = entry.status
            report.missing = entry.lines + 1 - report.lines
        yield raw, entry
    if held:
        yield held, decode(held)
    if not begun:
        _refuse(path)


def read_text(path: str | os.PathLike) -> Iterator[bytes]:
    """The bytes of a capture in pieces, uncompressed.  Raises InputError if the file cannot be read."""
    return _chunks(Path(path), Report())


def _refuse(path: Path) -> None:
    with open(path, "rb") as file:
        start = file.read(64)
    if not start or FORMAT.encode() in start:
        raise DamageError(
            "the recording stopped before its first line was whole", str(path), "Nothing was recorded; delete the file"
        )
    raise InputError(
        "this is not a coilcount capture", str(path), "Give a .ccap file, or make one of a CSV log: coilcount import"
    )


def _lines(chunks: Iterator[bytes]) -> Iterator[tuple[bytes, bool]]:
    """The lines in chunks, without line feeds; with each, True if a line feed ended it."""
    tail = b""
    for chunk in chunks:
        pieces = (tail + chunk).split(b"\n")
        tail = pieces.pop()
        for piece in pieces:
            yield piece, True
        if len(tail) > _MAX_LINE_BYTES:
            yield tail, True
            tail = b""
    if tail:
        yield tail, False


def _chunks(path: Path, report: Report) -> Iterator[bytes]:
    try:
        with open(path, "rb") as file:
            report.size_bytes = os.fstat(file.fileno()).st_size

            def read() -> bytes:
                data = file.read(_CHUNK_BYTES)
                report.read_bytes += len(data)
                return data

            data = read()
            if data.startswith(b"\x1f\x8b"):
                yield from _inflated(read, data, report)
                return
            while data:
                yield data
                data = read()
    except OSError as error:
        raise cannot_read(error, path) from None


def _inflated(read: Callable[[], bytes], data: bytes, report: Report) -> Iterator[bytes]:
    """The text of all gzip members, one after another.

    Zeros after a member are padding, as gzip tools allow.  The gzip module is not used, because it does not return the
    last block of a cut file.
    """
    inflater = zlib.decompressobj(wbits=31)
    try:
        while data:
            before = inflater.copy()
            try:
                yield inflater.decompress(data, _CHUNK_BYTES)
            except zlib.error:
                # Again, byte by byte, to get everything before the damaged byte.
                for index in range(len(data)):
                    yield before.decompress(data[index : index + 1])
                raise
            if not inflater.eof:
                data = inflater.unconsumed_tail or read()
                continue
            # The member has ended.  Padding, another member or nothing follows, perhaps in the next chunk.
            data = inflater.unused_data.lstrip(b"\0")
            while not data and (more := read()):
                data = more.lstrip(b"\0")
            if data:
                inflater = zlib.decompressobj(wbits=31)
        yield inflater.flush()
    except zlib.error:
        report.torn_tail = True
    if not inflater.eof:
        report.torn_tail = True
