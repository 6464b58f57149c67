"""A fake board at the far end of a real pty.  It answers `?` with a hello and sends the bytes that a test gives it.

It is not the firmware.  Tests of the firmware behind the link use the virtual board.
"""

import contextlib
import os
import select
import threading
import tty
from pathlib import Path

from coilwire import records

HELLO = records.Hello(
    protocol=1, firmware="0.1.0", board="pty", uid="E6605838", boot=1, uptime_ms=10, clock_hz=125_000_000,
    tick_cycles=2, interval_ms=20, settings_crc=0, layout=records.LAYOUT,
)  # fmt: skip


class PtyBoard:
    """A board whose port is a symlink to a pty, as a udev name is.  The link exists while the board is plugged in."""

    def __init__(self, path: Path, hello: records.Hello | None = HELLO) -> None:
        self.path = path
        self.hello = hello
        self.asked = 0
        self._master: int | None = None
        self._thread: threading.Thread | None = None
        self._stop = threading.Event()

    def __enter__(self) -> "PtyBoard":
        self.plug()
        return self

    def __exit__(self, *_) -> None:
        self.unplug()

    def plug(self) -> None:
        self._stop.clear()
        self._master, slave = os.openpty()
        tty.setraw(slave)
        self._slave_name = os.ttyname(slave)
        self._slave = slave
        self.path.symlink_to(self._slave_name)
        self._thread = threading.Thread(target=self._answer, args=(self._master,))
        self._thread.start()

    def unplug(self) -> None:
        if self._master is None:
            return
        self._stop.set()
        self._thread.join()
        self.path.unlink()
        os.close(self._slave)
        os.close(self._master)
        self._master = None

    def send(self, data: bytes) -> None:
        os.write(self._master, data)

    def _answer(self, master: int) -> None:
        while not self._stop.is_set():
            ready, _, _ = select.select([master], [], [], 0.01)
            if not ready:
                continue
            with contextlib.suppress(OSError):
                if b"?" in os.read(master, 1024):
                    self.asked += 1
                    if self.hello:
                        os.write(master, records.write(self.hello))


def interval(sequence: int) -> bytes:
    """Return one sound interval line: 500 edges, 2500 ticks of 16 ns apart, which is 25 kHz."""
    s = 2500 * 500 * 499 // 2
    return records.write(
        records.Interval(sequence, 500 * sequence, 500, 1_250_000 * sequence % records.U32, s, 2500, 2500, 0, 128)
    )
