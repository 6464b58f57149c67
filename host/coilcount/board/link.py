"""The serial link: bytes of one board as lines with host time, through unplugs, with the gaps said.

It never gives up a line: what arrives before the board has said who it is, is kept and passed on.  A time-out is
neither an end nor a disconnect.
"""

import time
from collections.abc import Callable

from coilwire import PROTOCOL, frame, records

from coilcount.board import ports
from coilcount.board.opening import (
    NO_SUCH_PORT,
    PORT_ERRORS,
    close_port,
    loss_reason,
    open_port,
    sample,
    wait_for_bytes,
    write,
)
from coilcount.errors import CoilcountError, DeviceError
from coilcount.model import Entry, Gap, Line

# A board answers `?` in milliseconds.  Sound records without a hello are taken after this long: a board whose
# input is stuck still counts.
HELLO_S = 2.0
# Bytes, but no sound record, for this long: another program speaks here.
FOREIGN_S = 3.0
# Nothing at all for this long after the first opening.
SILENT_S = 5.0
# The question is repeated while it is not answered: a board that just starts does not hear the first.
ASK_AGAIN_S = 0.5
BACK_OFF_FIRST_S = 0.2
BACK_OFF_MOST_S = 3.0


class SerialLink:
    """One board, by its port; connect() once, then read() again and again, then close().

    clock() gives host_s, seconds on the capture's clock.  sleep and listing are for tests.
    """

    def __init__(
        self,
        device: str,
        clock: Callable[[], float],
        sleep: Callable[[float], None] = time.sleep,
        listing: Callable[[], list[ports.Port]] = ports.present,
    ) -> None:
        self.device = device
        self.hello: records.Hello | None = None
        self.reconnections = 0
        self.problem = ""  # why it is not connected; "" while it is
        self.last_bytes_s = 0.0
        self._clock = clock
        self._sleep = sleep
        self._listing = listing
        self._serial_number = ""
        self._port = None
        self._splitter = frame.LineSplitter()
        self._torn = False  # the last line to the board may have gone out in part
        self._ready: list[Entry] = []
        # Greeting: the port is open, and who speaks is not known yet.
        self._greeting = False
        self._kept: list[Line] = []
        self._sound = False
        self._opened_s = 0.0
        self._asked_s = 0.0
        # Lost: since when, why, and when to try again.
        self._lost_s: float | None = None
        self._reason = ""
        self._next_try_s = 0.0
        self._back_off_s = BACK_OFF_FIRST_S

    @property
    def connected(self) -> bool:
        """Whether a board is on the line right now."""
        return self._port is not None and not self._greeting

    @property
    def newer_protocol(self) -> bool:
        """The board speaks a newer protocol: what it sends is recorded, but nothing may be set on it."""
        return self.hello is not None and self.hello.protocol > PROTOCOL

    def connect(self) -> records.Hello | None:
        """Open the port and greet the board; its hello, or None where it only sends records.

        Raises DeviceError: no such port, no permission, busy, silent, another program's text, unplugged meanwhile.
        """
        self._open()
        while self._greeting:
            self._receive(0.1)
            self._greet_first()
        if self._port is None:
            raise DeviceError(f"the port went away: {self._reason}", self.device, "Check the cable, then try again")
        self._serial_number = self._number_of(self.device)
        return self.hello

    def read(self, wait_s: float) -> list[Entry]:
        """What has come, as Line and Gap entries in order; waits at most wait_s seconds for it.  Never raises."""
        if self._port is None:
            self._wait_and_try(wait_s)
        else:
            self._receive(wait_s)
        if self._greeting:
            self._greet_again()
        entries = self._ready
        self._ready = []
        return entries

    def await_record(self, kind: str, wait_s: float) -> bool:
        """Wait at most wait_s; whether a record of this kind has come.  All that came stays for read()."""
        if self.connected:
            self._receive(wait_s)
        start = b"@%s," % kind.encode()
        return any(isinstance(entry, Line) and start in entry.data for entry in self._ready)

    def send(self, data: bytes) -> None:
        """Send to the board; where it is away or does not read, only repeating helps, which the caller does."""
        if self._port is None:
            return
        try:
            # A line that went out in part is ended first, so that it spoils none but itself.
            self._torn = not write(self._port, b"\n" + data if self._torn else data)
        except PORT_ERRORS as error:
            self._lose(error)

    def close(self) -> list[Entry]:
        """Close; what is left: the cut rest of a line, and the gap where the board was away."""
        self._pass_on_kept()
        self._pass_on_rest()
        if self._port is not None:
            close_port(self._port)
            self._port = None
        if self._lost_s is not None:
            self._ready.append(Gap(self._clock(), self._lost_s, self._reason))
            self._lost_s = None
        entries = self._ready
        self._ready = []
        return entries

    # ------------------------------------------------------------ bytes

    def _open(self) -> None:
        self._port = open_port(self.device)
        self._torn = False
        self._greeting = True
        self._sound = False
        self._opened_s = self._clock()
        self._ask()

    def _ask(self) -> None:
        self._asked_s = self._clock()
        self.send(ports.ASK)

    def _receive(self, wait_s: float) -> None:
        try:
            data = wait_for_bytes(self._port, wait_s)
        except PORT_ERRORS as error:
            self._lose(error)
            return
        if not data:
            return
        now = self._clock()
        self.last_bytes_s = now
        lines = [Line(now, line) for line in self._splitter.feed(data)]
        if self._greeting:
            self._kept.extend(lines)
            self._sound = self._sound or any(frame.parse(line.data) for line in lines)
        else:
            self._ready.extend(lines)
            self._heard(lines)

    def _heard(self, lines: list[Line]) -> None:
        hello = ports.first_hello(line.data for line in lines)
        if hello:
            self.hello = hello

    def _lose(self, error: Exception) -> None:
        """The port has gone: keep the cut line, close, and plan the next try."""
        close_port(self._port)
        self._port = None
        self._pass_on_kept()
        self._pass_on_rest()
        self._greeting = False
        if self._lost_s is None:
            self._lost_s = self._clock()
            self._reason = loss_reason(error)
            self._back_off_s = BACK_OFF_FIRST_S
        self.problem = self._reason
        self._plan_next_try()

    def _pass_on_kept(self) -> None:
        """Lines of a greeting that came to nothing are still lines: a gap before them, another will follow."""
        if self._kept and self._lost_s is not None:
            self._ready.append(Gap(self._kept[0].host_s, self._lost_s, self._reason))
            self._lost_s = self._kept[-1].host_s
        self._ready.extend(self._kept)
        self._kept = []

    def _pass_on_rest(self) -> None:
        rest = self._splitter.rest()
        if rest:
            self._ready.append(Line(self._clock(), rest))

    # ------------------------------------------------------------ who is there

    def _greet_first(self) -> None:
        """The first opening: find out who speaks, or raise DeviceError."""
        if not self._greeting:
            return
        waited_s = self._clock() - self._opened_s
        hello = ports.first_hello(line.data for line in self._kept)
        if hello or (self._sound and waited_s >= HELLO_S):
            self._accept(hello)
        elif self.last_bytes_s >= self._opened_s and waited_s >= FOREIGN_S and not self._sound:
            words = sample(b" ".join(line.data for line in self._kept) or self._splitter.rest())
            if words:
                self._abandon()
                raise DeviceError(
                    f"another program speaks on the port: {words}",
                    self.device,
                    "Choose another with --port, or install the firmware",
                )
        if self._greeting and waited_s >= SILENT_S:
            self._abandon()
            raise DeviceError(
                "the port is open but silent", self.device, "Press the board's reset; is the firmware on it?"
            )
        self._ask_again()

    def _greet_again(self) -> None:
        """After a reconnection: only the same board goes on; any other is let go and the search goes on."""
        waited_s = self._clock() - self._opened_s
        hello = ports.first_hello(line.data for line in self._kept)
        if hello and self.hello and hello.uid != self.hello.uid:
            self._refuse(f"another board is on {self.device}: {hello.uid}")
        elif hello or (self._sound and waited_s >= HELLO_S):
            self._accept(hello)
        elif waited_s >= FOREIGN_S:
            self._refuse(f"no board answers on {self.device}")
        else:
            self._ask_again()

    def _ask_again(self) -> None:
        if self._greeting and self._clock() - self._asked_s >= ASK_AGAIN_S:
            self._ask()

    def _accept(self, hello: records.Hello | None) -> None:
        if self._lost_s is not None:
            self.reconnections += 1
        self._greeting = False
        if hello:
            self.hello = hello
        self._end_gap()
        self._ready.extend(self._kept)
        self._kept = []
        self.problem = ""
        self._back_off_s = BACK_OFF_FIRST_S

    def _end_gap(self) -> None:
        if self._lost_s is None:
            return
        now = self._kept[0].host_s if self._kept else self._clock()
        self._ready.append(Gap(now, self._lost_s, self._reason))
        self._lost_s = None

    def _refuse(self, problem: str) -> None:
        """Not our board: its lines are not ours to record."""
        self._abandon()
        self.problem = problem
        self._plan_next_try()

    def _abandon(self) -> None:
        if self._port is not None:
            close_port(self._port)
        self._port = None
        self._greeting = False
        self._kept = []
        self._splitter.rest()

    # ------------------------------------------------------------ search

    def _wait_and_try(self, wait_s: float) -> None:
        """Sleep at most wait_s, and try to open once its time has come."""
        now = self._clock()
        if now < self._next_try_s:
            self._sleep(min(wait_s, self._next_try_s - now))
            if self._clock() < self._next_try_s:
                return
        # The port's name may have moved; a path that stays, such as a virtual board's, is simply tried again.
        number = self._serial_number
        self.device = (ports.device_of(number, self._listing()) if number else "") or self.device
        try:
            self._open()
        except CoilcountError as error:
            # While the plug is out there is no such port: the reason says more.
            self.problem = self._reason if error.what == NO_SUCH_PORT else error.what
            self._plan_next_try()

    def _plan_next_try(self) -> None:
        self._next_try_s = self._clock() + self._back_off_s
        self._back_off_s = min(2 * self._back_off_s, BACK_OFF_MOST_S)

    def _number_of(self, device: str) -> str:
        """The USB serial number of an open port, "" where it has none (a pty, a socket, a bridge without one)."""
        if "://" in device:
            return ""
        return next((port.serial_number for port in self._listing() if port.device == device), "")
