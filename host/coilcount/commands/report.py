"""`coilcount report FILE... --out PAGE.html`: one page to look at recordings, label them and choose a threshold."""

import argparse
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from coilcount.commands.common_options import add_settings
from coilcount.commands.recordings import add_recordings, recordings_in
from coilcount.errors import EXIT_DONE, CoilcountError, InputError
from coilcount.face.say import say, say_json, warn

EXAMPLES = (
    ("coilcount report field.ccap --out field.html", "a page that any browser opens, without a network"),
    ("coilcount report recordings --out all.html", "all recordings of a folder in one page"),
    ("coilcount report field.ccap --settings field.toml --out field.html", "the slider starts at its threshold"),
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_recordings(parser)
    parser.add_argument("--out", metavar="PAGE.html", help="the new file for the page (needed)")
    add_settings(parser)
    parser.add_argument("--json", action="store_true", help="what was written, as one JSON object")
    parser.add_argument("--quiet", action="store_true", help="print nothing; warnings stay")


def run(args: argparse.Namespace) -> int:
    from coilcount.capture.failures import cannot_write
    from coilcount.face.page import page_html
    from coilcount.face.progress import Progress
    from coilcount.new_files import new_file
    from coilcount.settings import load_settings

    if args.out is None:
        raise InputError("report needs a file for its page", remedy="Give --out PAGE.html")
    out = Path(args.out)
    if out.exists():
        raise InputError("the file exists and is not overwritten", str(out), "Give --out another name")
    if not out.parent.is_dir():
        raise InputError("there is no such folder", str(out.parent), "Make the folder, or check the name")
    settings = load_settings(args.settings)
    recordings = recordings_in(args.files)
    progress = Progress(sys.stderr)
    rows: list[dict] = []
    text = page_html(_gathered(recordings, settings, progress, rows))
    try:
        with new_file(out, newline="\n") as file:
            file.write(text)
    except OSError as error:
        raise cannot_write(error, out) from None
    size = out.stat().st_size
    if args.json:
        say_json({"kind": "report", "file": str(out), "bytes": size, "recordings": rows})
    elif not args.quiet:
        many = "1 recording" if len(rows) == 1 else f"{len(rows)} recordings"
        say(f"{out}: {many}, {size / 1000:.0f} kB; open it in a browser")
    return EXIT_DONE


def _gathered(recordings: Any, settings: Any, progress: Any, rows: list[dict]) -> Iterator[Any]:
    """The recordings for the page, one after the other; `rows` gets what --json prints of each.

    A recording that cannot be used is left out with a warning, if others can be used.
    """
    from coilcount.commands.cache import open_cache
    from coilcount.desk.many import Job, replay_jobs
    from coilcount.desk.report import page_recording, threshold_grid

    thresholds = tuple(threshold_grid(settings))
    jobs = [Job(recording, settings, thresholds, series=True) for recording in recordings]
    finished = replay_jobs(jobs, progress=lambda share: progress.say(f"replaying, {share:.0%}"), cache=open_cache())
    failure: CoilcountError | None = None
    for recording, result in zip(recordings, _in_order(finished), strict=True):
        try:
            if isinstance(result, CoilcountError):
                raise result
            shown = page_recording(recording, settings, result)
        except CoilcountError as error:
            if len(recordings) == 1:
                raise
            failure = failure or error
            progress.clear()
            warn(f"warning: left out: {error}")
            continue
        progress.clear()
        rows.append(_row(shown))
        if shown.replay.complaint:
            warn(f"{recording.name}: warning: {shown.replay.complaint}; the sound part was used")
        for complaint in shown.label_complaints:
            warn(f"{recording.name}: warning: {complaint}")
        yield shown
    if not rows:
        raise InputError(
            "none of the recordings can be used", failure.where if failure else "", "See the warnings above"
        )


def _in_order(numbered: Iterator[tuple[int, Any]]) -> Iterator[Any]:
    """The results in the order of their numbers, each as soon as it and those before it are there."""
    waiting = {}
    next_number = 0
    for number, result in numbered:
        waiting[number] = result
        while next_number in waiting:
            yield waiting.pop(next_number)
            next_number += 1


def _row(shown: Any) -> dict:
    replay = shown.replay
    return {
        "file": replay.name,
        "readings": len(replay.series.time_s),
        "duration_s": round(replay.summary.duration_s, 6),
        "thresholds": [at.threshold for at in replay.at],
        "threshold": replay.at[shown.own].threshold,
        "asked_per_minute": replay.at[shown.own].asked_per_minute,
        "alerts": len(replay.at[shown.own].alerts),
        "labels": None if shown.labels is None else len(shown.labels),
        "whole": not replay.complaint,
    }
