"""Opens a serial port and waits on it; every way in which that fails becomes one line with its remedy."""

import contextlib
import difflib
import io
import os
import queue
import select
import stat
import sys
import time
from pathlib import Path

import serial

from coilcount.errors import CoilcountError, DeviceError
from coilcount.text import printable

try:
    import termios
except ImportError:  # Windows
    termios = None

# Whatever pyserial or the system raises where a port goes away: read() raises SerialException, in_waiting plain
# OSError, closing or configuring termios.error, which is neither.
PORT_ERRORS: tuple[type[Exception], ...] = (OSError,) if termios is None else (OSError, termios.error)

NO_SUCH_PORT = "no such port"
# A USB serial port has no line rate; a UART bridge needs one.
LINE_RATE = 115_200
# Where the system cannot be asked to wake us (Windows, rfc2217://, loop://), look this often.
_POLL_S = 0.01
# How long the port may take to accept what is written.
WRITE_S = 1.0
_READ_BYTES = 65_536
_SAMPLE_BYTES = 48


def open_port(device: str) -> serial.SerialBase:
    """An open, exclusive, non-blocking port; `device` is a path, COM name or any URL that pyserial knows.

    Raises DeviceError, its remedy fit for a person.
    """
    _check_path(device)
    # pyserial refuses a time limit for writing over rfc2217.
    limit_s = None if device.lower().startswith("rfc2217:") else WRITE_S
    try:
        return serial.serial_for_url(device, baudrate=LINE_RATE, timeout=0, write_timeout=limit_s, exclusive=True)
    except ValueError as error:
        raise DeviceError("not a port that can be opened", device, str(error)) from error
    except PORT_ERRORS as error:
        raise explain(error, device) from error


def close_port(port: serial.SerialBase) -> None:
    """Close, also where the device has gone and closing fails."""
    with contextlib.suppress(*PORT_ERRORS):
        port.close()


def wait_for_bytes(port: serial.SerialBase, wait_s: float) -> bytes:
    """What is there, as soon as something is; b"" after `wait_s` seconds of nothing.  Raises PORT_ERRORS."""
    descriptor = _descriptor(port)
    if descriptor is not None:
        ready, _, _ = select.select([descriptor], [], [], wait_s)
        return port.read(_READ_BYTES) if ready else b""
    until = time.monotonic() + wait_s
    while True:
        data = _waiting(port)
        if data or time.monotonic() >= until:
            return data
        time.sleep(_POLL_S)


def write(port: serial.SerialBase, data: bytes) -> bool:
    """Whether the port took all of `data` in time; raises PORT_ERRORS where the port has gone.

    A time-out is no unplug: the other end does not read just now.  Part of `data` may have gone out.
    """
    try:
        port.write(data)
    except (serial.SerialTimeoutException, queue.Full):  # a full loop:// raises the second
        return False
    return True


def _descriptor(port: serial.SerialBase) -> int | None:
    """What select can wait on; None where the port has no such thing."""
    if os.name != "posix":
        return None
    try:
        return port.fileno()
    except (AttributeError, io.UnsupportedOperation):
        return None


def _waiting(port: serial.SerialBase) -> bytes:
    """All that has come; some ports give it byte by byte."""
    data = bytearray()
    try:
        while len(data) < _READ_BYTES and (piece := port.read(max(1, port.in_waiting))):
            data += piece
    except PORT_ERRORS:
        if not data:
            raise  # else the next call says it: what has come is not lost
    return bytes(data)


def explain(error: Exception, device: str) -> CoilcountError:
    """The DeviceError for what pyserial raised while opening `device`."""
    words = str(error)
    number = getattr(error, "errno", None)
    if number == 13 and "lock" not in words:
        return DeviceError("no permission to open the port", device, permission_remedy(device))
    if number in (11, 16, 35) or "exclusively lock" in words or "PermissionError(13" in words:
        return DeviceError("the port is busy", device, busy_remedy(device))
    if number in (2, 6, 19) or "FileNotFoundError" in words:
        return missing(device)
    if "configure port" in words:
        return DeviceError("not a serial port", device, "See coilcount ports")
    if number == 111 or "refused" in words or "://" in device:
        return DeviceError("nothing answers at this address", device, f"Is the other end running? ({words})")
    return DeviceError("the port cannot be opened", device, words)


def loss_reason(error: Exception) -> str:
    """Why an open port went away, from what reading it raised."""
    words = str(error).lower()
    gone = (
        "input/output error",
        "no such device",
        "returned no data",
        "disconnected",
        "no such file",
        "not configured",
    )
    if getattr(error, "errno", None) in (5, 6, 19) or any(sign in words for sign in gone):
        return "unplugged"
    return f"link lost: {error}"


def sample(data: bytes) -> str:
    """The first words of another program, fit for a terminal; "" where there is nothing."""
    start = data[:_SAMPLE_BYTES]
    if not any(32 < byte < 127 for byte in start):
        return f"{len(data)} unprintable bytes" if data else ""
    return f'"{printable(start.decode("utf-8", "replace").strip())}"'


def permission_remedy(device: str) -> str:
    """The exact words that let this user in, by the group that owns the device."""
    if not sys.platform.startswith("linux"):
        return "Another program may hold it, or this user may not use it"
    import grp

    try:
        group = grp.getgrgid(os.stat(device).st_gid).gr_name
    except (OSError, KeyError):
        group = "dialout"
    return f"Run: sudo usermod -aG {group} $USER, then log out and in again"


def busy_remedy(device: str) -> str:
    """Who holds the port, as far as /proc tells."""
    holder = _holder(device)
    if holder:
        return f"{holder} holds it: close that first"
    if _runs("ModemManager"):
        return "ModemManager may hold it: wait ten seconds, or sudo systemctl stop ModemManager"
    return "Another program holds it: close any terminal, editor or second coilcount on this port"


def missing(device: str) -> DeviceError:
    """No such port, and the names that come near."""
    folder = Path(device).parent
    names = [str(folder / name) for name in _port_names(folder)]
    near = difflib.get_close_matches(device, names, n=3, cutoff=0.6)
    hint = f"Near: {', '.join(near)}. " if near else ""
    return DeviceError(NO_SUCH_PORT, device, hint + "Is the board plugged in? See coilcount ports")


def _check_path(device: str) -> None:
    if os.name != "posix" or "://" in device:
        return
    try:
        mode = os.stat(device).st_mode
    except FileNotFoundError:
        raise missing(device) from None
    except OSError as error:
        raise explain(error, device) from error
    if not stat.S_ISCHR(mode):
        raise DeviceError("not a serial port", device, "See coilcount ports")


def _port_names(folder: Path) -> list[str]:
    prefixes = ("ttyACM", "ttyUSB", "cu.", "rfcomm") if folder == Path("/dev") else ("",)
    try:
        return sorted(name for name in os.listdir(folder) if name.startswith(prefixes))
    except OSError:
        return []


def _holder(device: str) -> str:
    """Name and id of a process that has `device` open, or "" where that cannot be seen."""
    target = os.path.realpath(device)
    for process in Path("/proc").glob("[0-9]*"):
        if process.name == str(os.getpid()):
            continue
        with contextlib.suppress(OSError):
            if any(os.readlink(fd) == target for fd in (process / "fd").iterdir()):
                return f"{(process / 'comm').read_text().strip()} (process {process.name})"
    return ""


def _runs(name: str) -> bool:
    for comm in Path("/proc").glob("[0-9]*/comm"):
        with contextlib.suppress(OSError):
            if comm.read_text().strip() == name:
                return True
    return False
