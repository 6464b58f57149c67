"""`coilcount label ACTION FILE`: what lay under the coil, in a file beside the capture, which is never changed."""

import argparse
import math
import sys
from collections.abc import Sequence
from typing import Any

from coilcount.commands.common_options import add_level, add_settings, with_level
from coilcount.commands.label_options import (
    AROUND_S,
    cut,
    given_times,
    moved,
    numbers_in,
    reworded,
    rounded,
    spanned,
    words_of_a_new_label,
)
from coilcount.commands.label_report import (
    counts_words,
    label_object,
    report,
    sentence,
    some,
    span_words,
    warn_of,
)
from coilcount.commands.recordings import for_each, recordings_in, watched
from coilcount.errors import EXIT_DONE, InputError
from coilcount.face.say import say, say_json, warn
from coilcount.model import Label

EXAMPLES = (
    ("coilcount label list field.ccap", "the labels of a recording, with their numbers"),
    (
        "coilcount label add field.ccap --at 12:40:05Z --object ring --metal gold --response non-ferrous --depth-cm 8",
        "the object that lay there at that time of day",
    ),
    ("coilcount label propose field.ccap", "a proposal for each alert and mark, to be confirmed with change"),
    ("coilcount label change field.ccap 3-5 --object nail --response ferrous", "confirm or correct three of them"),
)

# action: (its function's name, options that it takes besides --json and --quiet)
_TIMES = {"at", "from", "to"}
_WORDS = {"object", "metal", "response", "depth_cm", "note", "nothing"}
_OPTIONS = {
    "list": set(),
    "add": _TIMES | _WORDS,
    "change": _TIMES | _WORDS,
    "remove": set(),
    "import": {"marks"} | _WORDS,
    "propose": {"settings", "threshold", "false_alarms"},
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "action",
        choices=tuple(_OPTIONS),
        help="list: show them; add, change, remove: one label or several; import: from another label file or from the "
        "marks; propose: from alerts and marks",
    )
    parser.add_argument("file", metavar="FILE", help="a capture (.ccap or .ccap.gz); list, propose: also a folder")
    parser.add_argument(
        "more",
        nargs="*",
        metavar="MORE",
        help="change, remove: numbers of labels as list shows them, such as 3 or 3-5; import: a label file; list, "
        "propose: more captures or folders",
    )
    for name, text in (
        ("at", "when the coil was closest"),
        ("from", "begin of the label"),
        ("to", "end of the label"),
    ):
        parser.add_argument(
            f"--{name}",
            dest=name,
            metavar="TIME",
            help=f"{text}: 83.5 or 1:23.5 from the start, or a time of day such as 12:40:05Z or 12:40:05local",
        )
    parser.add_argument("--object", metavar="TEXT", help="the object that lay there")
    parser.add_argument("--metal", metavar="TEXT", help="its metal")
    parser.add_argument("--response", metavar="WORD", help="the right answer: ferrous, non-ferrous or uncertain")
    parser.add_argument("--depth-cm", metavar="CM", help="its depth below the coil's path in cm, or none")
    parser.add_argument("--note", metavar="TEXT", help="any text")
    parser.add_argument(
        "--nothing",
        action="store_true",
        help="there was nothing to find: soil, a knock; without a time, in the whole recording",
    )
    parser.add_argument("--marks", action="store_true", help="import: a label for each mark of the recording")
    add_settings(parser)
    add_level(parser, before="propose: ")
    parser.add_argument("--json", action="store_true", help="list: one JSON object a label; else one object")
    parser.add_argument("--quiet", action="store_true", help="print only errors and warnings")


def run(args: argparse.Namespace) -> int:
    for name in sorted(set().union(*_OPTIONS.values()) - _OPTIONS[args.action]):
        if getattr(args, name) not in (None, False):
            raise InputError(
                f"label {args.action} has no --{name.replace('_', '-')}", remedy="See coilcount label --help"
            )
    actions = {"list": _list, "propose": _propose, "import": _import, "add": _add, "change": _change, "remove": _remove}
    return actions[args.action](args)


# ------------------------------------------------------------ list and propose: many recordings


def _recordings(args: argparse.Namespace) -> Sequence[Any]:
    from pathlib import Path

    from coilcount.desk.recordings import recording_of

    if args.more or Path(args.file).is_dir():
        return recordings_in([args.file, *args.more])
    return [recording_of(args.file)]


def _list(args: argparse.Namespace) -> int:
    from coilcount.capture.labels import LabelFile

    recordings = _recordings(args)
    listed = []

    def show(recording: Any) -> None:
        file = LabelFile(recording.labels)
        if file.exists:
            _list_one(args, recording, file)
            listed.append(recording)
        elif not recording.parts[0].exists():
            raise InputError("there is no such file", recording.name, "Check the name and the folder")
        elif len(recordings) > 1 and not (args.json or args.quiet):
            say(f"{recording.name}: no labels")

    code = for_each(recordings, show)
    if not listed and code == EXIT_DONE:
        raise InputError(
            "there are no labels", str(recordings[0].labels), "Add some: coilcount label add, or label propose"
        )
    return code


def _list_one(args: argparse.Namespace, recording: Any, file: Any) -> None:
    from coilcount.desk.labels import extent_of, overlaps
    from coilcount.face.label_table import print_labels

    latest_s = max((label.end_s for label in file.labels), default=0.0)
    extent = extent_of(recording, latest_s, watched(f"reading {recording.name}"))
    for number, label in enumerate(file.labels, 1):
        if not extent.holds(label):
            warn(f"{file.path}: label {number} lies outside the recording, {span_words(extent)}")
    warn_of(file, overlaps(file.labels))
    if args.json:
        for number, label in enumerate(file.labels, 1):
            say_json(label_object(recording, file, number, label, extent.clock))
    elif not args.quiet:
        say(counts_words(file))
        if file.labels:
            print_labels(file.labels, extent.clock.words, sys.stdout)


def _propose(args: argparse.Namespace) -> int:
    from coilcount.capture.labels import LabelFile
    from coilcount.capture.reader import Report
    from coilcount.desk.labels_propose import propose
    from coilcount.settings import load_settings

    settings = with_level(load_settings(args.settings), args)

    def propose_in(recording: Any) -> None:
        file = LabelFile(recording.labels)
        reading = Report()
        new = propose(recording, settings, file.labels, watched(f"replaying {recording.name}"), reading)
        if not reading.whole:
            warn(f"{recording.name}: warning: {reading.complaint()}; the sound part was used")
        if new:
            file.save([*file.labels, *new])
        report(args, recording, file, some(len(new), "new proposal"), proposed_now=len(new))
        if new and not (args.json or args.quiet):
            say(
                "next: coilcount label list shows them; confirm with change (--object, --response or --nothing), "
                "or remove them"
            )

    return for_each(_recordings(args), propose_in)


# ------------------------------------------------------------ the labels of one recording


def _opened(args: argparse.Namespace) -> tuple[Any, Any]:
    """The recording that FILE belongs to, and its labels."""
    from coilcount.capture.labels import LabelFile
    from coilcount.desk.recordings import recording_of

    recording = recording_of(args.file)
    if len(recording.parts) > 1 and not args.quiet:
        warn(f"{recording.title} are one recording: its labels are in {recording.labels}, times from its start")
    return recording, LabelFile(recording.labels)


def _add(args: argparse.Namespace) -> int:
    if args.more:
        raise InputError(f'"{args.more[0]}" is one word too many', remedy="label add takes one FILE")
    words = words_of_a_new_label(args)
    recording, file = _opened(args)
    # Times in seconds need no more of the recording than their end; a time of day needs its first reading.
    extent = _extent(recording, 0.0)
    at_s, from_s, to_s = given_times(args, extent.clock)
    if at_s is None and from_s is None and to_s is None:
        if not args.nothing:
            raise InputError("no time is given", remedy="Give --at, or --from and --to")
        extent = _extent(recording)
        label = Label(extent.start_s, extent.end_s, 0.5 * (extent.start_s + extent.end_s), **words)
    else:
        label = spanned(at_s, from_s, to_s, words)
        extent = _extent(recording, label.end_s)
        label = cut(label, extent, from_s, to_s)
    _save(args, recording, file, [rounded(label)], extent)
    return EXIT_DONE


def _change(args: argparse.Namespace) -> int:
    recording, file = _opened(args)
    numbers = numbers_in(args.more, file)
    if not any(getattr(args, name) not in (None, False) for name in _OPTIONS["change"]):
        raise InputError("nothing to change is given", remedy="Give --object, --response, --at or another option")
    timed = any(getattr(args, name) is not None for name in _TIMES)
    if timed and len(numbers) > 1:
        raise InputError("a time can be given to one label only", remedy="Change one label at a time")
    extent = _extent(recording, 0.0)
    times = given_times(args, extent.clock)
    changed = []
    for number in numbers:
        label = file.labels[number - 1]
        if timed:
            label = rounded(moved(label, *times))
        changed.append(reworded(label, args, number))
    extent = _extent(recording, max(label.end_s for label in changed))
    _save(args, recording, file, changed, extent, [file.labels[number - 1] for number in numbers])
    return EXIT_DONE


def _remove(args: argparse.Namespace) -> int:
    recording, file = _opened(args)
    gone = [file.labels[number - 1] for number in numbers_in(args.more, file)]
    file.save([label for label in file.labels if not any(label is other for other in gone)])
    report(args, recording, file, f"{some(len(gone), 'label')} removed", removed=len(gone))
    if not file.labels and not args.quiet:
        warn(f"no label is left; those before the last change are in files that end in .bak beside {recording.name}")
    return EXIT_DONE


def _import(args: argparse.Namespace) -> int:
    from coilcount.capture.labels import read_all_labels

    recording, file = _opened(args)
    if args.marks == bool(args.more) or len(args.more) > 1:
        raise InputError("label import takes a label file or --marks", remedy="Give one of them")
    if args.marks:
        new = _labels_of_marks(args, recording)
    else:
        given = sorted(name for name in _WORDS if getattr(args, name) not in (None, False))
        if given:
            raise InputError(
                f"--{given[0].replace('_', '-')} goes with --marks; a label file has its own words",
                remedy="Leave it out",
            )
        new = read_all_labels(args.more[0])
    fresh = [label for label in new if label not in file.labels]
    extent = _extent(recording, max((label.end_s for label in fresh), default=0.0))
    _save(args, recording, file, fresh, extent, skipped=len(new) - len(fresh))
    return EXIT_DONE


def _labels_of_marks(args: argparse.Namespace, recording: Any) -> list[Label]:
    """A label for each mark; its text is the object if --object is not given."""
    from coilcount.desk.labels import marks_of

    marks = marks_of(recording, watched(f"reading {recording.name}"))
    if not marks:
        raise InputError("the recording has no marks", recording.name, "Use label add, or label propose")
    labels = []
    for mark in marks:
        words = words_of_a_new_label(args, mark.text)
        labels.append(Label(max(0.0, mark.time_s - AROUND_S), mark.time_s + AROUND_S, mark.time_s, **words))
    extent = _extent(recording)
    return [rounded(cut(label, extent, None, None)) for label in labels]


def _extent(recording: Any, enough_s: float = math.inf) -> Any:
    from coilcount.desk.labels import extent_of

    return extent_of(recording, enough_s, watched(f"reading {recording.name}"))


# ------------------------------------------------------------ saving and saying


def _save(
    args: argparse.Namespace,
    recording: Any,
    file: Any,
    new: Sequence[Label],
    extent: Any,
    old: Sequence[Label] = (),
    skipped: int = 0,
) -> None:
    """Put labels in the place of old ones, and say what was done."""
    from coilcount.desk.labels import overlaps
    from coilcount.face.times import instant

    for label in new:
        if not extent.holds(label):
            raise InputError(
                f'the label "{label.object}" from {instant(label.start_s)} to {instant(label.end_s)}'
                f"{_date(label, extent)} lies outside the recording, {span_words(extent)}",
                recording.name,
                "Nothing was changed; correct its time",
            )
    kept = [label for label in file.labels if not any(label is other for other in old)]
    before = set(overlaps(file.labels))
    if new:
        file.save([*kept, *new])
    warn_of(file, [text for text in overlaps(file.labels) if text not in before])
    what = "changed" if old else "added"
    text = f"{some(len(new), 'label')} {what}"
    if skipped:
        text += f", {skipped} that {'was' if skipped == 1 else 'were'} there already"
    report(args, recording, file, text, **{what: len(new)}, skipped=skipped)
    if len(new) == 1 and not (args.json or args.quiet):
        number = next(number for number, label in enumerate(file.labels, 1) if label is new[0])
        say(sentence(number, new[0], extent.clock.words))


def _date(label: Label, extent: Any) -> str:
    """The moment of a label in brackets; "" if it is not known."""
    moment = extent.clock.utc(label.closest_s)
    return "" if moment is None else f" ({moment:%Y-%m-%d %H:%M:%S}Z)"
