"""The serial ports of this machine, which of them answer the hello, and which one to take."""

import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from coilwire import frame, records
from serial.tools import list_ports

from coilcount.board.opening import PORT_ERRORS, close_port, open_port, wait_for_bytes, write
from coilcount.errors import CoilcountError, DeviceError

# A person at a terminal may type it too; the board answers with a hello.
ASK = b"?\n"
# A board answers within a few milliseconds; one that starts up just now needs about a second.
ANSWER_S = 1.5
# USB vendors of boards that run this firmware: the maker of the RP2040 and RP2350, whose number MicroPython uses for
# them, and MicroPython's own number (both from memory).
BOARD_VENDORS = ("2E8A:", "F055:")

NO_BOARD = (
    "Check that the cable carries data (many only charge), that the firmware is on the board, and that no other "
    "program holds the port; try it without a board: coilcount live --virtual"
)


@dataclass(frozen=True, slots=True)
class Port:
    """One serial port.  usb_id is "VID:PID" in hex, "" where the port is not USB."""

    device: str
    usb_id: str = ""
    serial_number: str = ""
    product: str = ""


@dataclass(frozen=True, slots=True)
class Reply:
    """What a port said to the question: a hello, or None and the reason."""

    port: Port
    hello: records.Hello | None
    reason: str = ""


def present() -> list[Port]:
    """Every serial port the system lists (on macOS the cu.* names, which do not wait for a carrier)."""
    found = []
    for info in list_ports.comports():
        usb_id = "" if info.vid is None else f"{info.vid:04X}:{info.pid:04X}"
        found.append(Port(info.device, usb_id, info.serial_number or "", info.product or info.description or ""))
    return sorted(found, key=lambda port: port.device)


def ask(ports: Iterable[Port], wait_s: float = ANSWER_S) -> list[Reply]:
    """Ask ports for their hello; replies in the order given.

    First those with the USB vendor of a board, all at once; other USB ports only where none of these answers, since
    opening a port may reset or disturb what is on it.  Ports that are not USB are left alone: opening a modem or a
    Bluetooth port may hang, and no board of ours is one.
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
        open_ends = [port for port in waiting if port not in replies]
        if not open_ends:
            return
        for port in open_ends:
            opened, splitter = waiting[port]
            try:
                lines = splitter.feed(wait_for_bytes(opened, 0.02))
            except PORT_ERRORS as error:
                replies[port] = Reply(port, None, str(error))
                continue
            hello = first_hello(lines)
            if hello:
                replies[port] = Reply(port, hello)
    for port in waiting:
        replies.setdefault(port, Reply(port, None, "no answer: not a board of this project, or its program is stopped"))


def first_hello(lines: Iterable[bytes]) -> records.Hello | None:
    """The first sound hello among lines."""
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
    """The device to open.  wanted: a device, a URL, a serial number, or "" for the only board that answers.

    Raises DeviceError where no board answers, or more than one.
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
    """The device whose USB serial number this is, "" where it is not plugged in.

    The hello's uid is the same number; boards differ in the case of its letters.
    """
    wanted = serial_number.casefold()
    return next((port.device for port in ports if port.serial_number and port.serial_number.casefold() == wanted), "")


def seen(replies: list[Reply]) -> str:
    """What was there instead of a board."""
    if not replies:
        return "no serial port at all"
    return "; ".join(f"{reply.port.device}: {reply.reason}" for reply in replies)
