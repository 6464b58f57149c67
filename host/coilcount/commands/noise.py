"""`coilcount noise FILE`: stability and drift of a quiet capture, and the threshold for a wanted false-alarm rate."""

import argparse
import contextlib
import shlex
import sys
from collections.abc import Iterator
from dataclasses import asdict, replace
from pathlib import Path

from coilcount.commands.common_options import add_settings
from coilcount.commands.recordings import only_recording
from coilcount.errors import EXIT_DONE, InputError
from coilcount.face.say import say, say_json, warn
from coilcount.model import Entry, NoisePeaks, NoiseReport
from coilcount.settings import Settings
from coilcount.text import printable

_LOWEST_RATE, _HIGHEST_RATE = 0.001, 60.0  # false alarms a minute that may be asked for; chosen by hand
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
    parser.add_argument(
        "--false-alarms-per-minute",
        metavar="N",
        default="1",
        help="the false-alarm rate that the threshold gives (default 1)",
    )
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

    rate = _rate(args.false_alarms_per_minute)
    settings = load_settings(args.settings)
    out = None if args.save_settings is None else Path(args.save_settings)
    if out is not None and out.exists():
        raise _exists(out)
    recording = only_recording(args.files, "noise")
    file = recording.name
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
    with contextlib.nullcontext() if out is None else _saved(out, _settings_text(settings, report)):
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
    from coilcount.settings import BY_DEFAULT, SCHEMA, SECTIONS, toml_line

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
    lines = [
        f"# From {name}, {report.statistic.minutes:.1f} minutes with nothing in it, by coilcount noise.",
        f"# False alarms a minute asked for: {threshold.false_alarms_per_minute:g}; 95 % interval "
        f"{threshold.rate_low:.2g} to {threshold.rate_high:.2g}, for this coil, ground and sweep.",
        f"schema = {SCHEMA}",
    ]
    values = settings.as_dict()
    for section, rows in SECTIONS.items():
        kept = {
            row.name: values[section][row.name]
            for row in rows
            if settings.origins[f"{section}.{row.name}"] != BY_DEFAULT
        }
        if section == "tracker":
            kept |= measured
        if kept:
            lines += ["", f"[{section}]", *(toml_line(name, value) for name, value in kept.items())]
    return "\n".join(lines) + "\n"


@contextlib.contextmanager
def _saved(out: Path, text: str) -> Iterator[None]:
    """Write `text` to a new file.  The file appears after the body of the `with`, or not at all."""
    from coilcount.capture.failures import cannot_write
    from coilcount.new_files import new_file

    try:
        with new_file(out) as file:
            file.write(text)
            yield
    except OSError as error:
        raise cannot_write(error, out) from None


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


def _rate(text: str) -> float:
    try:
        rate = float(text)
    except ValueError:
        rate = -1.0
    if not _LOWEST_RATE <= rate <= _HIGHEST_RATE:
        raise InputError(
            f'--false-alarms-per-minute is "{text}"', remedy=f"Give a number from {_LOWEST_RATE:g} to {_HIGHEST_RATE:g}"
        )
    return rate


def _exists(out: Path) -> InputError:
    return InputError("the file exists and is not overwritten", str(out), "Give --save-settings another name")
