"""`coilcount inspect`: what a capture holds, and whether it is whole (exit 1 if it is not)."""

import argparse
import dataclasses
import sys
from typing import Any

from coilcount.commands.recordings import add_recordings, recordings_in
from coilcount.errors import EXIT_DONE, EXIT_NO, CoilcountError, InputError
from coilcount.face.say import say, say_json, warn

# Lists of bounded length: their first and last items are printed, those between are counted.
_LISTS = ("marks", "operator", "gaps")

EXAMPLES = (
    ("coilcount inspect field.ccap", "what it holds, and whether it is whole"),
    ("coilcount inspect field", "every recording in a folder; the parts of one recording are taken together"),
    ("coilcount inspect torn.ccap --salvage sound.ccap", "copy the sound lines of a damaged capture"),
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_recordings(parser)
    parser.add_argument("--salvage", metavar="OUT", help="copy every sound line of one capture to a new one")
    parser.add_argument("--json", action="store_true", help="one JSON object for each recording")
    parser.add_argument("--quiet", action="store_true", help="print nothing; the exit code is the answer")


def run(args: argparse.Namespace) -> int:
    recordings = recordings_in(args.files)
    if args.salvage and (len(recordings) > 1 or len(recordings[0].parts) > 1):
        raise InputError("--salvage takes one capture", remedy="Give one FILE, and run it again for each other one")
    whole = True
    failed: CoilcountError | None = None
    for number, recording in enumerate(recordings):
        if len(recordings) > 1 and not (args.json or args.quiet):
            say(*([""] if number else []), recording.name)
        try:
            whole &= _inspect(args, recording)
        except CoilcountError as error:
            if len(recordings) == 1:
                raise
            failed = error
            warn(str(error))
    if failed is not None:
        return failed.exit_code
    return EXIT_DONE if whole else EXIT_NO


def _inspect(args: argparse.Namespace, recording: Any) -> bool:
    """Print what one recording holds.  Returns True if it is whole."""
    from coilcount.capture.salvage import salvage
    from coilcount.desk.glance import count_labels
    from coilcount.desk.survey import survey
    from coilcount.face.progress import Progress

    progress = Progress(sys.stderr)
    found = survey(recording, lambda entries, report: progress.over("reading", entries, lambda _: report.share()))
    labels = count_labels(recording)
    saved = None
    if args.salvage:
        saved = salvage(
            recording.name,
            args.salvage,
            lambda lines, report: progress.over("copying", lines, lambda _: report.share()),
        )
    if args.json:
        say_json(_as_json(recording, found, labels, saved))
    elif not args.quiet:
        for name, text in _as_rows(recording, found, labels):
            say(f"{name:<10} {text}")
        if saved is not None:
            say(f"{'salvaged':<10} {saved} lines to {args.salvage}")
        elif not found.report.whole:
            which = "it" if len(recording.parts) == 1 else "that of one file"
            say(f"{'remedy':<10} replay uses the sound part; --salvage OUT copies {which} to a new capture")
    return found.report.whole


def _as_rows(recording, found, labels):
    from coilcount.commands.captured import (
        build_check_words,
        build_words,
        label_words,
        learned_words,
        settings_words,
    )
    from coilcount.face.times import instant, length

    report, header = found.report, found.header
    yield "source", header.source + (", simulated" if header.simulated else "")
    yield "start", header.start_utc or "unknown"
    yield "duration", length(found.duration_s)
    if len(recording.parts) > 1:
        yield "parts", ", ".join(str(path) for path in recording.parts)
    elif header.part > 1:
        yield "part", str(header.part)
    yield "build", build_words(header.build)
    if header.build is not None:
        yield "checked", build_check_words(header.build_check)
    yield "settings", settings_words(header.settings)
    yield "began with", learned_words(header.learned)
    yield "labels", label_words(labels)
    if found.hello:
        hello = found.hello
        yield (
            "board",
            f"{hello['board']} {hello['uid']}, firmware {hello['firmware']}, protocol {hello['protocol']}, "
            f"interval {hello['interval_ms']} ms, {_count(found.boots, 'boot')}",
        )
    yield "records", f"{found.records}, lost {found.lost}, dropped by the board {found.dropped}"
    if found.mended or found.repaired:
        yield (
            "mended",
            (
                f"{_count(found.mended, 'reading')} that jumped further than a pass can, "
                f"{_count(found.repaired, 'miscounted edge')} repaired"
            ),
        )
    yield "link", f"{_count(found.damaged, 'damaged line')}, {_count(found.text_lines, 'line')} of other text"
    if found.faults:
        words = ", ".join(f"{word} {count}" for word, count in found.faults.items())
        yield "flagged", f"{words} (intervals)"
    for time_s, entry in found.operator:
        if entry.action != "mark":
            value = "" if entry.value is None else f" {entry.value:g}"
            yield "operator", f"{instant(time_s)} {entry.action}{value}"
    for mark in found.marks:
        yield "mark", f"{instant(mark.time_s)} {mark.text}".rstrip()
    for gap in found.gaps:
        yield "gap", f"{instant(gap.start_s)} to {'about ' if gap.bridged else ''}{instant(gap.end_s)}, {gap.reason}"
    for name in _LISTS:
        left_out = getattr(found, name).left_out
        if left_out:
            yield "left out", f"{left_out} of {name}, between the first and the last that are listed"
    for name, text in header.notes.items():
        yield "note", f"{name}: {text}"
    if report.unknown:
        yield "newer", f"{_count(report.unknown, 'line')} of kinds that this version does not know"
    if report.damaged_lines:
        more = ", ..." if report.damaged > len(report.damaged_lines) else ""
        yield "damaged", "line " + ", ".join(map(str, report.damaged_lines)) + more
    yield "whole", f"yes, {report.status}" if report.whole else "no: " + report.complaint()


def _as_json(recording, found, labels, saved):
    from coilcount.commands.captured import label_object, learned_object

    report = found.report
    return {
        "kind": "inspection",
        "file": recording.name,
        "whole": report.whole,
        "complaint": report.complaint(),
        "status": report.status,
        "source": found.header.source,
        "simulated": found.header.simulated,
        "start_utc": found.header.start_utc,
        "duration_s": round(found.duration_s, 6),
        "part": found.header.part,
        "lines": report.lines,
        "damaged_entries": report.damaged,
        "torn_tail": report.torn_tail,
        "unknown": report.unknown,
        "records": found.records,
        "lost": found.lost,
        "dropped": found.dropped,
        "damaged": found.damaged,
        "mended": found.mended,
        "repaired": found.repaired,
        "faults": found.faults,
        "text_lines": found.text_lines,
        "kinds": found.kinds,
        "boots": found.boots,
        "board": found.hello,
        "marks": [dataclasses.asdict(mark) for mark in found.marks],
        "operator": [
            {"time_s": round(time_s, 6), "action": entry.action, "value": entry.value, "text": entry.text}
            for time_s, entry in found.operator
        ],
        "gaps": [dataclasses.asdict(gap) for gap in found.gaps],
        "left_out": {name: getattr(found, name).left_out for name in _LISTS},
        "notes": found.header.notes,
        "salvaged": saved,
        "parts": [str(path) for path in recording.parts],
        "parts_missing": list(recording.missing),
        "build": found.header.build,
        "build_check": found.header.build_check,
        "settings": found.header.settings,
        "learned": learned_object(found.header.learned),
        "labels": label_object(labels),
    }


def _count(number, word):
    return f"{number} {word}{'' if number == 1 else 's'}"
