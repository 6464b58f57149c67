"""`coilcount noise FILE`: stability and drift of a quiet capture, and the threshold for a wanted false-alarm rate."""

import argparse
import contextlib
import shlex
import sys
from collections.abc import Iterator
from dataclasses import asdict, replace
from pathlib import Path

from coilcount.commands.common_options import add_rate, add_settings, read_rate
from coilcount.commands.recordings import only_recording
from coilcount.commands.saved_settings import new_settings_path, saved, settings_text
from coilcount.errors import EXIT_DONE, InputError
from coilcount.face.say import say, say_json, warn
from coilcount.model import Entry, NoisePeaks, NoiseReport
from coilcount.settings import Settings
from coilcount.text import printable

_MOST_LISTED = 6  # peaks that an error message lists

EXAMPLES = (
    ("coilcount noise quiet.ccap", "noise, drift, and the threshold for 1 false alarm a minute"),
    (
        "coilcount noise quiet.ccap --false-alarms-per-minute 0.5 --save-settings field.toml",
        "a rarer false alarm; then `coilcount live --settings field.toml`",
    ),
    ("coilcount noise quiet.ccap --picture drawn", "the same as pictures"),
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "files",
        nargs="+",
        metavar="FILE",
        help="a recording without objects (.ccap or .ccap.gz), all of its parts, or a folder that holds it",
    )
    add_settings(parser)
    add_rate(parser)
    parser.add_argument(
        "--save-settings", metavar="OUT.toml", help="write noise profile and threshold to a new settings file"
    )
    parser.add_argument(
        "--picture", metavar="DIR", help="draw stability, noise profile and threshold into a folder (SVG, PNG)"
    )
    parser.add_argument("--json", action="store_true", help="one JSON object")
    parser.add_argument("--quiet", action="store_true", help="no table; warnings stay")


def run(args: argparse.Namespace) -> int:
    from coilcount.capture.reader import Report
    from coilcount.desk import quiet
    from coilcount.desk.noise_report import noise_report, noise_threshold
    from coilcount.desk.recordings import read_recording
    from coilcount.face.progress import Progress
    from coilcount.settings import load_settings

    rate = read_rate(args.false_alarms_per_minute)
    settings = load_settings(args.settings)
    recording = only_recording(args.files, "noise")
    file = recording.name
    out = new_settings_path(args.save_settings)
    reading = Report()
    progress = Progress(sys.stderr)

    def entries() -> Iterator[Entry]:
        return progress.over("reading", read_recording(recording, reading), lambda _: reading.share())

    examined = quiet.examine(entries, settings, file, progress.say)
    progress.clear()
    if not reading.whole:
        warn(f"{file}: warning: {reading.complaint()}; the sound part was used")
    report = noise_report(file, examined)
    tail = examined.statistic.tail
    if tail is not None:
        if rate > tail.highest_rate:
            raise InputError(
                f"--false-alarms-per-minute is {rate:g}, but even the lowest threshold gives only "
                f"{tail.highest_rate:.2g} a minute in this recording",
                remedy="Ask for fewer",
            )
        progress.say("counting the alerts of this recording")
        report = replace(report, threshold=noise_threshold(examined, settings, rate))
        progress.clear()
    if args.json:
        say_json({"kind": "noise", **asdict(report)})
    if not report.clean:
        raise _not_clean(report)
    talk = not (args.json or args.quiet)
    if talk:
        from coilcount.face.noise_text import print_noise

        print_noise(report, sys.stdout)
    with contextlib.nullcontext() if out is None else saved(out, _settings_text(settings, report)):
        # The pictures are drawn inside: if they cannot be written, no settings file is left that would stop a
        # second try.
        if args.picture:
            from coilcount.face.picture_noise import draw_noise

            progress.say("drawing the pictures")
            paths = draw_noise(report, Path(args.picture))
            progress.clear()
    if args.picture and talk:
        say("drawn: " + ", ".join(str(path) for path in paths))
    if out is not None and talk:
        say(
            f"noise profile and threshold in {out}",
            f"next: coilcount live --settings {shlex.quote(str(out))}, or name the file coilcount.toml",
        )
    return EXIT_DONE


def _settings_text(settings: Settings, report: NoiseReport) -> str:
    """A settings file: the settings that are not defaults, with the threshold and the noise of this recording."""
    threshold = report.threshold
    if threshold is None:
        from coilcount.desk.quiet import NotClean

        raise NotClean(
            _too_few(report.statistic),
            report.file,
            "Sweep longer over ground with nothing in it; no settings were written",
        )
    measured = {"threshold": threshold.threshold, "scale_floor_ppm": report.learned.scale_floor_ppm}
    if report.learned.noise_ppm_rthz:
        measured["noise_ppm_rthz"] = [band.ppm_rthz for band in report.learned.noise_ppm_rthz]
    name = printable(Path(report.file).name) + (", simulated" if report.simulated else "")
    comments = (
        f"From {name}, {report.statistic.minutes:.1f} minutes with nothing in it, by coilcount noise.",
        f"False alarms a minute asked for: {threshold.false_alarms_per_minute:g}; 95 % interval "
        f"{threshold.rate_low:.2g} to {threshold.rate_high:.2g}, for this coil, ground and sweep.",
    )
    return settings_text(settings, measured, comments)


def _not_clean(report: NoiseReport) -> Exception:
    from coilcount.desk.quiet import NotClean
    from coilcount.face.times import instant

    listed = [
        f"{instant(peak.time_s)} ({'rose' if peak.peak_shift_hz > 0 else 'fell'} {abs(peak.peak_shift_hz):.2g} Hz, "
        f"score {abs(peak.score):.0f})"
        for peak in report.found[:_MOST_LISTED]
    ]
    others = len(report.found) - _MOST_LISTED
    more = f" and {others} more" if others > 0 else ""
    return NotClean(
        f"the recording is not clean: something other than noise at {', '.join(listed)}{more}",
        report.file,
        "Sweep where nothing lies, or only over things that shall raise no alert",
    )


def _too_few(statistic: NoisePeaks) -> str:
    return (
        f"too short for a threshold: {len(statistic.peaks)} peaks in {statistic.minutes:.1f} minutes, and "
        f"at least {statistic.fewest_peaks} are needed"
    )
