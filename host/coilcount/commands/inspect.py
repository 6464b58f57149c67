"""`coilcount inspect`: what a capture holds, and whether it is whole (exit 1 if it is not)."""

import argparse
import dataclasses
import sys

from coilcount.errors import EXIT_DONE, EXIT_NO
from coilcount.face.say import say, say_json

# Lists of bounded length: their first and last items are printed, those between are counted.
_LISTS = ("marks", "operator", "gaps")

EXAMPLES = (
    ("coilcount inspect field.ccap", "what it holds, and whether it is whole"),
    ("coilcount inspect torn.ccap --salvage sound.ccap", "copy the sound lines of a damaged capture"),
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", metavar="FILE", help="a capture (.ccap or .ccap.gz)")
    parser.add_argument("--salvage", metavar="OUT", help="copy every sound line to a new capture")
    parser.add_argument("--json", action="store_true", help="one JSON object")
    parser.add_argument("--quiet", action="store_true", help="print nothing; the exit code is the answer")


def run(args: argparse.Namespace) -> int:
    from coilcount.capture.salvage import salvage
    from coilcount.desk.survey import survey
    from coilcount.face.progress import Progress

    progress = Progress(sys.stderr)
    found = survey(args.file, lambda entries, report: progress.over("reading", entries, lambda _: report.share()))
    saved = None
    if args.salvage:
        saved = salvage(
            args.file,
            args.salvage,
            lambda lines, report: progress.over("copying", lines, lambda _: report.share()),
        )
    if args.json:
        say_json(_as_json(args.file, found, saved))
    elif not args.quiet:
        for name, text in _as_rows(found):
            say(f"{name:<10} {text}")
        if saved is not None:
            say(f"{'salvaged':<10} {saved} lines to {args.salvage}")
        elif not found.report.whole:
            say(f"{'remedy':<10} replay uses the sound part; --salvage OUT copies it to a new capture")
    return EXIT_DONE if found.report.whole else EXIT_NO


def _as_rows(found):
    from coilcount.face.times import instant, length

    report, header = found.report, found.header
    yield "source", header.source + (", simulated" if header.simulated else "")
    yield "start", header.start_utc or "unknown"
    yield "duration", length(found.duration_s)
    if header.part > 1:
        yield "part", str(header.part)
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


def _as_json(path, found, saved):
    report = found.report
    return {
        "kind": "inspection",
        "file": str(path),
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
    }


def _count(number, word):
    return f"{number} {word}{'' if number == 1 else 's'}"
