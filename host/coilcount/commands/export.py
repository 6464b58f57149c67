"""`coilcount export`: a capture's readings to CSV, one row a reading, time_s its middle."""

import argparse

from coilcount.errors import EXIT_DONE
from coilcount.face.say import say, warn


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", help="a capture (.ccap or .ccap.gz)")
    parser.add_argument("out", help="the CSV to write; must not exist")
    parser.add_argument("--quiet", action="store_true", help="only errors and warnings")


def run(args: argparse.Namespace) -> int:
    from coilcount.capture.csv_log import write_log
    from coilcount.capture.reader import Report, read_capture

    report = Report()
    rows = write_log(args.out, _rows(read_capture(args.file, report)))
    if not report.whole:
        warn(f"{args.file}: {report.complaint()}; the sound part was used")
    if not args.quiet:
        say(f"{rows} readings to {args.out}")
    return EXIT_DONE


def _rows(entries):
    # Imported readings go out as they came in, with all of their columns; counts go through the chain.
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


def _readings(outputs):
    from coilcount.model import Imported, Point

    return (Imported(output.time_s, output.frequency_hz) for output in outputs if type(output) is Point)
