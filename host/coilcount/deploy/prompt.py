"""MicroPython's prompt on a port: stop what runs there, then run short programs and write files.

The talking is mpremote's own (its transport, as a library: one connection for all files, and errors as
exceptions; as a subprocess each step would open the port anew and its errors would be prose).
"""

import contextlib
import io
import re
import struct
import time
from collections.abc import Callable, Iterator

from mpremote.transport import TransportError, TransportExecError
from mpremote.transport_serial import SerialTransport

from coilcount.board.opening import PORT_ERRORS, close_port, explain, open_port
from coilcount.errors import DeviceError

# A board in its loop stops within milliseconds; one in its start-up delay or a long flash write takes longer.
INTERRUPT_S = 6.0
_TRY_S = 0.5
# mpremote waits this long for a single answer.
_ANSWER_S = 10.0
# Bytes of a file in one step: larger ones gain little, and each stands as text in the board's memory.
CHUNK_BYTES = 1024
_BANNER = re.compile(rb"\r\nMicroPython ([^\r\n]+)\r\n(?:.*\r\n)*>>> $")
_SAMPLE_BYTES = 48

NOT_MICROPYTHON = (
    "Is it a board with MicroPython? Put an image of MicroPython on it first: hold BOOTSEL while plugging in, then "
    "copy the .uf2 file to the drive that appears"
)
# What mpremote lets through when a board goes away in the middle: struct.error where an answer is cut short.
_BROKEN = (TransportError, struct.error, *PORT_ERRORS)


class Repl:
    """The raw prompt of an interrupted board; `banner` is what MicroPython says of itself."""

    def __init__(self, device: str, transport: SerialTransport, banner: str) -> None:
        self.device = device
        self.banner = banner
        self._transport = transport

    def run(self, program: str) -> str:
        """What `program` printed.  Raises BoardError where it ended with an exception, DeviceError for all else."""
        with self._told():
            return self._transport.exec(program).decode()

    def write(self, path: str, data: bytes, progress: Callable[[int, int], None]) -> None:
        """Write a file; progress(bytes so far, bytes in all).  Raises as run()."""
        with self._told():
            self._transport.fs_writefile(path, data, CHUNK_BYTES, progress)

    def start_and_leave(self, program: str) -> None:
        """Start a program that gives no answer (a reset)."""
        with self._told():
            self._transport.exec_raw_no_follow(program)

    @contextlib.contextmanager
    def _told(self) -> Iterator[None]:
        try:
            # mpremote prints what it could not understand.
            with contextlib.redirect_stdout(io.StringIO()):
                yield
        except TransportExecError as error:
            raise BoardError(_last_line(error.error_output)) from error
        except _BROKEN as error:
            # An OSError of the board's file system comes like one of the port; a traceback stands behind it.
            if isinstance(error.__context__, TransportExecError):
                raise BoardError(_last_line(error.__context__.error_output)) from error
            raise DeviceError(
                f"the board went away: {' '.join(str(error).split())[-120:]}", self.device, "Plug it in and try again"
            ) from error


class BoardError(Exception):
    """A program ended with an exception on the board: the last line of its traceback."""

    @property
    def no_space(self) -> bool:
        return re.match(r"OSError: (\[Errno )?28\b", str(self)) is not None


@contextlib.contextmanager
def interrupted(device: str) -> Iterator[Repl]:
    """Stop what runs on the board and hold its prompt; the port is closed afterwards.

    Raises DeviceError: no such port, busy, forbidden, no MicroPython.
    """
    # mpremote swallows why a port does not open; ours tells.
    close_port(open_port(device))
    try:
        transport = SerialTransport(device)
        # Or it waits for ever for a board that says no more.
        transport.serial.timeout = _ANSWER_S
    except (TransportError, *PORT_ERRORS) as error:
        raise explain(error, device) if isinstance(error, OSError) else DeviceError(str(error), device) from error
    try:
        yield Repl(device, transport, _stop(device, transport))
    finally:
        with contextlib.suppress(*PORT_ERRORS):
            transport.close()


def _stop(device: str, transport: SerialTransport) -> str:
    """Ctrl-C until there is a prompt, and its banner; then the raw prompt."""
    port = transport.serial
    heard = b""
    until = time.monotonic() + INTERRUPT_S
    found = None
    try:
        while not found and time.monotonic() < until:
            # Ctrl-C ends a program, Ctrl-B a raw prompt that another install left and asks for the banner.
            port.write(b"\r\x03\x02")
            again = time.monotonic() + _TRY_S
            while not found and time.monotonic() < again:
                waiting = port.in_waiting
                if waiting:
                    heard = (heard + port.read(waiting))[-4096:]
                    found = _BANNER.search(heard)
                else:
                    time.sleep(0.01)
        if found:
            with contextlib.redirect_stdout(io.StringIO()):
                transport.enter_raw_repl(soft_reset=False)
            return found[1].decode("ascii", "replace")
    except _BROKEN as error:
        raise DeviceError(f"the board went away: {error}", device, "Plug it in and try again") from error
    text = "".join(chr(byte) if 32 <= byte < 127 else "." for byte in heard[-_SAMPLE_BYTES:])
    said = f'it says "{text.strip()}"' if heard else "it says nothing"
    raise DeviceError(f"no MicroPython answers, {said}", device, NOT_MICROPYTHON)


def _last_line(text: str) -> str:
    return next((line.strip() for line in reversed(text.splitlines()) if line.strip()), "an error without words")
