"""How long a capture is, before it is read: from its first and its last entry."""

import gzip
import os
import zlib
from collections.abc import Iterator

from coilcount.capture.entries import NewerSchema, decode
from coilcount.model import Header

# Bytes at the end of the file in which the last whole entry is searched, and of a step through a compressed file.
# Chosen by hand; the longest line is a header with a plan inside, and no capture ends with one.
_END_BYTES = 1 << 16
_STEP_BYTES = 1 << 20


def about_length_s(path: str | os.PathLike) -> float | None:
    """The seconds from the first entry to the last one by the recorded times; None if they cannot be read.

    A plain file is read at its two ends only, a compressed one is inflated as a whole.  Raises nothing: whoever reads
    the capture afterwards reports what is wrong with it.
    """
    try:
        start, end = _ends(path)
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
        file.seek(0)
        start = end = b""
        with gzip.open(file) as inflated:
            try:
                while step := inflated.read(_STEP_BYTES):
                    start = start or step[:_END_BYTES]
                    end = (end + step)[-_END_BYTES:]
            except (EOFError, zlib.error, gzip.BadGzipFile):
                pass  # a cut file: what is there counts
        return start, end


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
