"""The entry point: finds the command's module, and turns every expected failure into one line.

A command is a module in commands with `add_arguments(parser)` and `run(args) -> int`.  It is
imported only when it is asked for, so that `coilcount --help` is quick.
"""

import argparse
import errno
import importlib
import sys
from typing import NoReturn

from coilcount import __version__
from coilcount.errors import EXIT_DONE, EXIT_INTERRUPTED, EXIT_NO, CoilcountError, InputError, did_you_mean
from coilcount.face import streams
from coilcount.face.say import warn

# command: (module in commands, one line of help); the order is that of the work
COMMANDS = {
    "plan": ("plan", "a coil, its capacitor and what it will find, before any wire is wound"),
    "live": ("live", "the readout while sweeping"),
    "record": ("record", "record what the board sends; alerts as plain lines"),
    "replay": ("replay", "run the tracker over captures"),
    "noise": ("noise", "stability and drift of a quiet capture, and the threshold for a wanted false-alarm rate"),
    "inspect": ("inspect", "what a capture holds, and whether it is whole"),
    "import": ("import_log", "readings of another counter, from CSV to a capture"),
    "export": ("export", "a capture's readings to CSV"),
    "simulate": ("simulate", "a capture from a scene and its physics, and its truth as labels"),
    "virtual": ("virtual", "the virtual board as a port that other programs can open"),
    "ports": ("ports", "the boards that answer"),
    "install": ("install", "put the firmware on a board"),
    "check": ("check", "test a board, its crystal, its link and its coil"),
    "settings": ("settings", "what is in force and from where; to and from a board"),
}


def main(argv: list[str] | None = None) -> int:
    """Run one command; returns the exit code (see errors.py)."""
    argv = list(sys.argv[1:] if argv is None else argv)
    streams.open_the_closed()
    try:
        return _run(argv)
    except CoilcountError as error:
        warn(str(error))
        return error.exit_code
    except KeyboardInterrupt:
        warn("interrupted")
        return EXIT_INTERRUPTED
    except BrokenPipeError:
        # The reader of our output went away (`| head`): nothing is wrong, but nothing more can be said.
        streams.silence_output()
        return EXIT_NO
    except OSError as error:
        if error.errno not in (errno.ENOSPC, errno.EFBIG, errno.EDQUOT):
            raise
        # Files say so themselves: what is left is our output, sent to a file on a full disk.
        streams.silence_output()
        warn(f"the output cannot be written: {error.strerror}. Make room and do it again")
        return EXIT_NO


class _Parser(argparse.ArgumentParser):
    """Says what is wrong in our one line instead of printing the usage."""

    def error(self, message: str) -> NoReturn:
        raise InputError(message, remedy=f"See {self.prog} --help")


def _run(argv: list[str]) -> int:
    parser = _Parser(
        prog="coilcount",
        description="Counts a search coil's frequency, tracks it, and tells ferrous from non-ferrous by the sign "
        "of the shift. No safety device, and never for ordnance.",
        epilog="coilcount COMMAND --help tells what a command takes.",
    )
    parser.add_argument("--version", action="version", version=f"coilcount {__version__}")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", title="commands")
    chosen = next((word for word in argv if not word.startswith("-")), None)
    if chosen is not None and chosen not in COMMANDS:
        raise InputError(
            f'there is no command "{chosen}"', remedy=did_you_mean(chosen, tuple(COMMANDS)) + " See coilcount --help"
        )
    module = None
    for name, (module_name, summary) in COMMANDS.items():
        sub = commands.add_parser(name, help=summary, description=summary[0].upper() + summary[1:] + ".")
        if name == chosen:
            module = importlib.import_module(f"coilcount.commands.{module_name}")
            module.add_arguments(sub)
    args = parser.parse_args(argv)
    if module is None:
        parser.print_help()
        return EXIT_DONE
    return module.run(args)


if __name__ == "__main__":
    sys.exit(main())
