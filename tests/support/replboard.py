"""A board at its prompt: a real MicroPython on a real pty, with LittleFS in a file for its flash.

What differs from a chip stands in replboard_start.py; and the port stays through a reset.
"""

import contextlib
import os
import re
import select
import subprocess
import termios
import threading
import time
import tty
from pathlib import Path

from micropython_tool import micropython_command

READY = b"\x06"  # said by replboard_start.py
START = Path(__file__).with_name("replboard_start.py")


class ReplBoard:
    """Started anew whenever it ends, as after a reset.  port: what a host opens; another one after a pulled plug."""

    def __init__(self, flash: Path, kilobytes: int = 512, command: list[str] | None = None) -> None:
        self.flash = flash
        self.starts = 0
        self.cut_after: float | None = None  # bytes from the host after which the plug is pulled and put in again, once
        self._command = command or [micropython_command(), str(START), str(flash)]
        if not flash.exists():
            flash.write_bytes(b"\xff" * (1024 * kilobytes))
        self._heard = 0
        self._stop = threading.Event()

    def __enter__(self) -> "ReplBoard":
        self._plug_in()
        self._thread = threading.Thread(target=self._carry)
        self._thread.start()
        return self

    def __exit__(self, *_) -> None:
        self._stop.set()
        self._thread.join()
        self._unplug()

    def _power_on(self) -> None:
        self.starts += 1
        self._board, terminal = os.openpty()
        # Bytes as they are, but Ctrl-C interrupts a running program, as on a chip.
        tty.setraw(terminal)
        modes = termios.tcgetattr(terminal)
        modes[3] |= termios.ISIG | termios.NOFLSH
        termios.tcsetattr(terminal, termios.TCSANOW, modes)
        # The first terminal that a new session opens controls it; without that Ctrl-C would reach nobody.
        shell = ["/bin/sh", "-c", 'exec "$@" <"$0" >"$0" 2>&1', os.ttyname(terminal), *self._command]
        self._process = subprocess.Popen(shell, start_new_session=True)
        self._terminal = terminal
        # No byte reaches the board before its own flash is mounted: the PC's files are none of its business.
        if self._command[1:2] == [str(START)]:
            seen = b""
            while READY not in seen:
                assert select.select([self._board], [], [], 10)[0], seen
                seen += os.read(self._board, 1)

    def _power_off(self) -> None:
        self._process.kill()
        self._process.wait()
        os.close(self._terminal)
        os.close(self._board)

    def _plug_in(self) -> None:
        self._cable, self._slave = os.openpty()
        tty.setraw(self._slave)
        self.port = os.ttyname(self._slave)
        self._power_on()

    def _unplug(self) -> None:
        self._power_off()
        os.close(self._slave)
        os.close(self._cable)

    def _carry(self) -> None:
        """The cable, and the power."""
        while not self._stop.is_set():
            if self._process.poll() is not None:  # a reset
                self._power_off()
                self._power_on()
            for end in select.select([self._board, self._cable], [], [], 0.005)[0]:
                with contextlib.suppress(OSError):
                    data = os.read(end, 4096)
                    if end == self._board:
                        os.write(self._cable, data)
                    else:
                        self._heard += len(data)
                        self._type(data)
            if self.cut_after is not None and self._heard >= self.cut_after:
                self.cut_after = None
                self._unplug()
                self._plug_in()

    def _type(self, data: bytes) -> None:
        """A Ctrl-C that falls between two lines of the prompt ends a MicroPython on a PC; on a chip it does nothing."""
        for piece in re.split(b"(\x03)", data):
            os.write(self._board, piece)
            if piece != data:
                time.sleep(0.01)
