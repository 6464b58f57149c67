"""Options that several commands have, with one wording for all."""

import argparse

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
