"""The FILE arguments of the desk's commands: captures, and folders of captures."""

import argparse

HELP = "captures (.ccap or .ccap.gz), or folders that hold captures"


def add_recordings(parser: argparse.ArgumentParser) -> None:
    """FILE...: captures and folders."""
    parser.add_argument("files", nargs="+", metavar="FILE", help=HELP)
