"""coilcount live: the readout while sweeping; plain lines where the output is no terminal."""

import argparse

from coilcount.commands.listen_loop import listen
from coilcount.commands.listening import add_source


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_source(parser)
    parser.add_argument("--record", dest="file", metavar="FILE", help="keep everything in a capture (NAME.ccap)")


def run(args: argparse.Namespace) -> int:
    """A virtual scene begins anew until it is stopped."""
    return listen(args, screen=True, scene_repeats=True)
