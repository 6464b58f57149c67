"""The serial link to one board: its lines with host time, across unplugs, and the gaps between.

No line is discarded: lines that arrive before the board has identified itself are kept and passed on.  A time-out is
neither an end nor a disconnect.
"""

import time
from collections.abc import Callable

from coilwire import PROTOCOL, frame, records

from coilcount.board import ports
from coilcount.board.opening import (
    PORT_ERRORS,
    close_port,
    loss_reason,
    open_port,
    sample,
    wait_for_bytes,
    write,
)
from coilcount.errors import DeviceError, NoSuchPortError
from coilcount.model import Entry, Gap, Line

# s.  A board that sends undamaged records but no hello for this long is accepted: its input may be stuck, and it still
# counts.  Chosen by hand: a board answers `?` within milliseconds.
HELLO_S = 2.0
# s.  If bytes come but no undamaged record in this time, another program is on the port.  Chosen by hand.
FOREIGN_S = 3.0
# s.  If nothing at all comes in this time after the first opening, the port is silent.  Chosen by hand.
SILENT_S = 5.0
# s between two questions while none is answered: a board that is just starting misses the first.  Chosen by hand.
ASK_AGAIN_S = 0.5
# s from a lost port to the first try to open it again.  Each further wait is twice as long, up to the second figure.
# Chosen by hand: short enough for a plug that only moved.
BACK_OFF_FIRST_S = 0.2
BACK_OFF_MOST_S = 3.0
# s that one look at the port lasts during the first greeting.  Chosen by hand.
_GREET_LOOK_S = 0.1


class SerialLink:
    """One board on its port: connect() once, then read() repeatedly, then close().

    device: path, COM name or URL of the port; it changes if the board comes back under another name.
    clock: returns host_s, seconds on the capture's clock.
    sleep: waits for that many seconds; listing: returns the ports of this machine.  Tests give their own.
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
        self._torn = False  # only a part of the last line to the board may have been sent
        self._ready: list[Entry] = []  # for the next read()
        # While greeting, the port is open and it is not yet known what is on it.
        self._greeting = False
        self._kept: list[Line] = []  # the lines of the greeting
        self._sound = False  # one of them is an undamaged record
        self._opened_s = 0.0
        self._asked_s = 0.0
        # While the port is lost.
        self._lost_s: float | None = None  # since when
        self._reason = ""  # why
        self._next_try_s = 0.0
        self._back_off_s = BACK_OFF_FIRST_S

    @property
    def connected(self) -> bool:
        """True while a board is connected."""
        return self._port is not None and not self._greeting

    @property
    def newer_protocol(self) -> bool:
        """True if the board speaks a newer protocol: its lines are recorded, but nothing may be set on it."""
        return self.hello is not None and self.hello.protocol > PROTOCOL

    def connect(self) -> records.Hello | None:
        """Open the port and greet the board; returns its hello, or None if it only sends records.

        Raises DeviceError if there is no such port, or it is forbidden, busy, silent, used by another program, or goes
        away meanwhile.
        """
        self._open()
        while self._greeting:
            self._receive(_GREET_LOOK_S)
            self._greet_first()
        if self._port is None:
            raise DeviceError(f"the port went away: {self._reason}", self.device, "Check the cable, then try again")
        self._serial_number = self._number_of(self.device)
        return self.hello

    def read(self, wait_s: float) -> list[Entry]:
        """The lines and gaps since the last call, in order; waits at most wait_s seconds for them.  Never raises."""
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
        """Wait at most wait_s seconds; True if a record of this kind has come.  All lines stay for read()."""
        if self.connected:
            self._receive(wait_s)
        start = b"@%s," % kind.encode()
        return any(isinstance(entry, Line) and start in entry.data for entry in self._ready)

    def send(self, data: bytes) -> None:
        """Send to the board.  If it is away or does not read, the data is lost: the caller sends it again."""
        if self._port is None:
            return
        try:
            # If only a part of the last line was sent, a line feed first ends it, so that it cannot damage this one.
            self._torn = not write(self._port, b"\n" + data if self._torn else data)
        except PORT_ERRORS as error:
            self._lose(error)

    def close(self) -> list[Entry]:
        """Close the port; returns the last entries: the cut rest of a line, and the gap if the board was away."""
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
        """After the port has gone: keep the rest of the cut line, close, and plan the next try."""
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
        """Pass on the lines of a greeting that did not succeed, with the gap before them; another gap follows."""
        if self._kept and self._lost_s is not None:
            self._ready.append(Gap(self._kept[0].host_s, self._lost_s, self._reason))
            self._lost_s = self._kept[-1].host_s
        self._ready.extend(self._kept)
        self._kept = []

    def _pass_on_rest(self) -> None:
        rest = self._splitter.rest()
        if rest:
            self._ready.append(Line(self._clock(), rest))

    # ------------------------------------------------------------ greeting

    def _greet_first(self) -> None:
        """After the first opening: accept the board, or raise DeviceError."""
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
                    f"another program uses the port; it sends {words}",
                    self.device,
                    "Choose another with --port, or install the firmware",
                )
        if self._greeting and waited_s >= SILENT_S:
            self._abandon()
            raise DeviceError(
                "the port is open but silent", self.device, "Press the board's reset button. Is the firmware on it?"
            )
        self._ask_again()

    def _greet_again(self) -> None:
        """After a later opening: accept the same board; close the port if anything else is on it, and search on."""
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
        end_s = self._kept[0].host_s if self._kept else self._clock()
        self._ready.append(Gap(end_s, self._lost_s, self._reason))
        self._lost_s = None

    def _refuse(self, problem: str) -> None:
        """Close the port: the board on it is not ours, so its lines are not recorded."""
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
        """Sleep at most wait_s; try to open the port when the next try is due."""
        now = self._clock()
        if now < self._next_try_s:
            self._sleep(min(wait_s, self._next_try_s - now))
            if self._clock() < self._next_try_s:
                return
        # The board may come back under another name, and is found by its serial number.  A port without a number, such
        # as a virtual board's, keeps its name.
        number = self._serial_number
        self.device = (ports.device_of(number, self._listing()) if number else "") or self.device
        try:
            self._open()
        except NoSuchPortError:
            # As expected while the board is unplugged: why the port was lost says more.
            self.problem = self._reason
            self._plan_next_try()
        except DeviceError as error:
            self.problem = error.what
            self._plan_next_try()

    def _plan_next_try(self) -> None:
        self._next_try_s = self._clock() + self._back_off_s
        self._back_off_s = min(2 * self._back_off_s, BACK_OFF_MOST_S)

    def _number_of(self, device: str) -> str:
        """The USB serial number of an open port; "" if it has none (a pty, a socket, some UART bridges)."""
        if "://" in device:
            return ""
        return next((port.serial_number for port in self._listing() if port.device == device), "")
