"""`coilcount noise`: stability and drift of a quiet capture, and the threshold for a false-alarm rate."""

import argparse
import contextlib
import shlex
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from coilcount.commands.common_options import add_settings
from coilcount.errors import EXIT_DONE, InputError
from coilcount.face.say import say, say_json, warn
from coilcount.text import printable

# False alarms a minute, and peaks that a message lists.  Chosen by hand.
_RAREST, _MOST_FREQUENT = 0.001, 60.0
_MOST_LISTED = 6


EXAMPLES = (
    ("coilcount noise quiet.ccap", "noise, drift, and the threshold for 1 false alarm a minute"),
    (
        "coilcount noise quiet.ccap --false-alarms-per-minute 0.5 --save-settings field.toml",
        "a rarer false alarm; then `coilcount live --settings field.toml`",
    ),
    ("coilcount noise quiet.ccap --picture drawn", "the same as pictures"),
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", metavar="FILE", help="a recording without objects (.ccap or .ccap.gz)")
    add_settings(parser)
    parser.add_argument(
        "--false-alarms-per-minute", metavar="N", default="1",
        help="the rate of alerts that coil, soil and hand alone may raise (default 1)",
    )  # fmt: skip
    parser.add_argument(
        "--save-settings", metavar="OUT.toml",
        help="write noise profile and threshold as a settings file; it must not exist",
    )  # fmt: skip
    parser.add_argument("--picture", metavar="DIR", help="draw stability, noise and threshold into a folder (SVG, PNG)")
    parser.add_argument("--json", action="store_true", help="one JSON object")
    parser.add_argument("--quiet", action="store_true", help="no table; warnings stay")


def run(args: argparse.Namespace) -> int:
    from coilcount.capture.reader import Report, read_capture
    from coilcount.desk import quiet
    from coilcount.face.progress import Progress
    from coilcount.settings import load_settings

    wanted = _rate(args.false_alarms_per_minute)
    settings = load_settings(args.settings)
    out = None if args.save_settings is None else Path(args.save_settings)
    if out is not None and out.exists():
        raise _exists(out)
    report = Report()
    progress = Progress(sys.stderr)

    def entries() -> Iterator[Any]:
        return progress.over("reading", read_capture(args.file, report), lambda _: report.share())

    found = quiet.examine(entries, settings, args.file, progress.say)
    progress.clear()
    if not report.whole:
        warn(f"{args.file}: warning: {report.complaint()}; the sound part was used")
    noise = _object(args.file, found)
    if found.statistic.tail is not None:
        progress.say("counting the alerts of this recording")
        noise["threshold"] = _threshold(found, settings, wanted)
        progress.clear()
    if args.json:
        say_json(noise)
    if found.statistic.strange:
        raise _not_clean(args.file, found.statistic.strange)
    talk = not (args.json or args.quiet)
    if talk:
        from coilcount.face.noise_text import print_noise

        print_noise(noise, sys.stdout)
    with contextlib.nullcontext() if out is None else _saved(out, _settings_text(args.file, settings, noise)):
        # Drawn before the settings appear: if the pictures fail, the same command can simply be run again.
        if args.picture:
            from coilcount.face.picture_noise import draw_noise

            progress.say("drawing the pictures")
            paths = draw_noise(noise, Path(args.picture))
            progress.clear()
    if args.picture and talk:
        say("drawn: " + ", ".join(str(path) for path in paths))
    if out is not None and talk:
        say(
            f"noise profile and threshold in {out}",
            f"next: coilcount live --settings {shlex.quote(str(out))}, or name the file coilcount.toml",
        )
    return EXIT_DONE


def _object(file: str, found: Any) -> dict[str, Any]:
    """The result in plain values: printed, drawn and saved."""
    from coilcount.desk.exceedance import FEWEST, PEAKS_FROM

    phases, summary, statistic = found.phases, found.summary, found.statistic
    frequency_hz = summary.baseline_hz
    noise_class = None if found.noise_class is None else {"name": found.noise_class[0], "ratio": found.noise_class[1]}
    return {
        "kind": "noise",
        "file": file,
        "simulated": found.header.simulated,
        "duration_s": summary.duration_s,
        "frequency_hz": frequency_hz,
        "readings": phases.readings,
        "lost": summary.lost,
        "segments": len(phases.segments),
        "miscounts": phases.miscounts,
        "tau0_s": phases.tau0_s,
        "noise_ppm": summary.noise_ppm,
        "noise_hz": None if summary.noise_ppm is None else summary.noise_ppm * 1e-6 * frequency_hz,
        "noise_class": noise_class,
        "drift": {
            "ppm_per_minute": _slope(found.drift.per_minute),
            "ppm_per_kelvin": _slope(found.drift.per_kelvin),
            "temperature_range_k": found.drift.range_k,
        },
        "stability": [_row(row) for row in found.rows],
        "clean": not statistic.strange,
        "found": [_peak(peak) for peak in statistic.strange],
        "statistic": {
            "minutes": statistic.minutes,
            "peaks": [_peak(peak) for peak in statistic.peaks],
            "peaks_from": PEAKS_FROM,
            "fewest_peaks": FEWEST,
        },
        "learned": _learned(statistic.learned),
        "threshold": None,
    }


def _threshold(found: Any, settings: Any, wanted: float) -> dict[str, Any]:
    from coilcount.desk.exceedance import poisson_interval
    from coilcount.desk.quiet import alerts_here

    tail, statistic = found.statistic.tail, found.statistic
    try:
        z = tail.threshold(wanted)
    except ValueError:
        most = len(tail.peaks) / tail.minutes
        raise InputError(
            f"--false-alarms-per-minute is {wanted:g}, and this recording has {most:.2g} a minute at the lowest level",
            remedy="Ask for a lower rate",
        ) from None
    z = min(round(z, 2), 100.0)
    low, high = tail.interval(z)
    counted = alerts_here(found, settings, z)
    counted_low, counted_high = poisson_interval(counted, statistic.minutes)
    levels = [tail.peaks[-1] + (1.15 * max(z, tail.peaks[0]) - tail.peaks[-1]) * i / 60 for i in range(61)]
    return {
        "false_alarms_per_minute": wanted,
        "threshold": z,
        "rate_low": low,
        "rate_high": high,
        "tail": "z" if tail.power == 1 else "z squared",
        "tail_from": tail.start,
        "tail_peaks": tail.count,
        "promised_per_minute": tail.promised,
        "minutes_needed": tail.minutes_for(wanted),
        "alerts_here": counted,
        "alerts_here_per_minute": [counted / statistic.minutes, counted_low, counted_high],
        "curve": [[level, tail.rate(level)] for level in levels if level >= tail.start],
    }


def _settings_text(file: str, settings: Any, noise: dict[str, Any]) -> str:
    """A settings file: the values in force that are no defaults, and those of this recording.

    Raises NotClean if the recording is too short for a threshold.
    """
    from coilcount.settings import BY_DEFAULT, SCHEMA, SECTIONS, toml_line

    found = noise["threshold"]
    if found is None:
        from coilcount.desk.quiet import NotClean

        raise NotClean(_too_few(noise), file, "Sweep longer over ground without objects; no settings were written")
    learned = noise["learned"]
    new = {"threshold": found["threshold"], "scale_floor_ppm": learned["scale_floor_ppm"]}
    if learned["noise_ppm_rthz"]:
        new["noise_ppm_rthz"] = [band["ppm_rthz"] for band in learned["noise_ppm_rthz"]]
    name = printable(Path(file).name) + (", simulated" if noise["simulated"] else "")
    minutes = noise["statistic"]["minutes"]
    lines = [
        f"# From {name}, {minutes:.1f} minutes without objects, by coilcount noise.",
        f"# False alarms a minute at this threshold: {found['false_alarms_per_minute']:g} (95 % interval "
        f"{found['rate_low']:.2g} to {found['rate_high']:.2g}), for this coil, ground and sweep.",
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
            kept |= new
        if kept:
            lines += ["", f"[{section}]", *(toml_line(name, value) for name, value in kept.items())]
    return "\n".join(lines) + "\n"


@contextlib.contextmanager
def _saved(out: Path, text: str) -> Iterator[None]:
    """A new file with this text; it appears after the body, or not at all."""
    from coilcount.capture.failures import cannot_write
    from coilcount.new_files import new_file

    try:
        with new_file(out) as made:
            made.write(text)
            yield
    except OSError as error:
        raise cannot_write(error, out) from None


def _learned(learned: dict[str, Any]) -> dict[str, Any]:
    from coilcount.desk.spectrum import centre_hz

    bands = learned.get("noise_ppm_rthz", ())
    return {
        "scale_floor_ppm": learned["scale_floor_ppm"],
        "noise_ppm_rthz": [{"hz": centre_hz(i), "ppm_rthz": density} for i, density in enumerate(bands)],
    }


def _not_clean(file: str, strange: Any) -> Exception:
    from coilcount.desk.quiet import NotClean
    from coilcount.face.times import instant

    listed = [
        f"{instant(peak.time_s)} ({'rose' if peak.shift_hz > 0 else 'fell'} {abs(peak.shift_hz):.2g} Hz, "
        f"score {abs(peak.z):.0f} sigma)"
        for peak in strange[:_MOST_LISTED]
    ]
    more = f" and {len(strange) - _MOST_LISTED} more" if len(strange) > _MOST_LISTED else ""
    return NotClean(
        f"the recording is not clean: it has an object, or a step, at {', '.join(listed)}{more}",
        file,
        "Sweep over ground without objects, or only over things that should raise no alert",
    )


def _too_few(noise: dict[str, Any]) -> str:
    statistic = noise["statistic"]
    return (
        f"too short for a threshold: {len(statistic['peaks'])} peaks in {statistic['minutes']:.1f} minutes; "
        f"{statistic['fewest_peaks']} are needed"
    )


def _row(row: Any) -> dict[str, Any]:
    values = {"tau_s": row.tau_s, "m": row.m, "noise": row.noise, "noise_measured": row.alpha_measured}
    for name in ("adev", "oadev", "mdev", "hdev"):
        found = getattr(row, name)
        values[name] = None if not found.terms else {"value": found.value, "low": found.low, "high": found.high}
    return values


def _slope(slope: Any) -> dict[str, float] | None:
    return None if slope is None else {"value": slope.value, "standard_error": slope.error}


def _peak(peak: Any) -> dict[str, float]:
    return {"time_s": round(peak.time_s, 6), "score": round(peak.z, 6), "peak_shift_hz": round(peak.shift_hz, 6)}


def _rate(text: str) -> float:
    try:
        rate = float(text)
    except ValueError:
        rate = -1.0
    if not _RAREST <= rate <= _MOST_FREQUENT:
        raise InputError(
            f'--false-alarms-per-minute is "{text}"', remedy=f"Give a number from {_RAREST:g} to {_MOST_FREQUENT:g}"
        )
    return rate


def _exists(out: Path) -> InputError:
    return InputError("the file exists and is not written over", str(out), "Give --save-settings another name")
