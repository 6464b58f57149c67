"""`coilcount record`: a capture of what the board sends; alerts as plain lines."""

import argparse

from coilcount.commands.listen_loop import AUTOMATIC_NAME, listen
from coilcount.commands.listening import add_listening

EXAMPLES = (
    ("coilcount record", "record until Ctrl-C, into a file named by date and time"),
    ('coilcount record field.ccap --note "wet clay, 10 cm coil"', "the same with a name and a note of your own"),
    ("coilcount record quiet.ccap --for 300", "five minutes, for noise"),
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "file", nargs="?", default=AUTOMATIC_NAME, metavar="FILE",
        help="the capture to write (NAME.ccap); without FILE it is named by date and time",
    )  # fmt: skip
    add_listening(parser)


def run(args: argparse.Namespace) -> int:
    """Record until Ctrl-C or --for; a virtual scene ends by itself, unless --for asks for more."""
    return listen(args, "record", screen=False, scene_repeats=False)
