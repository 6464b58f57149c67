"""Options that several commands have, with one wording for all."""

import argparse
from typing import Any

from coilcount.errors import InputError

_LOWEST_RATE, _HIGHEST_RATE = 0.001, 60.0  # false alarms a minute that may be asked for; chosen by hand


def add_settings(parser: argparse.ArgumentParser) -> None:
    """--settings."""
    parser.add_argument(
        "--settings", metavar="SETTINGS.toml",
        help="a settings file; without it coilcount.toml in the working folder, else your own (settings show)",
    )  # fmt: skip


def add_scene(parser: argparse.ArgumentParser, default: str | None = None) -> None:
    """--scene and --seed.  default: the scene if none is given; None leaves that to the command."""
    parser.add_argument(
        "--scene", metavar="SCENE", default=default,
        help="what the virtual board's coil meets: a built-in scene (coilcount scenes lists them) or a TOML file",
    )  # fmt: skip
    parser.add_argument("--seed", type=int, metavar="N", help="another run of the same scene, with other noise")


def add_source(parser: argparse.ArgumentParser) -> None:
    """--port or --virtual, and what the virtual board simulates."""
    where = parser.add_mutually_exclusive_group()
    where.add_argument("--port", help="device, URL such as socket://127.0.0.1:5000, or a board's serial number")
    where.add_argument("--virtual", action="store_true", help="the real firmware on a simulated coil; needs no board")
    add_scene(parser)


def add_false_alarms(parser: argparse.ArgumentParser, before: str = "", after: str = "") -> None:
    """--false-alarms.  before, after: further words of its help."""
    words = f"{before}allow at most about N false alarms a minute, usually 0.1 to 10{after}"
    parser.add_argument("--false-alarms", metavar="N", help=words)


def add_level(parser: argparse.ArgumentParser, before: str = "", after: str = "") -> None:
    """--false-alarms and --threshold.  before, after: further words of their help."""
    add_false_alarms(parser, before, after)
    words = f"{before}a fixed threshold, in place of those that follow from false alarms a minute{after}"
    parser.add_argument("--threshold", metavar="SIGMA", help=words)


def with_level(settings: Any, args: argparse.Namespace) -> Any:
    """The Settings with --false-alarms or --threshold, if one of them was given.  Raises InputError."""
    false_alarms, threshold = args.false_alarms, getattr(args, "threshold", None)
    if false_alarms is not None and threshold is not None:
        raise InputError("--false-alarms and --threshold exclude each other", remedy="Give one of them")
    if false_alarms is not None:
        return settings.with_false_alarms(number_of(false_alarms, "--false-alarms"))
    if threshold is not None:
        return settings.with_threshold(number_of(threshold, "--threshold"))
    return settings


def number_of(text: str, name: str) -> float:
    """The number of an option.  Raises InputError if it is none."""
    try:
        return float(text)
    except ValueError:
        raise InputError(f'{name} is "{text}"', remedy="Give a number") from None


def add_rate(parser: argparse.ArgumentParser) -> None:
    """--false-alarms-per-minute."""
    parser.add_argument(
        "--false-alarms-per-minute",
        metavar="N",
        default="1",
        help="the false-alarm rate that the threshold gives (default 1)",
    )


def read_rate(text: str) -> float:
    """The number of --false-alarms-per-minute.  Raises InputError if it is none, or out of range."""
    try:
        rate = float(text)
    except ValueError:
        rate = -1.0
    if not _LOWEST_RATE <= rate <= _HIGHEST_RATE:
        raise InputError(
            f'--false-alarms-per-minute is "{text}"', remedy=f"Give a number from {_LOWEST_RATE:g} to {_HIGHEST_RATE:g}"
        )
    return rate
