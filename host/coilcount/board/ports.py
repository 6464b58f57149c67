"""Lists the serial ports of this machine, asks which of them is a board, and chooses one."""

import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from coilwire import frame, records
from serial.tools import list_ports

from coilcount.board.opening import PORT_ERRORS, close_port, open_port, wait_for_bytes, write
from coilcount.errors import CoilcountError, DeviceError

# The question to a board, which answers with a hello.  A person at a terminal may type it too.
ASK = b"?\n"
# s that a port has to answer.  Chosen by hand: a board answers within milliseconds, one that is just starting within
# about a second.
ANSWER_S = 1.5
# USB vendor numbers (hex) of boards that can run this firmware: the one of the RP2040's and RP2350's maker, which
# MicroPython uses for these chips, and MicroPython's own.  Both from memory.
BOARD_VENDORS = ("2E8A:", "F055:")

# s that one look at one port lasts while several are asked.  Chosen by hand.
_LOOK_S = 0.02

NO_BOARD = (
    "Check that the cable carries data (many only charge), that the firmware is on the board, and that no other "
    "program holds the port. To try without a board: coilcount live --virtual"
)


@dataclass(frozen=True, slots=True)
class Port:
    """One serial port.  usb_id: "VID:PID" in hex, "" if the port is not USB."""

    device: str
    usb_id: str = ""
    serial_number: str = ""
    product: str = ""


@dataclass(frozen=True, slots=True)
class Reply:
    """How a port answered the question: with a hello, or None and the reason."""

    port: Port
    hello: records.Hello | None
    reason: str = ""


def present() -> list[Port]:
    """Every serial port that the system lists (on macOS the cu.* names, which do not wait for a carrier)."""
    found = []
    for info in list_ports.comports():
        usb_id = "" if info.vid is None else f"{info.vid:04X}:{info.pid:04X}"
        found.append(Port(info.device, usb_id, info.serial_number or "", info.product or info.description or ""))
    return sorted(found, key=lambda port: port.device)


def ask(ports: Iterable[Port], wait_s: float = ANSWER_S) -> list[Reply]:
    """Ask ports for their hello; returns the replies in the same order.

    Ports with the USB vendor of a board are asked first, all at once.  Other USB ports are asked only if none of these
    answers, since opening a port may reset or disturb the device on it.  Ports that are not USB are not opened: opening
    a modem or a Bluetooth port may hang, and no board is on one.
    """
    ports = list(ports)
    replies = {port: Reply(port, None, "not a USB port: not asked") for port in ports if not port.usb_id}
    likely = [port for port in ports if port.usb_id.startswith(BOARD_VENDORS)]
    others = [port for port in ports if port not in replies and port not in likely]
    replies |= _ask_all(likely, wait_s)
    if any(reply.hello for reply in replies.values()):
        replies |= {port: Reply(port, None, "not asked: a board answers on another port") for port in others}
    else:
        replies |= _ask_all(others, wait_s)
    return [replies[port] for port in ports]


def _ask_all(ports: Iterable[Port], wait_s: float) -> dict[Port, Reply]:
    replies: dict[Port, Reply] = {}
    waiting = {}
    for port in ports:
        try:
            opened = open_port(port.device)
        except CoilcountError as error:
            replies[port] = Reply(port, None, f"{error.what}. {error.remedy}")
            continue
        waiting[port] = (opened, frame.LineSplitter())
    try:
        _collect(waiting, replies, wait_s)
    finally:
        for opened, _ in waiting.values():
            close_port(opened)
    return replies


def _collect(waiting: dict, replies: dict[Port, Reply], wait_s: float) -> None:
    until = time.monotonic() + wait_s
    for port, (opened, _) in waiting.items():
        try:
            write(opened, ASK)
        except PORT_ERRORS as error:
            replies[port] = Reply(port, None, str(error))
    while time.monotonic() < until:
        unanswered = [port for port in waiting if port not in replies]
        if not unanswered:
            return
        for port in unanswered:
            opened, splitter = waiting[port]
            try:
                lines = splitter.feed(wait_for_bytes(opened, _LOOK_S))
            except PORT_ERRORS as error:
                replies[port] = Reply(port, None, str(error))
                continue
            hello = first_hello(lines)
            if hello:
                replies[port] = Reply(port, hello)
    for port in waiting:
        reason = "no answer: not a board with this firmware, or its program is stopped"
        replies.setdefault(port, Reply(port, None, reason))


def first_hello(lines: Iterable[bytes]) -> records.Hello | None:
    """The first undamaged hello among `lines`; None if there is none."""
    for line in lines:
        if b"@H," not in line:
            continue
        found = frame.parse(line)
        if found is None:
            continue
        try:
            record = records.read(found)
        except ValueError:
            continue
        if isinstance(record, records.Hello):
            return record
    return None


def choose(wanted: str = "", listing: Callable[[], list[Port]] | None = None, wait_s: float = ANSWER_S) -> str:
    """The device to open.

    wanted: a device, a URL, a serial number, or "" for the only board that answers.
    listing: returns the ports of this machine (tests give their own).
    Raises DeviceError if no board answers, or more than one does.
    """
    ports = (listing or present)()
    if wanted:
        return device_of(wanted, ports) or wanted
    replies = ask(ports, wait_s)
    boards = [reply for reply in replies if reply.hello]
    if len(boards) == 1:
        return boards[0].port.device
    if boards:
        names = ", ".join(f"{reply.port.device} (serial number {reply.hello.uid})" for reply in boards)
        raise DeviceError(f"{len(boards)} boards answer", names, "Choose one with --port DEVICE or its serial number")
    raise DeviceError("no board found", seen(replies), NO_BOARD)


def device_of(serial_number: str, ports: Iterable[Port]) -> str:
    """The device with this USB serial number; "" if it is not plugged in.

    The uid in a board's hello is the same number.  Upper and lower case count as equal, because boards differ in that.
    """
    wanted = serial_number.casefold()
    return next((port.device for port in ports if port.serial_number and port.serial_number.casefold() == wanted), "")


def seen(replies: list[Reply]) -> str:
    """The ports that are present, each with the reason why it is no board."""
    if not replies:
        return "no serial port at all"
    return "; ".join(f"{reply.port.device}: {reply.reason}" for reply in replies)
