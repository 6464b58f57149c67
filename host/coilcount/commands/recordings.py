"""The FILE arguments of the desk's commands: captures, and folders of captures."""

import argparse
import sys
from collections.abc import Callable, Iterator, Sequence
from typing import Any

from coilcount.errors import EXIT_DONE, EXIT_INPUT, CoilcountError, InputError
from coilcount.face.say import warn

HELP = "captures (.ccap or .ccap.gz), or folders that hold captures"


def add_recordings(parser: argparse.ArgumentParser) -> None:
    """FILE...: captures and folders."""
    parser.add_argument("files", nargs="+", metavar="FILE", help=HELP)


def recordings_in(words: Sequence[str]) -> Any:
    """The recordings in files and folders, as desk.recordings.find_recordings() returns them; warnings are printed."""
    from coilcount.desk.recordings import find_recordings

    found = find_recordings(words)
    for text in found.warnings:
        warn(text)
    return found


def only_recording(words: Sequence[str], command: str) -> Any:
    """The one recording in files and folders.  Raises InputError if there are several."""
    found = recordings_in(words)
    if len(found) > 1:
        others = ", ".join(recording.name for recording in found[1:3]) + (", ..." if len(found) > 3 else "")
        raise InputError(
            f"{command} takes one recording, and {len(found)} were given",
            f"{found[0].name}, {others}",
            "Give one of them; only the parts of a rotated recording are taken together",
        )
    return found[0]


def for_each(recordings: Sequence[Any], do: Callable[[Any], None]) -> int:
    """Do something for each recording, and return the exit code.  One that fails does not stop the others."""
    code = EXIT_DONE
    for recording in recordings:
        try:
            do(recording)
        except CoilcountError as error:
            if len(recordings) == 1:
                raise
            code = EXIT_INPUT
            warn(str(error))
    return code


def watched(step: str) -> Callable[[Iterator[Any], Any], Iterator[Any]]:
    """A progress display around the entries of a recording, for functions of the desk that take `watched`."""
    from coilcount.face.progress import Progress

    progress = Progress(sys.stderr)

    def over(entries: Iterator[Any], report: Any) -> Iterator[Any]:
        try:
            yield from progress.over(step, entries, lambda _: report.share())
        finally:
            progress.clear()  # also if the reader stops before the end

    return over
