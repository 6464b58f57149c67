"""Opens a serial port, waits for bytes and writes; each failure becomes one line with its remedy."""

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

from coilcount.errors import DeviceError, NoSuchPortError
from coilcount.text import printable

try:
    import termios
except ImportError:  # Windows
    termios = None

# What pyserial or the system raises when a port goes away.  read() raises SerialException, which is an OSError;
# in_waiting raises plain OSError; closing and configuring raise termios.error, which is neither.
PORT_ERRORS: tuple[type[Exception], ...] = (OSError,) if termios is None else (OSError, termios.error)

# Bit/s.  A USB serial port ignores it; a UART bridge needs it.  The usual rate of MicroPython's boards.
LINE_RATE = 115_200
# s between two looks at a port on which the system cannot wait (Windows, rfc2217://, loop://).  Chosen by hand: half of
# a counting interval of 20 ms.
_POLL_S = 0.01
# s in which the port must accept what is written.  Chosen by hand.
WRITE_S = 1.0
# Bytes that one read takes at most.  Chosen by hand: 8 s of the longest lines at 50 a second.
_READ_BYTES = 65_536
# Bytes of another program's text that a message shows.  Chosen by hand.
_SAMPLE_BYTES = 48
# Error numbers (errno) of Linux and macOS, as plain numbers because Windows does not have all the names.
_EIO, _EACCES, _ECONNREFUSED = 5, 13, 111
_NO_DEVICE = (2, 6, 19)  # ENOENT, ENXIO, ENODEV
_BUSY = (11, 16, 35)  # EAGAIN (Linux), EBUSY, EAGAIN (macOS): from flock and from opening
_GONE = (_EIO, 6, 19)  # EIO, ENXIO, ENODEV
_GONE_WORDS = (
    "input/output error",
    "no such device",
    "returned no data",
    "disconnected",
    "no such file",
    "not configured",
)


def open_port(device: str) -> serial.SerialBase:
    """An open, exclusive, non-blocking port; `device` is a path, COM name or any URL that pyserial knows.

    Raises DeviceError; NoSuchPortError if there is no such port.
    """
    _check_path(device)
    # pyserial has no time limit for writing over rfc2217, and raises if one is given.
    limit_s = None if device.lower().startswith("rfc2217:") else WRITE_S
    try:
        return serial.serial_for_url(device, baudrate=LINE_RATE, timeout=0, write_timeout=limit_s, exclusive=True)
    except ValueError as error:
        raise DeviceError("not a port that can be opened", device, str(error)) from error
    except PORT_ERRORS as error:
        raise explain(error, device) from error


def close_port(port: serial.SerialBase) -> None:
    """Close the port; if its device has gone, closing fails and that is ignored."""
    with contextlib.suppress(*PORT_ERRORS):
        port.close()


def wait_for_bytes(port: serial.SerialBase, wait_s: float) -> bytes:
    """The bytes that have come, as soon as there are any; b"" if none come within `wait_s` seconds.

    Raises PORT_ERRORS if the port has gone.
    """
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
    """Write `data`; True if the port took all of it in time.  Raises PORT_ERRORS if the port has gone.

    A time-out does not mean that the board is unplugged: it only does not read at the moment.  Part of `data` may have
    been sent.
    """
    try:
        port.write(data)
    except (serial.SerialTimeoutException, queue.Full):  # a full loop:// raises the second
        return False
    return True


def _descriptor(port: serial.SerialBase) -> int | None:
    """The file descriptor on which select can wait; None if the port has none."""
    if os.name != "posix":
        return None
    try:
        return port.fileno()
    except (AttributeError, io.UnsupportedOperation):
        return None


def _waiting(port: serial.SerialBase) -> bytes:
    """All bytes that have come; some ports deliver them one by one."""
    data = bytearray()
    try:
        while len(data) < _READ_BYTES and (piece := port.read(max(1, port.in_waiting))):
            data += piece
    except PORT_ERRORS:
        if not data:
            raise  # otherwise return what has come; the next call raises the error again
    return bytes(data)


def explain(error: Exception, device: str) -> DeviceError:
    """The DeviceError for an exception that pyserial raised while opening `device`."""
    words = str(error)
    number = getattr(error, "errno", None)
    if number == _EACCES and "lock" not in words:
        return DeviceError("no permission to open the port", device, permission_remedy(device))
    if number in _BUSY or "exclusively lock" in words or "PermissionError(13" in words:
        return DeviceError("the port is busy", device, busy_remedy(device))
    if number in _NO_DEVICE or "FileNotFoundError" in words:
        return missing(device)
    if "configure port" in words:
        return DeviceError("not a serial port", device, "See coilcount ports")
    if number == _ECONNREFUSED or "refused" in words or "://" in device:
        return DeviceError("nothing answers at this address", device, f"Is the other end running? ({words})")
    return DeviceError("the port cannot be opened", device, words)


def loss_reason(error: Exception) -> str:
    """Why an open port went away: "unplugged", or "link lost" and the error that reading it raised."""
    words = str(error).lower()
    if getattr(error, "errno", None) in _GONE or any(sign in words for sign in _GONE_WORDS):
        return "unplugged"
    return f"link lost: {error}"


def sample(data: bytes) -> str:
    """The first words of another program's text, fit for a terminal; "" if there are none."""
    start = data[:_SAMPLE_BYTES]
    if not any(32 < byte < 127 for byte in start):
        return f"{len(data)} unprintable bytes" if data else ""
    return f'"{printable(start.decode("utf-8", "replace").strip())}"'


def permission_remedy(device: str) -> str:
    """The command that lets this user open the device: it names the group that owns it."""
    if not sys.platform.startswith("linux"):
        return "Another program may hold it, or this user may not use it"
    import grp

    try:
        group = grp.getgrgid(os.stat(device).st_gid).gr_name
    except (OSError, KeyError):
        group = "dialout"
    return f"Run: sudo usermod -aG {group} $USER, then log out and in again"


def busy_remedy(device: str) -> str:
    """Which program holds the port, as far as /proc shows it, and to close it."""
    holder = _holder(device)
    if holder:
        return f"{holder} holds it: close that program first"
    if _runs("ModemManager"):
        return "ModemManager may hold it: wait ten seconds, or sudo systemctl stop ModemManager"
    return "Another program holds it: close any terminal, editor or second coilcount on this port"


def missing(device: str) -> NoSuchPortError:
    """The NoSuchPortError for `device`; its remedy lists ports with similar names."""
    folder = Path(device).parent
    names = [str(folder / name) for name in _port_names(folder)]
    near = difflib.get_close_matches(device, names, n=3)
    hint = f"Similar names: {', '.join(near)}. " if near else ""
    return NoSuchPortError("no such port", device, hint + "Is the board plugged in? See coilcount ports")


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
    """Name and id of a process that has `device` open; "" if there is none or this user may not see it."""
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
