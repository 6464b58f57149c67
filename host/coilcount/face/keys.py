"""Single keys from the keyboard, without waiting: POSIX terminals in cbreak mode, Windows consoles by msvcrt."""

import os
import select
import sys
import time
from typing import Self

from coilcount.face import key_bytes

_POSIX = os.name == "posix"
# An Esc alone for this long was the Esc key; before that it may begin a sequence of which more is under way.
# Chosen by hand.
_ESC_ALONE_S = 0.5

if _POSIX:
    import termios
    import tty
else:
    import msvcrt


def _in_foreground(terminal: int) -> bool:
    """False behind `&`: there the keys are the shell's, and whoever touches the terminal is stopped."""
    if not _POSIX:
        return True
    try:
        return os.tcgetpgrp(terminal) == os.getpgrp()
    except OSError:
        return True  # not the terminal that controls us: it stops nobody


class Keyboard:
    """Use as a context manager; pressed() gives the keys since the last call, [] where stdin is no
    terminal, or not ours to read.

    cbreak and not raw: Ctrl-C stays the interrupt.
    """

    def __init__(self) -> None:
        self._fd: int | None = None
        self._before: list | None = None
        self._rest = b""  # of a sequence that has come in part
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
        """Keys as single characters, in order; never waits."""
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
