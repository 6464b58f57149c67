"""`coilcount captures list DIR...`: the recordings in folders, a row for each."""

import argparse
import sys
from collections.abc import Callable
from typing import Any

from coilcount.commands.common_options import add_settings
from coilcount.commands.recordings import HELP, recordings_in
from coilcount.errors import EXIT_DONE, EXIT_INPUT, EXIT_NO, CoilcountError, InputError
from coilcount.face.say import say, say_json

EXAMPLES = (
    ("coilcount captures list field", "every recording in a folder and below it"),
    ("coilcount captures list field --alerts --settings field.toml", "also count the alerts; this takes longer"),
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("action", choices=("list",), help="list: a row for each recording")
    parser.add_argument("files", nargs="+", metavar="DIR", help=HELP)
    parser.add_argument("--alerts", action="store_true", help="run the tracker and count the alerts")
    add_settings(parser)
    parser.add_argument("--json", action="store_true", help="one JSON object for each recording")


def run(args: argparse.Namespace) -> int:
    from coilcount.desk.glance import glance
    from coilcount.face.progress import Progress
    from coilcount.settings import load_settings

    if args.settings is not None and not args.alerts:
        raise InputError("--settings goes with --alerts", remedy="Give both, or neither")
    settings = load_settings(args.settings) if args.alerts else None
    recordings = recordings_in(args.files)
    progress = Progress(sys.stderr)
    found = []
    for number, recording in enumerate(recordings, 1):
        step = f"{number} of {len(recordings)}: {recording.name}"
        progress.say(step)

        def watch(entries, report, step=step):
            return progress.over(step, entries, lambda _: report.share())

        row = glance(recording, watch)
        alerts = None
        if args.alerts and not row.problem:
            alerts = _alerts(recording, settings, lambda share, step=step: progress.say(f"{step}, {share:.0%}"))
        if args.json:
            progress.clear()
            say_json(_as_json(row, alerts, args.alerts))
        found.append((row, alerts))
    progress.clear()
    if not args.json:
        from coilcount.face.capture_table import print_captures
        from coilcount.face.times import length

        print_captures([_cells(row, alerts, args.alerts) for row, alerts in found], sys.stdout, args.alerts)
        hours = length(sum(row.duration_s for row, _ in found))
        say(f"{_some(len(found), 'recording')}, {hours} in all")
    if any(not part.exists() for recording in recordings for part in recording.parts):
        return EXIT_INPUT
    return EXIT_NO if any(row.problem for row, _ in found) else EXIT_DONE


def _alerts(recording: Any, settings: Any, progress: Callable[[float], None]) -> int:
    """The number of alerts, as `replay` counts them with these settings."""
    from coilcount.commands.cache import open_cache
    from coilcount.desk.many import replay_many

    (result,) = replay_many([recording], settings, (), progress=progress, cache=open_cache())
    if isinstance(result, CoilcountError):
        raise result
    return result.summary.alerts


def _cells(row: Any, alerts: int | None, with_alerts: bool) -> list[str]:
    from coilcount.face.times import length

    header, recording = row.header, row.recording
    name = recording.name + (f" (+{len(recording.parts) - 1})" if len(recording.parts) > 1 else "")
    cells = [
        name,
        "" if header is None else header.start_utc[:19].replace("T", " "),
        "" if row.problem else length(row.duration_s),
        row.build,
        row.soil,
        "" if row.problem else str(row.marks),
        _label_words(row.labels),
        row.problem or ("damaged: " + row.complaint if row.complaint else "whole") + _simulated(header),
    ]
    if with_alerts:
        cells.insert(6, "" if alerts is None else str(alerts))
    return cells


def _simulated(header: Any) -> str:
    return ", simulated" if header is not None and header.simulated else ""


def _label_words(counts: Any) -> str:
    if counts.problem:
        return "cannot be read"
    text = str(counts.objects + counts.nothing) if counts.path else "none"
    return text + (f", {counts.proposed} proposed" if counts.proposed else "")


def _as_json(row: Any, alerts: int | None, with_alerts: bool) -> dict[str, Any]:
    from coilcount.commands.captured import label_object

    header = row.header
    return {
        "kind": "capture",
        "file": row.recording.name,
        "parts": [str(path) for path in row.recording.parts],
        "parts_missing": list(row.recording.missing),
        "start_utc": "" if header is None else header.start_utc,
        "duration_s": None if row.problem else round(row.duration_s, 3),
        "simulated": header is not None and header.simulated,
        "build": row.build,
        "notes": {} if header is None else header.notes,
        "marks": row.marks,
        **({"alerts": alerts} if with_alerts else {}),
        "labels": label_object(row.labels),
        "whole": not (row.problem or row.complaint),
        "complaint": row.complaint,
        "problem": row.problem,
    }


def _some(count: int, word: str) -> str:
    return f"{count} {word}{'' if count == 1 else 's'}"
