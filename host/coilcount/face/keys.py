"""Single keys from the keyboard, without waiting: POSIX terminals in cbreak mode, Windows consoles by msvcrt."""

import os
import select
import sys
from typing import Self

if os.name == "posix":
    import termios
    import tty
else:
    import msvcrt


def _in_foreground(terminal: int) -> bool:
    """False behind `&`: there the keys are the shell's, and whoever touches the terminal is stopped."""
    if os.name != "posix":
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

    def __enter__(self) -> Self:
        if not sys.stdin.isatty() or not _in_foreground(sys.stdin.fileno()):
            return self
        self._fd = sys.stdin.fileno()
        if os.name == "posix":
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
        if os.name != "posix":
            found = []
            while msvcrt.kbhit():
                found.append(msvcrt.getwch())
            return found
        ready, _, _ = select.select([self._fd], [], [], 0)
        if not ready:
            return []
        data = os.read(self._fd, 64)
        if not data:  # the terminal has gone
            self._fd = None
        if data.startswith(b"\x1b"):
            return []  # an arrow or function key: its letters are not ours
        return list(data.decode("utf-8", "ignore"))
