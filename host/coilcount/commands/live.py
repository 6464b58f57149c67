"""`coilcount live`: the readout while sweeping; plain lines if the output is no terminal."""

import argparse

from coilcount.commands.listen_loop import AUTOMATIC_NAME, listen
from coilcount.commands.listening import add_listening

EXAMPLES = (
    ("coilcount live", "sweep with the board that is plugged in; q quits, ? shows the keys"),
    ("coilcount live --record", "the same, and keep it in a capture named by date and time"),
    ("coilcount live --sound", "hear the sweep as well; s switches the sound off and on"),
    ("coilcount live --virtual --scene orchard-path --for 60", "no board: one minute over a simulated scene"),
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_listening(parser)
    parser.add_argument(
        "--record", dest="file", nargs="?", const=AUTOMATIC_NAME, metavar="FILE",
        help="keep everything in a capture (NAME.ccap); without FILE it is named by date and time",
    )  # fmt: skip


def run(args: argparse.Namespace) -> int:
    """Sweep until q, Ctrl-C or --for; a virtual scene starts again until then."""
    return listen(args, "live", screen=True, scene_repeats=True)
