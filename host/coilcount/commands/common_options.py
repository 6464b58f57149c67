"""Options that several commands have, with one wording for all."""

import argparse


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
