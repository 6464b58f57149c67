"""MicroPython's prompt on a port: stops the program on the board, then runs short programs and writes files.

The protocol is mpremote's, used as a library: one connection serves all files, and errors are exceptions.  As a
subprocess, each step would open the port again and report its errors as text.
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

# s in which a board must stop its program.  Chosen by hand: a board in its loop stops within milliseconds, one in its
# start-up delay or in a long flash write takes longer.
INTERRUPT_S = 6.0
# s between two Ctrl-C.  Chosen by hand.
_TRY_S = 0.5
# s between two looks for the prompt.  Chosen by hand.
_LOOK_S = 0.01
# Bytes of a board's output that are kept while looking for the prompt: several banners.  Chosen by hand.
_KEPT_BYTES = 4096
# s that mpremote waits for one answer.  Chosen by hand.
_ANSWER_S = 10.0
# Bytes of a file that are sent in one step.  Chosen by hand: larger steps gain little, and each is held as text in the
# board's memory.
CHUNK_BYTES = 1024
_BANNER = re.compile(rb"\r\nMicroPython ([^\r\n]+)\r\n(?:.*\r\n)*>>> $")
# How much of a board's output (bytes) and of an error (characters) a message shows.  Chosen by hand.
_SAMPLE_BYTES = 48
_ERROR_CHARACTERS = 120

HOW_TO_FLASH = (
    "Put an image of MicroPython on it first: hold BOOTSEL while plugging in, then copy the .uf2 file to the drive "
    "that appears"
)
NOT_MICROPYTHON = f"Is it a board with MicroPython? {HOW_TO_FLASH}"
# What mpremote raises if a board goes away in the middle; struct.error if an answer is cut short.
_BROKEN = (TransportError, struct.error, *PORT_ERRORS)


class Repl:
    """The raw prompt of an interrupted board.  banner: name and version of its MicroPython."""

    def __init__(self, device: str, transport: SerialTransport, banner: str) -> None:
        self.device = device
        self.banner = banner
        self._transport = transport

    def run(self, program: str) -> str:
        """Run `program` on the board and return what it printed.

        Raises BoardError if the program ended with an exception, DeviceError for every other failure.
        """
        with self._translated_errors():
            return self._transport.exec(program).decode()

    def write(self, path: str, data: bytes, progress: Callable[[int, int], None]) -> None:
        """Write a file.  progress: called with (bytes written so far, bytes in all).  Raises as run()."""
        with self._translated_errors():
            self._transport.fs_writefile(path, data, CHUNK_BYTES, progress)

    def start_and_leave(self, program: str) -> None:
        """Start a program that gives no answer, such as a reset.  Raises as run()."""
        with self._translated_errors():
            self._transport.exec_raw_no_follow(program)

    @contextlib.contextmanager
    def _translated_errors(self) -> Iterator[None]:
        try:
            # mpremote prints answers that it does not understand.
            with contextlib.redirect_stdout(io.StringIO()):
                yield
        except TransportExecError as error:
            raise BoardError(_last_line(error.error_output)) from error
        except _BROKEN as error:
            # mpremote raises an OSError of the board's file system as if it came from the port.  Then the board's
            # traceback is in the context of the exception.
            if isinstance(error.__context__, TransportExecError):
                raise BoardError(_last_line(error.__context__.error_output)) from error
            raise DeviceError(
                f"the board went away: {' '.join(str(error).split())[-_ERROR_CHARACTERS:]}",
                self.device,
                "Plug it in and try again",
            ) from error


class BoardError(Exception):
    """A program on the board ended with an exception; the text is the last line of its traceback."""

    @property
    def no_space(self) -> bool:
        """True if the board's file system is full: error number 28, ENOSPC."""
        return re.match(r"OSError: (\[Errno )?28\b", str(self)) is not None


@contextlib.contextmanager
def interrupted(device: str) -> Iterator[Repl]:
    """Stop the program on the board and hold its prompt; the port is closed afterwards.

    Raises DeviceError if there is no such port, it is busy or forbidden, or no MicroPython answers.
    """
    # mpremote does not report why a port does not open, so the port is first opened and closed here.
    close_port(open_port(device))
    try:
        transport = SerialTransport(device)
        # Without it mpremote would wait for ever for a board that stopped answering.
        transport.serial.timeout = _ANSWER_S
    except (TransportError, *PORT_ERRORS) as error:
        raise explain(error, device) if isinstance(error, OSError) else DeviceError(str(error), device) from error
    try:
        yield Repl(device, transport, _stop(device, transport))
    finally:
        with contextlib.suppress(*PORT_ERRORS):
            transport.close()


def _stop(device: str, transport: SerialTransport) -> str:
    """Send Ctrl-C until there is a prompt, then enter the raw prompt.  Returns the banner of MicroPython."""
    port = transport.serial
    heard = b""
    until = time.monotonic() + INTERRUPT_S
    found = None
    try:
        while not found and time.monotonic() < until:
            # Ctrl-C ends a program.  Ctrl-B ends a raw prompt that an earlier install left, and asks for the banner.
            port.write(b"\r\x03\x02")
            next_try = time.monotonic() + _TRY_S
            while not found and time.monotonic() < next_try:
                waiting = port.in_waiting
                if waiting:
                    heard = (heard + port.read(waiting))[-_KEPT_BYTES:]
                    found = _BANNER.search(heard)
                else:
                    time.sleep(_LOOK_S)
        if found:
            with contextlib.redirect_stdout(io.StringIO()):
                transport.enter_raw_repl(soft_reset=False)
            return found[1].decode("ascii", "replace")
    except _BROKEN as error:
        raise DeviceError(f"the board went away: {error}", device, "Plug it in and try again") from error
    text = "".join(chr(byte) if 32 <= byte < 127 else "." for byte in heard[-_SAMPLE_BYTES:])
    answer = f'the port sends "{text.strip()}"' if heard else "the port sends nothing"
    raise DeviceError(f"no MicroPython answers: {answer}", device, NOT_MICROPYTHON)


def _last_line(text: str) -> str:
    return next((line.strip() for line in reversed(text.splitlines()) if line.strip()), "an error without a message")
