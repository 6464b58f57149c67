"""What `coilcount label` prints: what was done, and labels in one line or as JSON."""

import argparse
from collections.abc import Callable, Sequence
from dataclasses import asdict
from typing import Any

from coilcount.face.say import say, say_json, warn
from coilcount.model import Label

_COUNTS = ("added", "changed", "removed", "proposed_now", "skipped")


def label_object(recording: Any, file: Any, number: int, label: Label, clock: Any) -> dict[str, Any]:
    """The object of `label list --json` for one label."""
    moment = clock.utc(label.closest_s)
    return {
        "kind": "label",
        "file": recording.name,
        "labels": str(file.path),
        "number": number,
        "closest_utc": None if moment is None else moment.isoformat(timespec="milliseconds").replace("+00:00", "Z"),
        "proposed": label.is_proposed,
        **asdict(label),
    }


def span_words(extent: Any) -> str:
    """What a recording covers, from the start and by the time of day."""
    from coilcount.face.times import instant

    words = f"{instant(extent.start_s)} to {instant(extent.end_s)}"
    begin, end = extent.clock.words(extent.start_s), extent.clock.words(extent.end_s)
    return f"{words} ({begin} to {end})" if begin else words


def sentence(number: int, label: Label, time_of_day: Callable[[float], str]) -> str:
    """One label in one line."""
    from coilcount.face.label_table import NOTHING, UNCONFIRMED
    from coilcount.face.times import instant

    when = time_of_day(label.closest_s)
    words = [
        f"{number}: {instant(label.closest_s)}{f' ({when})' if when else ''}",
        f"{instant(label.start_s)} to {instant(label.end_s)}",
        label.object,
        label.metal,
        UNCONFIRMED if label.is_proposed else label.response or NOTHING,
        "" if label.depth_cm is None else f"{label.depth_cm:g} cm",
        label.note,
    ]
    return ", ".join(word for word in words if word)


def report(args: argparse.Namespace, recording: Any, file: Any, text: str, **counts: int) -> None:
    """Print what was done to the labels of a recording.  counts: of labels, by the names in _COUNTS."""
    if args.json:
        proposed = sum(label.is_proposed for label in file.labels)
        say_json(
            {
                "kind": "label " + args.action,
                "file": recording.name,
                "labels": str(file.path),
                "proposals": str(file.proposed_path),
                **(dict.fromkeys(_COUNTS, 0) | counts),
                "confirmed": len(file.labels) - proposed,
                "proposed": proposed,
            }
        )
    elif not args.quiet:
        say(f"{text}; now {counts_words(file)}")


def counts_words(file: Any) -> str:
    """How many labels and proposals there are, and in which files."""
    proposed = sum(label.is_proposed for label in file.labels)
    confirmed = len(file.labels) - proposed
    words = [f"{some(confirmed, 'label')} in {file.path}"] if confirmed or not proposed else []
    words += [f"{some(proposed, 'proposal')} in {file.proposed_path}"] if proposed else []
    return ", ".join(words)


def some(count: int, word: str) -> str:
    """A number and a word in its singular or plural."""
    return f"{count} {word}{'' if count == 1 else 's'}"


def warn_of(file: Any, texts: Sequence[str]) -> None:
    """Print warnings about a label file."""
    for text in texts:
        warn(f"{file.path}: {text}")
