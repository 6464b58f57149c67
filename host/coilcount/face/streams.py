"""The standard streams of the process: opened if they are closed, silenced if they cannot be written."""

import contextlib
import os
import sys

from coilcount.face.say import warn


def open_the_closed() -> None:
    """Open a standard stream that a script has closed (`>&-`), so that no file or port of ours takes its number."""
    for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
        if getattr(sys, name) is None:
            setattr(sys, name, open(os.devnull, mode, encoding="utf-8"))  # noqa: SIM115 - open to the end
    if hasattr(sys.stdout, "reconfigure"):
        # If the output cannot show a character, it prints "?" instead of raising.
        sys.stdout.reconfigure(errors="replace")


def silence_output() -> None:
    """Discard the rest of standard output, which can no longer be written; nothing is raised at the exit."""
    with contextlib.suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def warn_if_possible(text: str) -> None:
    """One line on standard error; nothing if that cannot be written."""
    with contextlib.suppress(OSError, ValueError):
        warn(text)
