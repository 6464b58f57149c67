"""`coilcount import`: turns readings of any other counter (CSV) into a capture."""

import argparse
import os
import sys
from datetime import UTC, datetime, timedelta

from coilcount import __version__
from coilcount.errors import EXIT_DONE, InputError
from coilcount.face.say import say, warn

EXAMPLES = (
    ("coilcount import log.csv log.ccap", "columns time_s and frequency_hz; time_s is the middle of a reading"),
    ("coilcount import log.csv log.ccap --start-utc 2026-05-01T09:00:00Z", "the same, with the day and hour"),
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "log", metavar="LOG.csv", help="CSV: time_s,frequency_hz[,temperature_c][,amplitude_v][,supply_v]"
    )
    parser.add_argument("file", metavar="FILE", help="the capture to write (NAME.ccap); it must not exist")
    parser.add_argument("--start-utc", metavar="UTC", help="the time at which time_s was 0, as 2026-05-01T09:00:00Z")
    parser.add_argument("--note", metavar="TEXT", help="coil, place, weather: kept in the capture")
    parser.add_argument("--quiet", action="store_true", help="print only errors and warnings")


def run(args: argparse.Namespace) -> int:
    from coilcount.capture.csv_log import read_log
    from coilcount.capture.failures import cannot_write
    from coilcount.capture.writer import CaptureWriter
    from coilcount.chain.outputs import far_apart
    from coilcount.commands.listen_loop import next_words
    from coilcount.face.progress import Progress
    from coilcount.face.times import length
    from coilcount.model import Header
    from coilcount.new_files import new_paths
    from coilcount.tracker.defaults import DEFAULTS
    from coilcount.tracker.tracker import too_far_apart

    progress = Progress(sys.stderr)
    log = read_log(args.log, lambda readings: progress.over("reading", readings))
    for name in log.ignored:
        warn(f'column "{name}" is not known and is left out ({args.log})')
    notes = {"log": os.path.basename(args.log)}
    if args.note:
        notes["note"] = args.note
    if args.start_utc:
        start = _parse_utc(args.start_utc)
    else:
        # Nothing in a log gives the day.  Its file was last written at its last reading.
        last_s = log.last_s
        try:
            start = datetime.fromtimestamp(os.stat(args.log).st_mtime, UTC) - timedelta(seconds=last_s)
        except OverflowError:
            what = f"time_s ends at {last_s:g} s, which is no time since any start"
            raise InputError(what, args.log, "Give seconds, or give --start-utc") from None
        notes["start_utc"] = "computed from the time at which the log was last written"
    header = Header(
        source="import",
        start_utc=start.isoformat(timespec="seconds").replace("+00:00", "Z"),
        host_version=__version__,
        command=("coilcount", "import", args.log, args.file),
        notes=notes,
        interval_s=log.interval_s,
    )
    try:
        with new_paths(args.file) as (path,), CaptureWriter(path, header, final=args.file) as writer:
            for reading in progress.over("writing", log.readings(), lambda number: number / log.count):
                writer.write(reading)
    except OSError as error:
        raise cannot_write(error, args.file) from None
    if too_far_apart(log.interval_s, DEFAULTS["widths_s"]):
        warn(f"{args.log}: warning: {far_apart(log.interval_s)}")
    if not args.quiet:
        span = length(log.last_s - log.first_s)
        say(
            f"{log.count} readings of {log.interval_s:g} s over {span} to {args.file}",
            f"next: {next_words([args.file])}",
        )
    return EXIT_DONE


def _parse_utc(text: str) -> datetime:
    try:
        start = datetime.fromisoformat(text)
    except ValueError:
        start = None
    if start is None or start.tzinfo is None:
        raise InputError(f'"{text}" is not a time in UTC', "--start-utc", "Write it as 2026-05-01T09:00:00Z")
    return start.astimezone(UTC)
