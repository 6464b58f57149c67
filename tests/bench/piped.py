"""Runs a bench whose printed figures may go to a pipe that is closed early (`| head -1`)."""

import sys
from collections.abc import Callable
from typing import NoReturn

from coilcount.face.streams import silence_output


def run(main: Callable[..., int | None], *arguments: object) -> NoReturn:
    """Call main(*arguments) and leave the process with the exit code that it returns; 1 if nobody reads its output."""
    try:
        code = main(*arguments)
        sys.stdout.flush()
    except BrokenPipeError:
        silence_output()
        code = 1
    raise SystemExit(code)
