"""The options of `coilcount label` as words and times of labels.  Wrong ones raise InputError."""

import argparse
import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from coilcount.errors import InputError
from coilcount.model import PROPOSED, Label

# s before and after --at that the label covers if --from and --to are not given.  Chosen by hand: a person notes the
# time of day in whole seconds.
AROUND_S = 1.0
_NOTHING_WORD = "nothing"  # the object of --nothing
_EMPTY = "none"  # takes a depth away again


def words_of_a_new_label(args: argparse.Namespace, text: str | None = None) -> dict[str, Any]:
    """object, metal, response, depth_cm and note of a new label.  text: the object if --object is not given."""
    name = args.object if args.object is not None else text
    if args.nothing:
        _check_nothing(args)
        words = {"object": name or _NOTHING_WORD, "response": ""}
    else:
        if not name:
            raise InputError("no object is given", remedy="Give --object, or --nothing if nothing was to be found")
        if args.response is None:
            raise InputError("no response is given", remedy="Give --response, or --nothing if nothing was to be found")
        words = {"object": name, "response": _response(args.response)}
    _check_object(name)
    return {**words, "metal": args.metal or "", "depth_cm": _depth(args.depth_cm), "note": args.note or ""}


def reworded(label: Label, args: argparse.Namespace, number: int) -> Label:
    """A label with the words that the options give."""
    _check_object(args.object)
    words: dict[str, Any] = {
        name: getattr(args, name) for name in ("object", "metal", "note") if getattr(args, name) is not None
    }
    if args.depth_cm is not None:
        words["depth_cm"] = _depth(args.depth_cm)
    if args.response is not None:
        words["response"] = _response(args.response)
    if args.nothing:
        _check_nothing(args)
        words = {"object": _NOTHING_WORD, **words, "response": "", "metal": "", "depth_cm": None}
    new = replace(label, **words)
    if label.is_proposed and set(words) - {"note"}:
        if new.is_proposed or not (new.response or args.nothing):
            raise InputError(
                f"label {number} is a proposal, and says neither object nor response yet",
                remedy="Give both --object and --response, or --nothing",
            )
    elif not new.object:
        raise InputError(f"label {number} would have no object", remedy="Give --object a name")
    return new


def _check_nothing(args: argparse.Namespace) -> None:
    for name in ("response", "metal", "depth_cm"):
        if getattr(args, name):
            raise InputError(
                f"--nothing and --{name.replace('_', '-')} contradict one another", remedy="Leave one of them out"
            )


def _check_object(name: str | None) -> None:
    if name == PROPOSED:
        raise InputError(f'the object "{PROPOSED}" is kept for proposals', "--object", "Give another name")


def _response(word: str) -> str:
    from coilcount.capture.labels import check_response

    if not word:
        raise InputError("response is empty", "--response", "Give --nothing if there was nothing to find")
    check_response(word, "--response")
    return word


def _depth(text: str | None) -> float | None:
    return None if text in (None, _EMPTY, "") else number_in(text, "--depth-cm")


def number_in(text: str, name: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise InputError(f'{name} is "{text}"', remedy="Give a number")
    return value


def given_times(args: argparse.Namespace, clock: Any) -> tuple[float | None, float | None, float | None]:
    """--at, --from and --to in s on the axis of the recording, None if not given."""
    return tuple(
        None if text is None else clock.seconds(text, name)
        for text, name in ((args.at, "--at"), (getattr(args, "from"), "--from"), (args.to, "--to"))
    )


def spanned(at_s: float | None, from_s: float | None, to_s: float | None, words: dict[str, Any]) -> Label:
    """A new label.  Without --at it is closest in the middle; without --from or --to it reaches 1 s around --at."""
    if at_s is None and (from_s is None or to_s is None):
        raise InputError("only one end of the label is given", remedy="Give --from and --to, or --at")
    start_s = at_s - AROUND_S if from_s is None else from_s
    end_s = at_s + AROUND_S if to_s is None else to_s
    return _ordered(Label(start_s, end_s, 0.5 * (start_s + end_s) if at_s is None else at_s, **words))


def moved(label: Label, at_s: float | None, from_s: float | None, to_s: float | None) -> Label:
    """A label with other times.  --at alone moves the whole label."""
    if at_s is not None and from_s is None and to_s is None:
        by_s = at_s - label.closest_s
        return replace(label, start_s=max(0.0, label.start_s + by_s), end_s=label.end_s + by_s, closest_s=at_s)
    start_s = label.start_s if from_s is None else from_s
    end_s = label.end_s if to_s is None else to_s
    if at_s is None:
        at_s = label.closest_s if start_s <= label.closest_s <= end_s else 0.5 * (start_s + end_s)
    return _ordered(replace(label, start_s=start_s, end_s=end_s, closest_s=at_s))


def _ordered(label: Label) -> Label:
    if not label.start_s <= label.closest_s <= label.end_s:
        raise InputError(
            f"the label would run from {label.start_s:g} s to {label.end_s:g} s with its closest time at "
            f"{label.closest_s:g} s",
            remedy="--from must not be later than --at, and --at not later than --to",
        )
    return label


def cut(label: Label, extent: Any, from_s: float | None, to_s: float | None) -> Label:
    """Cut an end that was not given to the recording, if the closest time lies inside it."""
    if not extent.start_s <= label.closest_s <= extent.end_s:
        return label
    start_s = max(label.start_s, extent.start_s) if from_s is None else label.start_s
    end_s = min(label.end_s, extent.end_s) if to_s is None else label.end_s
    return replace(label, start_s=start_s, end_s=end_s)


def rounded(label: Label) -> Label:
    """Whole milliseconds: a label is not more exact."""
    times = (label.start_s, label.end_s, label.closest_s)
    start_s, end_s, closest_s = (round(time_s, 3) for time_s in times)
    return replace(label, start_s=start_s, end_s=end_s, closest_s=closest_s)


def numbers_in(words: Sequence[str], file: Any) -> list[int]:
    """The numbers of labels, from words such as 3, 3-5 and proposed.  Raises InputError for one that is not there."""
    if not words:
        raise InputError(
            "no number is given", remedy="Give numbers as coilcount label list shows them, such as 3 or 3-5"
        )
    if not file.labels:
        raise InputError("there are no labels", str(file.path), "Add some: coilcount label add, or label propose")
    numbers: list[int] = []
    for word in words:
        if word == "proposed":
            numbers += [number for number, label in enumerate(file.labels, 1) if label.is_proposed]
            continue
        first, dash, last = word.partition("-")
        if not (first.isdecimal() and (last.isdecimal() or not dash)):
            raise InputError(f'"{word}" is no number of a label', remedy="Give numbers such as 3 or 3-5, or proposed")
        low, high = int(first), int(last) if dash else int(first)
        if not 1 <= low <= high <= len(file.labels):
            raise InputError(
                f"there is no label {word}", str(file.path), f"It has labels 1 to {len(file.labels)}; see label list"
            )
        numbers += range(low, high + 1)
    if not numbers:
        raise InputError("there are no proposals", str(file.path), "See coilcount label list")
    return sorted(set(numbers))
