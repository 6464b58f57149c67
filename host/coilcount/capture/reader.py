"""Reads captures, whole or not: what is sound comes out, and a Report says what was not."""

import codecs
import os
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

_CHUNK_BYTES = 1 << 16
# A capture's longest line is its header with a plan inside.  What is longer is damage, taken in pieces so that
# memory stays flat.
_MAX_LINE_BYTES = 1 << 20
# Lines to look at before a file whose first line says nothing is refused.
_HEADER_SEARCH_LINES = 20
_KEPT_LINE_NUMBERS = 20
# Ends of a file that holds all it was to hold, and what the other ends tell.
_WHOLE = ("closed", "rotated", "salvaged")
_CUT_SHORT = {
    "aborted": "an error ended it before its time (aborted)",
    "disk full": "it ended because the disk was full",
    "write failed": "it ended because the disk could not be written",
}


@dataclass
class Report:
    """What the reader met; filled while reading, final when the entries have ended."""

    lines: int = 0  # all lines of the file, sound or not
    damaged: int = 0  # lines inside the file that are no entry
    damaged_lines: list[int] = field(default_factory=list)  # numbers of the first of them, from 1
    unknown: int = 0  # sound lines of a kind that this version does not know
    missing: int = 0  # lines that the End counted and that are not there; below 0: so many were added
    torn_tail: bool = False  # the file stops in the middle of a line
    closed: bool = False  # the last line is an End
    status: str = ""  # of that End
    header_lost: bool = False  # the first line is damaged; the Header is a stand-in
    kinds: Counter = field(default_factory=Counter)  # entries by the names of their classes
    read_bytes: int = 0  # of the file as it lies on the disk
    size_bytes: int = 0  # of the whole file when it was opened

    @property
    def whole(self) -> bool:
        """Nothing is missing that the recording was to hold."""
        ended = self.closed and self.status in _WHOLE
        return ended and not (self.damaged or self.missing or self.torn_tail or self.header_lost)

    def share(self) -> float:
        """How much of the file was read, 0 to 1."""
        return min(1.0, self.read_bytes / self.size_bytes) if self.size_bytes else 0.0

    def complaint(self) -> str:
        """What is wrong, in one phrase; "" where the capture is whole."""
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


def read_capture(path: str | os.PathLike, report: Report | None = None) -> Iterator[Entry]:
    """The entries of a capture (`.gz` as well), the Header first; lines that are no entry are counted in `report`.

    Raises, when the first entry is asked for: InputError where there is no such file, where it is something else
    or of a newer format; DamageError where a capture was begun and nothing of it is left.
    """
    for _, entry in read_lines(path, Report() if report is None else report):
        if entry is not None:
            yield entry


def read_lines(path: str | os.PathLike, report: Report) -> Iterator[tuple[bytes, Entry | None]]:
    """Like read_capture, with the bytes of each sound line (no line feed); None beside one of an unknown kind.

    Where the first line is damaged a stand-in Header comes first, beside b"".
    """
    path = Path(path)
    begun = False
    for raw, complete in _lines(_chunks(path, report)):
        report.lines += 1
        if report.lines == 1:
            raw = raw.removeprefix(codecs.BOM_UTF8)  # an editor's
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
            # Even where all of the content is there: the writer did not get to the end of the line.
            report.torn_tail = True
        elif not sound:
            report.damaged += 1
            if len(report.damaged_lines) < _KEPT_LINE_NUMBERS:
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
    if not begun:
        _refuse(path)


def _refuse(path: Path) -> None:
    with open(path, "rb") as file:
        start = file.read(64)
    if not start or FORMAT.encode() in start:
        raise DamageError(
            "the recording stopped before its first line was whole", str(path), "Nothing was recorded; delete the file"
        )
    raise InputError(
        "this is no coilcount capture", str(path), "Give a .ccap file, or turn a CSV log into one with coilcount import"
    )


def _lines(chunks: Iterator[bytes]) -> Iterator[tuple[bytes, bool]]:
    """The lines in chunks, without line feeds, and whether each was ended by one."""
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
    """The text of all gzip members, one after another; zeros behind a member are padding, as gzip tools allow.

    Not the gzip module: of a cut file it withholds the last block, and every sound line counts.
    """
    inflater = zlib.decompressobj(wbits=31)
    try:
        while data:
            before = inflater.copy()
            try:
                yield inflater.decompress(data, _CHUNK_BYTES)
            except zlib.error:
                # Up to the very byte that is damaged.
                for place in range(len(data)):
                    yield before.decompress(data[place : place + 1])
                raise
            if not inflater.eof:
                data = inflater.unconsumed_tail or read()
                continue
            # The member has ended, perhaps with the chunk: what follows is padding, another member, or nothing.
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
