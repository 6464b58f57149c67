"""`coilcount export`: a capture's readings as CSV, one row a reading; time_s is the middle of the reading."""

import argparse
import sys
from collections.abc import Iterable, Iterator
from typing import Any

from coilcount.commands.recordings import only_recording
from coilcount.errors import EXIT_DONE
from coilcount.face.say import say, warn

STDOUT = "-"

EXAMPLES = (
    ("coilcount export field.ccap field.csv", "to a new file"),
    ("coilcount export field.ccap -", "to standard output, for another program"),
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "files",
        nargs="+",
        metavar="FILE",
        help="a recording (.ccap or .ccap.gz), all of its parts, or a folder that holds it",
    )
    parser.add_argument("out", metavar="OUT.csv", help="the CSV to write; it must not exist; - is standard output")
    parser.add_argument("--quiet", action="store_true", help="print only errors and warnings")


def run(args: argparse.Namespace) -> int:
    from coilcount.capture.csv_log import write_log, write_rows
    from coilcount.capture.reader import Report
    from coilcount.desk.recordings import read_recording
    from coilcount.face.progress import Progress

    recording = only_recording(args.files, "export")
    report = Report()
    progress = Progress(sys.stderr)
    entries = progress.over("reading", read_recording(recording, report), lambda _: report.share())
    count = write_rows(sys.stdout, _rows(entries)) if args.out == STDOUT else write_log(args.out, _rows(entries))
    progress.clear()
    if not report.whole:
        warn(f"{recording.name}: {report.complaint()}; the sound part was used")
    if args.out == STDOUT:
        sys.stdout.flush()
    elif not args.quiet:
        say(f"{count} readings to {args.out}")
    return EXIT_DONE


def _rows(entries: Iterable[Any]) -> Iterator[Any]:
    """model.Imported for each reading: imported ones with all of their columns, counted ones through the chain."""
    from coilcount.chain import Chain
    from coilcount.model import Imported
    from coilcount.settings import defaults

    chain = Chain(defaults(), points=True)
    for entry in entries:
        if type(entry) is Imported:
            yield entry
        else:
            yield from _readings(chain.feed(entry))
    yield from _readings(chain.finish())


def _readings(outputs: Iterable[Any]) -> Iterator[Any]:
    from coilcount.model import Imported, Point

    return (Imported(output.time_s, output.frequency_hz) for output in outputs if type(output) is Point)
