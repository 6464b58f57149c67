"""`coilcount import`: readings of any other counter, from CSV to a capture."""

import argparse
import os
import sys
from datetime import UTC, datetime, timedelta

from coilcount import __version__
from coilcount.errors import EXIT_DONE, InputError
from coilcount.face.say import say, warn


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("log", help="CSV: time_s,frequency_hz[,temperature_c][,amplitude_v][,supply_v]")
    parser.add_argument("file", help="the capture to write; must not exist")
    parser.add_argument("--start-utc", metavar="UTC", help="when time_s was 0, as 2026-05-01T09:00:00Z")
    parser.add_argument("--note", metavar="TEXT", help="coil, place, weather")
    parser.add_argument("--quiet", action="store_true", help="only errors and notices")


def run(args: argparse.Namespace) -> int:
    from coilcount.capture.csv_log import read_log
    from coilcount.capture.failures import cannot_write
    from coilcount.capture.writer import CaptureWriter
    from coilcount.chain.outputs import far_apart
    from coilcount.face.progress import Progress
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
        # A log is last written at its last reading; nothing in it says the day.
        last_s = log.last_s
        try:
            start = datetime.fromtimestamp(os.stat(args.log).st_mtime, UTC) - timedelta(seconds=last_s)
        except OverflowError:
            what = f"time_s ends at {last_s:g} s, which is no time since any start"
            raise InputError(what, args.log, "Give seconds; or say with --start-utc when time_s was 0") from None
        notes["start_utc"] = "reckoned from the time the log was last written"
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
        duration_s = log.last_s - log.first_s
        say(f"{log.count} readings of {log.interval_s:g} s over {duration_s:.1f} s to {args.file}")
    return EXIT_DONE


def _parse_utc(text: str) -> datetime:
    try:
        start = datetime.fromisoformat(text)
    except ValueError:
        start = None
    if start is None or start.tzinfo is None:
        raise InputError(f'"{text}" is no time in UTC', "--start-utc", "Write it as 2026-05-01T09:00:00Z")
    return start.astimezone(UTC)
