"""coilcount record: a capture of what the board sends; alerts as plain lines."""

import argparse

from coilcount.commands.listen_loop import listen
from coilcount.commands.listening import add_source


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", metavar="FILE", help="the capture to write (NAME.ccap)")
    add_source(parser)


def run(args: argparse.Namespace) -> int:
    """A virtual scene ends by itself, unless --for asks for more."""
    return listen(args, screen=False, scene_repeats=False)
