"""How long a capture is, before it is read: from its first and its last entry."""

import itertools
import os
import zlib
from collections.abc import Iterator
from typing import IO

from coilcount.capture.entries import NewerSchema, decode
from coilcount.model import Header

# Bytes at each end of the file in which a whole entry is searched, and of a step through a compressed file.  Chosen by
# hand.
_END_BYTES = 1 << 16


def about_length_s(path: str | os.PathLike, last_part: str | os.PathLike | None = None) -> float | None:
    """The seconds from the first entry to the last one by the recorded times; None if they cannot be read.

    last_part: the last part, if the recording has several; `path` is then the first one.

    A plain file is read at its two ends only, a compressed one is inflated as a whole.  Raises nothing: whoever reads
    the capture afterwards reports what is wrong with it.
    """
    try:
        start, end = _ends(path)
        if last_part is not None:
            end = _ends(last_part)[1]
    except OSError:
        return None
    first = next(_times(start.splitlines()), None)
    last = next(_times(reversed(end.splitlines())), None)
    return None if first is None or last is None else max(0.0, last - first)


def _ends(path: str | os.PathLike) -> tuple[bytes, bytes]:
    with open(path, "rb") as file:
        start = file.read(_END_BYTES)
        if not start.startswith(b"\x1f\x8b"):
            file.seek(max(0, os.fstat(file.fileno()).st_size - _END_BYTES))
            return start, file.read()
        end = b""
        file.seek(0)
        inflated = _inflated(file)
        start = next(inflated, b"")
        for part in itertools.chain([start], inflated):
            end = (end + part)[-_END_BYTES:]
        return start, end


def _inflated(file: IO[bytes]) -> Iterator[bytes]:
    """The text of all gzip members; of a damaged file the part before the damage."""
    inflater = zlib.decompressobj(wbits=31)
    try:
        while data := file.read(_END_BYTES):
            while data:
                yield inflater.decompress(data)
                data = inflater.unused_data
                if inflater.eof:
                    inflater = zlib.decompressobj(wbits=31)
    except zlib.error:
        return


def _times(lines: Iterator[bytes]) -> Iterator[float]:
    for line in lines:
        try:
            entry = decode(line)
        except (ValueError, NewerSchema):
            continue
        if type(entry) is Header:
            continue
        time_s = getattr(entry, "time_s", getattr(entry, "host_s", None))
        if time_s is not None:
            yield time_s
