"""`coilcount tune`: detections against false alarms in labelled recordings, and the threshold for a wanted rate."""

import argparse
import contextlib
import shlex
import sys
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path

from coilcount.commands.common_options import add_rate, add_settings, read_rate
from coilcount.commands.recordings import add_recordings
from coilcount.commands.saved_settings import new_settings_path, saved, settings_text
from coilcount.errors import EXIT_DONE, EXIT_NO, CoilcountError, InputError
from coilcount.face.say import say, say_json, warn
from coilcount.model import LeftOutRecording, TuneReport
from coilcount.settings import Settings

_GROUPS = ("recording", "site")
_MOST_LEFT_OUT = 10  # recordings named in warnings; chosen by hand

EXAMPLES = (
    ("coilcount tune field/", "what each threshold finds and costs, for all labelled recordings of a folder"),
    (
        "coilcount tune monday/ tuesday/ --false-alarms-per-minute 0.5 --by site --save-settings field.toml",
        "a rarer false alarm, checked on the site left out; then `coilcount live --settings field.toml`",
    ),
    ("coilcount tune field/ --vary 'baseline_s = [2, 4]'", "try other settings as well"),
)


class NotReached(CoilcountError):
    """No threshold that was tried keeps the wanted rate (exit 1)."""

    exit_code = EXIT_NO


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_recordings(parser)
    add_rate(parser)
    parser.add_argument(
        "--by", choices=_GROUPS, default="recording",
        help="what is left out in turn to check the choice: a recording (default), or a site, which is a folder or a "
        "note `site: NAME`",
    )  # fmt: skip
    add_settings(parser)
    parser.add_argument(
        "--vary", metavar="NAME=[VALUE,...]", action="append", default=[],
        help="also try these values of a setting of [tracker], written as a list in TOML; may be given again",
    )  # fmt: skip
    parser.add_argument("--save-settings", metavar="OUT.toml", help="write the chosen settings to a new settings file")
    parser.add_argument("--picture", metavar="DIR", help="draw the curves into a folder (SVG, PNG)")
    parser.add_argument("--json", action="store_true", help="one JSON object")
    parser.add_argument("--quiet", action="store_true", help="no tables; warnings stay")


def run(args: argparse.Namespace) -> int:
    from coilcount.commands.cache import open_cache
    from coilcount.commands.recordings import recordings_in
    from coilcount.commands.vary import candidates_of
    from coilcount.desk.labels import label_warnings
    from coilcount.desk.tune import tune
    from coilcount.desk.tune_inputs import judge
    from coilcount.face.progress import Progress
    from coilcount.face.tune_words import cautions
    from coilcount.settings import load_settings

    rate = read_rate(args.false_alarms_per_minute)
    candidates = candidates_of(load_settings(args.settings), args.vary)
    out = new_settings_path(args.save_settings)
    recordings = recordings_in(args.files)
    progress = Progress(sys.stderr)
    step = f"replaying {len(recordings)} recording{'' if len(recordings) == 1 else 's'}"
    judged, left_out = judge(
        recordings, candidates, args.by, lambda share: progress.say(f"{step}, {share:.0%}"), open_cache()
    )
    progress.clear()
    _warn_of(left_out)
    odd = [text for recording in recordings for text in label_warnings(recording)]
    for text in odd:
        warn(f"warning: {text}")
    for one in judged:
        if one.recording.complaint:
            warn(f"{one.recording.file}: warning: {one.recording.complaint}; the sound part was used")
    if not judged:
        raise _nothing_left(left_out)
    report = tune(judged, left_out, candidates, rate, args.by)
    if args.json:
        say_json({"kind": "tune", **asdict(report), "cautions": [*cautions(report), *odd]})
    talk = not (args.json or args.quiet)
    if talk:
        from coilcount.face.tune_text import print_tune

        print_tune(report, sys.stdout)
    text = None if out is None or report.best is None else _settings_text(candidates, report)
    with contextlib.nullcontext() if text is None else saved(out, text):
        # The pictures are drawn inside: if they cannot be written, no settings file is left that would stop a
        # second try.
        if args.picture:
            from coilcount.face.picture_tune import draw_tune

            progress.say("drawing the pictures")
            paths = draw_tune(report, Path(args.picture))
            progress.clear()
    if args.picture and talk:
        say("drawn: " + ", ".join(str(path) for path in paths))
    if report.best is None:
        raise _not_reached(report)
    if out is not None and talk:
        say(
            f"settings in {out}",
            f"next: coilcount live --settings {shlex.quote(str(out))}, or name the file coilcount.toml",
        )
    return EXIT_DONE


def _settings_text(candidates: Sequence[Settings], report: TuneReport) -> str:
    from coilcount.face.tune_words import settings_comments

    best = report.candidates[report.best]
    tracker = {**best.changed, "threshold": best.threshold}
    return settings_text(candidates[0], tracker, settings_comments(report))


def _warn_of(left_out: Sequence[LeftOutRecording]) -> None:
    for one in left_out[:_MOST_LEFT_OUT]:
        warn(f"{one.file}: warning: left out: {one.reason}")
    if len(left_out) > _MOST_LEFT_OUT:
        warn(f"warning: {len(left_out) - _MOST_LEFT_OUT} more recordings left out")


def _nothing_left(left_out: Sequence[LeftOutRecording]) -> InputError:
    from coilcount.desk.tune_inputs import NO_LABELS

    if all(one.reason == NO_LABELS for one in left_out):
        return InputError(
            "none of the recordings has labels",
            remedy="Label the passes first, or give a recording without objects to coilcount noise",
        )
    return InputError("no recording can be used", remedy="The warnings above give the reasons")


def _not_reached(report: TuneReport) -> NotReached:
    lowest = min(report.curve, key=lambda row: row.outcome.false_alarms)
    rate = lowest.outcome.rate
    if rate is None:
        return NotReached(
            "no minute is without objects, so no false-alarm rate is known",
            remedy="Add recordings of the same ground with fewer objects",
        )
    return NotReached(
        f"no threshold up to {report.curve[-1].threshold:g} keeps a rate of {report.false_alarms_per_minute:g} a "
        f"minute; {lowest.threshold:g} gives {rate.value:.2g} false alarms a minute",
        remedy="Label what lies there if it is no noise, or accept more",
    )
