"""`coilcount compare`: two settings on the same recordings, or two builds over one course."""

import argparse
import itertools
import sys
from collections.abc import Callable, Sequence
from dataclasses import asdict, replace
from functools import partial
from pathlib import Path
from typing import Any

from coilcount.commands.common_options import read_rate
from coilcount.commands.recordings import add_recordings
from coilcount.errors import EXIT_DONE, InputError
from coilcount.face.say import say, say_json, warn

_DEFAULTS = "defaults"  # the word for the settings without any file

EXAMPLES = (
    ("coilcount compare field.ccap --settings old.toml new.toml", "two settings on the same recordings"),
    ("coilcount compare captures/ --threshold 4.8 6", "two thresholds, in sigma"),
    ("coilcount compare old-coil/ --with new-coil/", "two builds that swept the same course, both labelled"),
    (
        "coilcount compare old-coil/ --with new-coil/ --false-alarms-per-minute 1 --clean old.ccap new.ccap",
        "the same, each with the threshold that gives 1 false alarm a minute on a sweep without objects",
    ),
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_recordings(parser)
    parser.add_argument(
        "--with", nargs="+", metavar="FILE", dest="others",
        help="recordings of the second build, B, over the same course; those before are of A",
    )  # fmt: skip
    parser.add_argument(
        "--settings", nargs=2, metavar="SETTINGS.toml",
        help=f'the settings files of A and of B; the word "{_DEFAULTS}" stands for no file',
    )  # fmt: skip
    parser.add_argument("--threshold", nargs=2, metavar="SIGMA", help="the thresholds of A and of B")
    parser.add_argument(
        "--false-alarms-per-minute", metavar="N",
        help="give A and B each the threshold for this false-alarm rate, so that the comparison is fair",
    )  # fmt: skip
    parser.add_argument(
        "--clean", nargs="+", metavar="FILE",
        help="compute these thresholds from recordings without objects: that of A and that of B, or one for both",
    )  # fmt: skip
    parser.add_argument("--picture", metavar="DIR", help="draw the comparison into a folder (SVG, PNG)")
    parser.add_argument("--json", action="store_true", help="one JSON object")
    parser.add_argument("--quiet", action="store_true", help="print nothing but warnings")


def run(args: argparse.Namespace) -> int:
    from coilcount.commands.cache import open_cache
    from coilcount.desk.compare import compare
    from coilcount.desk.labels import label_warnings
    from coilcount.face.compare_words import SAME_SETTINGS, conclusion
    from coilcount.face.progress import Progress

    per_minute = None if args.false_alarms_per_minute is None else read_rate(args.false_alarms_per_minute)
    same_recordings = args.others is None
    if same_recordings and args.settings is None and args.threshold is None:
        raise InputError(
            "there is nothing to compare with",
            remedy="Give --settings A.toml B.toml, --threshold A B, or the recordings of a second build after --with",
        )
    if per_minute is not None and args.threshold is not None:
        raise InputError("--threshold and --false-alarms-per-minute exclude each other", remedy="Give one of them")
    settings = _settings(args)
    told: list[str] = []

    def tell(text: str) -> None:
        told.append(text)
        warn(f"warning: {text}")

    sides = _recordings(args, tell)
    for recording in dict.fromkeys(itertools.chain(*sides)):
        for text in label_warnings(recording):
            tell(text)
    clean = _clean(args)
    talk = not (args.json or args.quiet)
    if same_recordings and settings[0][0].tracker == settings[1][0].tracker:
        if args.json:
            say_json({"kind": "comparison", "same_settings": True, "different": False, "conclusion": SAME_SETTINGS})
        elif talk:
            say(SAME_SETTINGS)
        return EXIT_DONE
    from coilcount.desk.compare_sides import Given
    from coilcount.desk.many import replay_many

    a, b = (
        Given(name, tuple(recordings), of_side, origin, tuple(clean_of_side))
        for name, recordings, (of_side, origin), clean_of_side in zip("AB", sides, settings, clean, strict=True)
    )
    progress = Progress(sys.stderr)

    replay = partial(
        replay_many, progress=lambda share: progress.say(f"replaying, {share:.0%}"), cache=open_cache()
    )
    report = compare(a, b, same_recordings=same_recordings, per_minute=per_minute, replay=replay)
    report = replace(report, cautions=(*told, *report.cautions))
    progress.clear()
    for text in report.cautions[len(told) :]:
        warn(f"warning: {text}")
    if args.json:
        say_json(
            {"kind": "comparison", "different": report.different, "conclusion": conclusion(report), **asdict(report)}
        )
    elif talk:
        from coilcount.face.compare_text import print_comparison

        print_comparison(report, sys.stdout)
    if args.picture:
        from coilcount.face.picture_compare import draw_comparison

        progress.say("drawing the picture")
        paths = draw_comparison(report, Path(args.picture))
        progress.clear()
        if talk:
            say("drawn: " + ", ".join(str(path) for path in paths))
    return EXIT_DONE


def _settings(args: argparse.Namespace) -> list[tuple[Any, str]]:
    """Settings of A and of B, each with the place where they come from."""
    from coilcount.settings import BY_DEFAULT, defaults, load_settings

    found = []
    for index in range(2):
        word = None if args.settings is None else args.settings[index]
        settings = defaults() if word == _DEFAULTS else load_settings(word)
        origins = {origin for origin in settings.origins.values() if origin != BY_DEFAULT}
        origin = word or next(iter(origins), _DEFAULTS)
        if args.threshold is not None:
            settings = settings.with_threshold(_number(args.threshold[index]))
        found.append((settings, origin))
    return found


def _recordings(args: argparse.Namespace, told: Callable[[str], None]) -> list[Sequence[Any]]:
    from coilcount.commands.recordings import recordings_in
    from coilcount.desk.compare_recordings import without_common

    of_a = recordings_in(args.files)
    if args.others is None:
        return [of_a, of_a]
    of_b = recordings_in(args.others)
    of_a, of_b = without_common(of_a, of_b, told)
    for name, recordings in (("A", of_a), ("B", of_b)):
        if not recordings:
            raise InputError(
                f"{name} has no recordings of its own: A and B were given the same ones",
                remedy="Give two builds their own recordings, or compare two --settings without --with",
            )
    return [of_a, of_b]


def _clean(args: argparse.Namespace) -> list[Sequence[Any]]:
    """The recordings without objects of A and of B."""
    from coilcount.commands.recordings import recordings_in

    if args.clean is None:
        return [(), ()]
    if args.false_alarms_per_minute is None:
        raise InputError("--clean needs a rate", remedy="Give --false-alarms-per-minute N, too")
    if len(args.clean) > 2:
        raise InputError(
            f"--clean has {len(args.clean)} names", remedy="Give one for both or two, files or folders, A first"
        )
    return [recordings_in([args.clean[0]]), recordings_in([args.clean[-1]])]


def _number(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise InputError(f'--threshold is "{text}"', remedy="Give two numbers, in sigma") from None
