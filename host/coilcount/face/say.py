"""Prints lines on standard output and standard error.  All commands print here, so that no control passes.

Tables go through console.py, CSV on standard output is numbers only.  A test in `tests/commands` keeps `print` out of
every other module of `face` and `commands`.
"""

import sys
from typing import Any, TextIO

from coilcount.face.json_out import as_json
from coilcount.text import printable


def say(*lines: str, out: TextIO | None = None) -> None:
    """Print each of `lines` and flush.  Each stays one line, whatever it holds.  out: None for standard output."""
    for line in lines:
        print(printable(line), file=sys.stdout if out is None else out, flush=True)


def warn(text: str) -> None:
    """`coilcount: TEXT` on standard error."""
    say(f"coilcount: {text}", out=sys.stderr)


def say_json(value: Any) -> None:
    """Print a value as one line of JSON."""
    print(as_json(value), flush=True)
