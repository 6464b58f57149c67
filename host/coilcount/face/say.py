"""Lines for standard output and standard error: the only place where commands print, so that nothing passes unseen.

`tests/test_text_from_outside.py` holds every module of `face` to it.
"""

import sys
from typing import Any, TextIO

from coilcount.face.json_out import as_json
from coilcount.text import printable


def say(*lines: str, out: TextIO | None = None) -> None:
    """Print each of `lines` at once; whatever one holds, it stays one line."""
    for line in lines:
        print(printable(line), file=sys.stdout if out is None else out, flush=True)


def warn(text: str) -> None:
    """`coilcount: TEXT` on standard error."""
    say(f"coilcount: {text}", out=sys.stderr)


def say_json(value: Any) -> None:
    """Print a value as one line of JSON."""
    print(as_json(value), flush=True)
