"""`coilcount help COMMAND`: the same text as `coilcount COMMAND --help`."""

import argparse

from coilcount.commands.command_parser import check_command, make_grammar
from coilcount.errors import EXIT_DONE

EXAMPLES = (
    ("coilcount help", "the list of commands"),
    ("coilcount help record", "the options of record, with examples"),
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("command", nargs="?", metavar="COMMAND", help="one of coilcount's commands")


def run(args: argparse.Namespace) -> int:
    if args.command is None:
        make_grammar(()).top.print_help()
        return EXIT_DONE
    check_command(args.command)
    make_grammar((args.command,)).commands[args.command].print_help()
    return EXIT_DONE
