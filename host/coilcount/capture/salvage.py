"""Copies the undamaged lines of a damaged capture into a new, whole capture."""

import os
from collections.abc import Callable, Iterator

from coilcount.capture.entries import encode
from coilcount.capture.failures import cannot_write
from coilcount.capture.reader import Report, read_lines
from coilcount.model import End
from coilcount.new_files import new_file


def salvage(
    path: str | os.PathLike,
    out: str | os.PathLike,
    watched: Callable[[Iterator, Report], Iterator] = lambda lines, report: lines,
) -> int:
    """Copy every undamaged line of a capture, byte for byte, to a new file; returns their number without the header.

    path: the damaged capture; out: the new file; watched: may see the lines and the report pass, to show progress.
    Raises InputError if `out` exists or cannot be made, and what read_capture() raises.
    """
    report = Report()
    lines = watched(read_lines(path, report), report)
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
