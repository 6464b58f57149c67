"""Standard output and error of the process, when they can be written and when they cannot."""

import contextlib
import os
import sys

from coilcount.face.say import warn


def open_the_closed() -> None:
    """Where a script has closed one (`>&-`) it is opened, so that no file or port of ours takes its number."""
    for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
        if getattr(sys, name) is None:
            setattr(sys, name, open(os.devnull, mode, encoding="utf-8"))  # noqa: SIM115 - open to the end
    if hasattr(sys.stdout, "reconfigure"):
        # A terminal or log without our signs and letters shows "?" for them, and nothing breaks.
        sys.stdout.reconfigure(errors="replace")


def silence_output() -> None:
    """Standard output cannot be written any more: what is left in its buffer goes nowhere, without a complaint."""
    with contextlib.suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def warn_if_possible(text: str) -> None:
    """One line on standard error, if there is anyone to read it."""
    with contextlib.suppress(OSError, ValueError):
        warn(text)
