"""`coilcount replay`: run the tracker over captures, by the very same chain as live."""

import argparse
import dataclasses
import itertools
import sys
import textwrap
from collections.abc import Iterable, Sequence
from typing import Any, NoReturn, TextIO

from coilcount.errors import EXIT_DONE, InputError
from coilcount.face.say import say, warn

_SERIES = ("time_s", "frequency_hz", "shift_ppm", "baseline_hz", "statistic")
_COLUMNS = 80
_FEW = 8
_MOST_WARNINGS = 50
_FASTEST, _SLOWEST = 10_000.0, 0.01


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("files", nargs="+", metavar="FILE", help="captures (.ccap or .ccap.gz)")
    parser.add_argument("--speed", metavar="X", default="max", help="X times as fast as recorded, or max (default)")
    parser.add_argument("--settings", metavar="T", help="a settings file (TOML)")
    parser.add_argument("--threshold", metavar="Z", help="another raise level; those set while recording do not count")
    parser.add_argument("--json", action="store_true", help="one JSON object a line")
    parser.add_argument("--series", metavar="OUT.csv", help="a row for each interval; must not exist")
    parser.add_argument("--quiet", action="store_true", help="no table and no summary; warnings stay")


def run(args: argparse.Namespace) -> int:
    from coilcount.face.pacing import Pacer
    from coilcount.settings import load_settings

    settings = load_settings(args.settings)
    if args.threshold is not None:
        settings = settings.with_threshold(_number(args.threshold, "--threshold"))
    if args.series and len(args.files) > 1:
        raise InputError("--series takes one capture", remedy="Give one FILE, or run once for each")
    for file in args.files:
        pacer = None if args.speed == "max" else Pacer(_speed(args.speed))
        _replay(file, settings, args, pacer)
    return EXIT_DONE


def _replay(file: str, settings: Any, args: argparse.Namespace, pacer: Any) -> None:
    from coilcount.capture.reader import Report, read_capture
    from coilcount.chain import Chain
    from coilcount.face.progress import Progress
    from coilcount.live.readout import noise_words, rougher_words
    from coilcount.model import Header, Notice, Point, Summary

    report = Report()
    entries = read_capture(file, report)
    first = next(entries)  # where this is no capture it is told before a series is made
    chain = Chain(settings, points=args.series is not None, follow_threshold=args.threshold is None)
    show = _Json(file, sys.stdout) if args.json else _Table(file, sys.stdout, args.quiet, live=pacer is not None)

    def take(outputs: Iterable[Any]) -> None:
        for output in outputs:
            if type(output) is Point:
                series.write(output)
                continue
            if type(output) is Notice and output.level == "warning":
                warnings.add(output.text)
            elif type(output) is Summary:
                # A line of the file that is no entry was a received line, or might have been.
                output = dataclasses.replace(output, damaged=output.damaged + report.damaged)
                show.foot = rougher_words(chain.roughness) or noise_words(bool(settings.tracker["noise_ppm_rthz"]))
            show.take(output)

    warnings = _Warnings(file)
    progress = Progress(sys.stderr)
    entries = itertools.chain([first], entries)
    if pacer is None and not args.json:
        entries = progress.over(f"replaying {file}", entries, lambda _: report.share())
    with _Series(args.series) as series:
        for entry in entries:
            if pacer is not None:
                recorded_s = getattr(entry, "host_s", getattr(entry, "time_s", None))
                if recorded_s is not None:
                    pacer.wait_until(recorded_s)
            if type(entry) is Header:
                show.simulated = entry.simulated
                _tell_other_settings(file, entry.settings, settings, args)
            outputs = chain.feed(entry)
            if outputs:
                if args.series is None:  # with it every reading has an output, and few are printed
                    progress.clear()
                take(outputs)
        take(chain.finish())
    warnings.finish()
    if not report.whole:
        _warn(file, f"{report.complaint()}; the sound part was used")


class _Json:
    """One object a line, at once."""

    simulated = False
    foot = ""

    def __init__(self, file: str, out: TextIO) -> None:
        self._file = file
        self._out = out

    def take(self, output: Any) -> None:
        from coilcount.face.json_out import as_line

        line = as_line(output, self._file)
        if line is not None:
            say(line, out=self._out)


class _Table:
    """A table at the end of the file, of bounded length; events as they come where the replay is paced."""

    simulated = False
    foot = ""

    def __init__(self, file: str, out: TextIO, quiet: bool, live: bool) -> None:
        from coilcount.commands.kept import Kept

        self._file = file
        self._out = out
        self._quiet = quiet
        self._live = live
        self._kept = Kept()

    def take(self, output: Any) -> None:
        from coilcount.face.plain import event_line, summary_line
        from coilcount.face.tables import at, print_table
        from coilcount.model import Summary

        if self._quiet:
            return
        if type(output) is Summary:
            say(f"{self._file}{' (simulated)' if self.simulated else ''}", out=self._out)
            print_table(self._kept.outputs, self._out, self._kept.left_out)
            say(self.foot, out=self._out)
            say(*textwrap.wrap(summary_line(output), _COLUMNS), out=self._out)
            return
        self._kept.append(output)
        if self._live and (event := event_line(output)) is not None:
            time_s, text = event
            say(f"{'' if time_s is None else at(time_s):>8} {text}", out=self._out)


def _tell_other_settings(file: str, recorded: dict[str, Any], settings: Any, args: argparse.Namespace) -> None:
    """The operator saw other alerts where other settings were in force: say so, but replay as asked."""
    then, now = recorded.get("tracker"), settings.as_dict()["tracker"]
    if args.quiet or not isinstance(then, dict):
        return
    other = [
        f"{name} {_brief(then[name])} then, {_brief(now[name])} now"
        for name in now
        if name in then and then[name] != now[name]
    ]
    if other:
        warn(f"{file}: recorded with other settings ({'; '.join(other)})")


def _brief(value: Any) -> str:
    """A value in a few words: a learned noise has some 25 numbers."""
    return f"{len(value)} numbers" if isinstance(value, list) and len(value) > _FEW else str(value)


class _Series:
    """The CSV of --series, a new file that appears when it is whole; nothing where no path is given.

    Use as a context manager.
    """

    def __init__(self, path: str | None) -> None:
        self._path = path
        self._file: TextIO | None = None

    def __enter__(self) -> "_Series":
        from coilcount.new_files import new_file

        if self._path is not None:
            self._opened = new_file(self._path, encoding="ascii", newline="\n")
            try:
                self._file = self._opened.__enter__()
            except OSError as error:
                self._give_up(error)
            self._line(_SERIES)
        return self

    def __exit__(self, *raised: Any) -> None:
        if self._file is not None:
            try:
                self._opened.__exit__(*raised)
            except OSError as error:
                self._give_up(error)

    def write(self, point: Any) -> None:
        self._line([f"{getattr(point, name):.6f}" for name in _SERIES])

    def _line(self, cells: Sequence[str]) -> None:
        try:
            self._file.write(",".join(cells) + "\n")
        except OSError as error:
            self._give_up(error)

    def _give_up(self, error: OSError) -> NoReturn:
        from coilcount.capture.failures import cannot_write

        raise cannot_write(error, self._path) from None


def _speed(text: str) -> float:
    speed = _number(text, "--speed")
    if not _SLOWEST <= speed <= _FASTEST:
        raise InputError(f"--speed is {text}", remedy=f"Give a number from {_SLOWEST:g} to {_FASTEST:g}, or max")
    return speed


def _number(text: str, name: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise InputError(f'{name} is "{text}"', remedy="Give a number") from None


class _Warnings:
    """The warnings of one capture on standard error, as many as someone may read."""

    def __init__(self, file: str) -> None:
        self._file = file
        self._count = 0

    def add(self, text: str) -> None:
        self._count += 1
        if self._count <= _MOST_WARNINGS:
            _warn(self._file, text)

    def finish(self) -> None:
        if self._count > _MOST_WARNINGS:
            _warn(self._file, f"{self._count - _MOST_WARNINGS} more like these")


def _warn(file: str, text: str) -> None:
    warn(f"{file}: warning: {text}")
