"""`coilcount replay`: runs the tracker over captures, with the same code as live."""

import argparse
import contextlib
import dataclasses
import itertools
import sys
import textwrap
from collections.abc import Callable, Iterable
from typing import Any, TextIO

from coilcount.commands.common_options import add_level, add_settings, number_of, with_level
from coilcount.commands.recordings import add_recordings, recordings_in
from coilcount.commands.series import STDOUT, Series
from coilcount.errors import EXIT_DONE, InputError
from coilcount.face.say import say, warn

# All four chosen by hand.
_COLUMNS = 80
_FEW = 8  # numbers of a list that a message still shows
_MOST_WARNINGS = 50  # of one capture
_FASTEST, _SLOWEST = 10_000.0, 0.01  # times the speed of the recording

EXAMPLES = (
    ("coilcount replay field.ccap", "the table of alerts"),
    ("coilcount replay field.ccap --false-alarms 0.3", "the same, but at most 0.3 false alarms a minute are allowed"),
    ("coilcount replay one.ccap two.ccap --json", "one JSON object a line, for programs"),
    ("coilcount replay field.ccap --sound field.wav --picture pictures", "the sweep as sound, and as SVG and PNG"),
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_recordings(parser)
    parser.add_argument("--speed", metavar="X", default="max", help="X times as fast as recorded, or max (default)")
    add_settings(parser)
    add_level(parser, after="; changes made while recording are then ignored")
    parser.add_argument("--json", action="store_true", help="one JSON object a line")
    parser.add_argument(
        "--series", metavar="OUT.csv", help="write a row for each interval to a new file; - is standard output"
    )
    parser.add_argument("--sound", metavar="FILE.wav", help="write what the sweep sounds like to a new file")
    parser.add_argument("--picture", metavar="DIR", help="draw the shift against time, one SVG and one PNG a capture")
    parser.add_argument("--quiet", action="store_true", help="no table and no summary; warnings stay")


def run(args: argparse.Namespace) -> int:
    from coilcount.commands.replay_picture import check_pictures
    from coilcount.commands.sound_file import check_sound
    from coilcount.face.pacing import Pacer
    from coilcount.settings import load_settings

    settings = load_settings(args.settings)
    settings = with_level(settings, args)
    if args.series == STDOUT and args.json:
        raise InputError("--json and --series - both write to standard output", remedy="Give --series a file")
    recordings = recordings_in(args.files)
    if args.series and len(recordings) > 1:
        raise InputError("--series takes one capture", remedy="Give one FILE, or run once for each")
    check_sound(args, recordings)
    check_pictures(args, recordings)
    for recording in recordings:
        pacer = None if args.speed == "max" else Pacer(_speed(args.speed))
        _replay(recording, settings, args, pacer)
    return EXIT_DONE


def _replay(recording: Any, settings: Any, args: argparse.Namespace, pacer: Any) -> None:
    from coilcount.capture.reader import Report
    from coilcount.chain import Chain
    from coilcount.desk.recordings import read_recording
    from coilcount.face.progress import Progress
    from coilcount.live.readout import noise_words, rougher_words
    from coilcount.model import Header, Notice, Point, Summary

    file = recording.name
    report = Report()
    entries = read_recording(recording, report)
    first = next(entries)  # a file that is no capture is reported before a series is made
    watched = args.series is not None or args.sound is not None or args.picture is not None
    chain = Chain(settings, points=watched, follow_operator=args.threshold is None and args.false_alarms is None)
    if args.json:
        show = _Json(file, sys.stdout)
    else:
        quiet = args.quiet or args.series == STDOUT
        show = _Table(recording.title, sys.stdout, quiet, paced=pacer is not None, thresholds=lambda: chain.thresholds)

    def take(outputs: Iterable[Any]) -> None:
        for output in outputs:
            for watcher in watchers:
                watcher.take(output)
            if type(output) is Point:
                if args.series is not None:
                    series.write(output)
                continue
            if type(output) is Notice and output.level == "warning":
                warnings.add(output.text)
            elif type(output) is Summary:
                # A line of the file that is no entry was a received line, or may have been one.
                output = dataclasses.replace(output, damaged=output.damaged + report.damaged)
                show.foot = rougher_words(chain.roughness) or noise_words(bool(settings.tracker["noise_ppm_rthz"]))
            show.take(output)

    warnings = _Warnings(file)
    progress = Progress(sys.stderr)
    entries = itertools.chain([first], entries)
    if pacer is None and not args.json:
        entries = progress.over(f"replaying {file}", entries, lambda _: report.share())
    with contextlib.ExitStack() as stack:
        watchers = _watchers(file, args, chain, stack)
        series = stack.enter_context(Series(args.series))
        for entry in entries:
            if pacer is not None:
                recorded_s = getattr(entry, "host_s", getattr(entry, "time_s", None))
                if recorded_s is not None:
                    pacer.wait_until(recorded_s)
            if type(entry) is Header:
                show.simulated = entry.simulated
                show.build = _build_lines(entry)
                _warn_of_other_settings(file, entry.settings, settings, args)
            for watcher in watchers:
                watcher.begin(entry)
            outputs = chain.feed(entry)
            if outputs:
                if any(type(output) is not Point for output in outputs):  # points print nothing
                    progress.clear()
                take(outputs)
        take(chain.finish())
    warnings.finish()
    if not report.whole:
        _warn(file, f"{report.complaint()}; the sound part was used")


def _watchers(file: str, args: argparse.Namespace, chain: Any, stack: contextlib.ExitStack) -> list[Any]:
    """What else is made of this capture: the sound and the picture, if they are asked for."""
    from coilcount.commands.replay_picture import ReplayPicture
    from coilcount.commands.sound_file import SoundFile

    watchers: list[Any] = []
    if args.picture is not None:
        watchers.append(stack.enter_context(ReplayPicture(args.picture, file, chain)))
    if args.sound is not None:
        watchers.append(stack.enter_context(SoundFile(args.sound, file, chain)))
    return watchers


class _Json:
    """Prints one object a line, each when it is final."""

    simulated = False
    build = ()
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
    """Prints a table at the end of the file, of bounded length; if the replay is paced, also each event in its time."""

    simulated = False
    build = ()
    foot = ""

    def __init__(self, file: str, out: TextIO, quiet: bool, paced: bool, thresholds: Callable[[], Any]) -> None:
        from coilcount.commands.kept import Kept

        self._file = file
        self._out = out
        self._quiet = quiet
        self._paced = paced
        self._thresholds = thresholds
        self._kept = Kept(thresholds)

    def take(self, output: Any) -> None:
        from coilcount.face.plain import event_line, summary_line, timed_line
        from coilcount.face.tables import print_table
        from coilcount.model import Summary

        if self._quiet:
            return
        if type(output) is Summary:
            say(f"{self._file}{' (simulated)' if self.simulated else ''}", *self.build, out=self._out)
            print_table(self._kept.outputs, self._out, self._kept.left_out, self._kept.threshold_of())
            say(self.foot, out=self._out)
            say(*textwrap.wrap(summary_line(output), _COLUMNS), out=self._out)
            return
        self._kept.append(output)
        if self._paced and (event := event_line(output, self._thresholds())) is not None:
            say(timed_line(*event), out=self._out)


def _build_lines(header: Any) -> list[str]:
    """The build and its latest check, if the recording carries them."""
    from coilcount.commands.captured import build_check_words, build_words

    if header.build is None:
        return []
    return [f"build      {build_words(header.build)}", f"checked    {build_check_words(header.build_check)}"]


def _warn_of_other_settings(file: str, recorded: dict[str, Any], settings: Any, args: argparse.Namespace) -> None:
    """If other settings were in force while recording, the operator saw other alerts: print what differs."""
    then, now = recorded.get("tracker"), settings.as_dict()["tracker"]
    if args.quiet or not isinstance(then, dict):
        return
    changed = [
        f"{name} {_brief(name, then[name])} then, {_brief(name, now[name])} now"
        for name in now
        if name in then and then[name] != now[name]
    ]
    if changed:
        warn(f"{file}: recorded with other settings ({'; '.join(changed)})")


def _brief(name: str, value: Any) -> str:
    """A value in a few words: a noise profile has about 25 numbers."""
    if name == "threshold" and not value:
        return "none"
    return f"{len(value)} numbers" if isinstance(value, list) and len(value) > _FEW else str(value)


def _speed(text: str) -> float:
    speed = number_of(text, "--speed")
    if not _SLOWEST <= speed <= _FASTEST:
        raise InputError(f"--speed is {text}", remedy=f"Give a number from {_SLOWEST:g} to {_FASTEST:g}, or max")
    return speed


class _Warnings:
    """Prints the warnings of one capture on standard error: the first ones, and the number of the others."""

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
