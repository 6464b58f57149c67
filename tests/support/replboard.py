"""A board at its prompt: a real MicroPython on a real pty, with LittleFS in a file as its flash.

replboard_start.py lists the differences from a chip.  One more difference: the port stays open through a reset.
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

READY = b"\x06"  # replboard_start.py prints this once its flash is mounted
START = Path(__file__).with_name("replboard_start.py")


class ReplBoard:
    """The board.  If its process ends, it starts again, as after a reset.

    flash: file of the flash; kilobytes: its size if it is new; command: the command to run, or None for MicroPython.
    port: the name that a host opens; it changes if the plug is pulled.  While it is out, `port` waits.
    """

    def __init__(self, flash: Path, kilobytes: int = 512, command: list[str] | None = None) -> None:
        self.flash = flash
        self.starts = 0
        self.received = 0  # bytes from the host
        self.cut_after: float | None = None  # pull the plug once, when `received` has reached this number
        self._command = command or [micropython_command(), str(START), str(flash)]
        if not flash.exists():
            flash.write_bytes(b"\xff" * (1024 * kilobytes))
        self._stop = threading.Event()
        self._plugged = threading.Event()

    def __enter__(self) -> "ReplBoard":
        self._plug_in()
        self._thread = threading.Thread(target=self._carry)
        self._thread.start()
        return self

    def __exit__(self, *_) -> None:
        self._stop.set()
        self._thread.join()
        self._unplug()

    @property
    def port(self) -> str:
        assert self._plugged.wait(20), "the plug is out"
        return self._port

    def _power_on(self) -> None:
        self.starts += 1
        self._board, terminal = os.openpty()
        # The terminal changes no bytes, but Ctrl-C interrupts a running program, as on a chip.
        tty.setraw(terminal)
        modes = termios.tcgetattr(terminal)
        modes[3] |= termios.ISIG | termios.NOFLSH
        termios.tcsetattr(terminal, termios.TCSANOW, modes)
        # The first terminal that a new session opens controls it.  Only then does Ctrl-C reach the program.
        shell = ["/bin/sh", "-c", 'exec "$@" <"$0" >"$0" 2>&1', os.ttyname(terminal), *self._command]
        self._process = subprocess.Popen(shell, start_new_session=True)
        self._terminal = terminal
        # No byte may reach the board before its own flash is mounted, because it could change files of the PC.
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
        self._port = os.ttyname(self._slave)
        self._power_on()
        self._plugged.set()

    def _unplug(self) -> None:
        self._plugged.clear()
        self._power_off()
        os.close(self._slave)
        os.close(self._cable)

    def _carry(self) -> None:
        """Carry bytes both ways, restart the board after a reset, and pull the plug if asked to."""
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
                        self.received += len(data)
                        self._type(data)
            if self.cut_after is not None and self.received >= self.cut_after:
                self.cut_after = None
                self._unplug()
                self._plug_in()

    def _type(self, data: bytes) -> None:
        """Send bytes to the board, with a pause at each Ctrl-C.

        A Ctrl-C between two lines of the prompt ends MicroPython on a PC; on a chip it does nothing.
        """
        for piece in re.split(b"(\x03)", data):
            os.write(self._board, piece)
            if piece != data:
                time.sleep(0.01)
