"""The entry point: runs one command, and turns every expected failure into one line and an exit code."""

import errno
import sys

from coilcount.commands.command_parser import check_command, check_options, make_grammar, parse
from coilcount.errors import EXIT_DONE, EXIT_INTERRUPTED, EXIT_NO, CoilcountError
from coilcount.face import streams
from coilcount.face.say import warn


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
        # The reader of our output went away (`| head`): nothing is wrong, but nothing more can be printed.
        streams.silence_output()
        return EXIT_NO
    except OSError as error:
        if error.errno not in (errno.ENOSPC, errno.EFBIG, errno.EDQUOT):
            raise
        # Failing files have messages of their own.  What is left is our output, sent to a file on a full disk.
        streams.silence_output()
        warn(f"the output cannot be written: {error.strerror}. Make room and run the command again")
        return EXIT_NO


def _run(argv: list[str]) -> int:
    place = next((i for i, word in enumerate(argv) if not word.startswith("-")), len(argv))
    before, words = argv[:place], argv[place + 1 :]
    chosen = argv[place] if place < len(argv) else None
    grammar = make_grammar(() if chosen is None else (chosen,))
    check_options(grammar.top, before)
    grammar.top.parse_args(before)  # --help and --version print and leave
    if chosen is None:
        grammar.top.print_help()
        return EXIT_DONE
    check_command(chosen)
    args = parse(grammar.commands[chosen], words)
    return grammar.modules[chosen].run(args)


if __name__ == "__main__":
    sys.exit(main())
