"""Reads single keys without waiting: from POSIX terminals in cbreak mode, from Windows consoles with msvcrt."""

import os
import select
import sys
import time
from typing import Self

from coilcount.face import key_bytes

_POSIX = os.name == "posix"
# s.  An Esc with nothing after it for this long was the Esc key; until then it may be the start of a sequence.
# Chosen by hand.
_ESC_ALONE_S = 0.5

if _POSIX:
    import termios
    import tty
else:
    import msvcrt


def _in_foreground(terminal: int) -> bool:
    """False for a job started with `&`: the shell gets the keys, and a job that touches the terminal is stopped."""
    if not _POSIX:
        return True
    try:
        return os.tcgetpgrp(terminal) == os.getpgrp()
    except OSError:
        return True  # not our controlling terminal, so it stops no job


class Keyboard:
    """Use as a context manager; pressed() gives the keys since the last call.

    There are none if stdin is no terminal, or if this process is in the background.  The terminal is in cbreak mode and
    not raw, so that Ctrl-C still interrupts.
    """

    def __init__(self) -> None:
        self._fd: int | None = None
        self._before: list | None = None
        self._rest = b""  # the received part of an unfinished sequence
        self._rest_since_s = 0.0
        self._prefixed = False  # on Windows: the next character is a code

    def __enter__(self) -> Self:
        if not sys.stdin.isatty() or not _in_foreground(sys.stdin.fileno()):
            return self
        self._fd = sys.stdin.fileno()
        if _POSIX:
            self._before = termios.tcgetattr(self._fd)
            tty.setcbreak(self._fd)
        return self

    def __exit__(self, *_: object) -> None:
        if self._before is not None:
            termios.tcsetattr(self._fd, termios.TCSADRAIN, self._before)
        self._fd = None

    def pressed(self) -> list[str]:
        """Keys as single characters, in order; returns at once."""
        if self._fd is None:
            return []
        return self._posix() if _POSIX else self._windows()

    def _posix(self) -> list[str]:
        if not select.select([self._fd], [], [], 0)[0]:
            if self._rest == key_bytes.ESC and time.monotonic() - self._rest_since_s > _ESC_ALONE_S:
                self._rest = b""
            return []
        data = os.read(self._fd, 64)
        if not data:  # the terminal has gone
            self._fd = None
        found, self._rest = key_bytes.keys(self._rest + data)
        self._rest_since_s = time.monotonic()
        return found

    def _windows(self) -> list[str]:
        characters = ""
        while msvcrt.kbhit():
            characters += msvcrt.getwch()
        found, self._prefixed = key_bytes.windows_keys(characters, self._prefixed)
        return found
