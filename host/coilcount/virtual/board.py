"""The virtual board: the real firmware behind a pseudo-terminal, fed by a process that simulates the coil.

    feed process --FIFO--> firmware (MicroPython) --pty--> the program that opens `port`

The firmware's stdin and stdout are the pty's master, so that the host's serial library talks to the firmware directly.
When the scene unplugs the board, the firmware's process ends and the pty goes away, which is a real hang-up.  When the
scene plugs it in again, a new process with the same flash starts on a new pty.

Both processes hold the reading end of a pipe, and only this process has its writing end.  However this process ends,
even by kill -9, the system closes the writing end, and both processes end too.
"""

import contextlib
import os
import select
import shutil
import struct
import subprocess
import threading
from collections.abc import Sequence
from pathlib import Path

from coilwire import virtual_board as facts

from coilcount.deploy import firmware_files
from coilcount.errors import DeviceError, InputError
from coilcount.virtual import folder as virtual_folder
from coilcount.virtual.interpreter import Interpreter, find_interpreter

_CONTROL = facts.FIELDS.index("control")
# s from asking a process to end until it is killed.  Chosen by hand.
_GRACE_S = 1.0
# s between two looks whether the board was stopped, while it is unplugged.  Chosen by hand.
_POLL_S = 0.05


class VirtualBoard:
    """A board that exists while the `with` block runs.

    firmware: the firmware's folder.
    feed_command: a command line whose process writes the records of the scene.  `--out FIFO` and `--host DESCRIPTOR`
    are added to it; the descriptor is the reading end of the pipe described above.
    interpreter: what runs the firmware; if None, find_interpreter() chooses it.
    uid: the board's serial number.
    """

    def __init__(
        self,
        firmware: Path,
        feed_command: Sequence[str],
        interpreter: Interpreter | None = None,
        uid: str = "VIRTUAL1",
    ) -> None:
        self._firmware = firmware
        self._feed_command = list(feed_command)
        self._interpreter = interpreter
        self._uid = uid
        self._folder = Path()
        self._lock: int | None = None
        self._life_pipe: tuple[int, int] | None = None
        self._stop = threading.Event()
        self._ended = threading.Event()
        self._error: InputError | DeviceError | None = None
        self._feed: subprocess.Popen | None = None
        self._process: subprocess.Popen | None = None
        self._threads: list[threading.Thread] = []
        self._fifo: int | None = None
        self._pty: tuple[int, int] | None = None

    @property
    def port(self) -> str:
        """The path to open.  It never changes, and is absent while the board is unplugged."""
        return str(self._folder / "port")

    @property
    def interpreter_name(self) -> str:
        """The name of the interpreter that runs the firmware, for a person."""
        if self._interpreter is None:
            self._interpreter = find_interpreter()
        return self._interpreter.name

    @property
    def ended(self) -> bool:
        """True if the scene is over or the board failed: nothing more is sent.  Earlier lines can still be read."""
        return self._ended.is_set()

    def wait(self, timeout_s: float | None = None) -> bool:
        """Wait until `ended`, at most timeout_s seconds; returns `ended`."""
        return self._ended.wait(timeout_s)

    def check(self) -> None:
        """Raise the InputError or DeviceError of the board's own processes, if one of them failed."""
        if self._error is not None:
            raise self._error

    def __enter__(self) -> "VirtualBoard":
        try:
            self._start()
        except BaseException:
            self.close()
            raise
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """End both processes and remove the folder; a second call does nothing."""
        self._stop.set()
        for process in (self._feed, self._process):
            _end(process)
        for thread in self._threads:
            thread.join()
        # The supervisor may have started a new process while the others were being ended.
        _end(self._process)
        self._threads = []
        self._hang_up()
        for descriptor in (self._fifo, *(self._life_pipe or ())):
            if descriptor is not None:
                os.close(descriptor)
        self._fifo = self._life_pipe = None
        if self._lock is not None:
            shutil.rmtree(self._folder, ignore_errors=True)
            os.close(self._lock)
            self._lock = None
        self._ended.set()

    # ------------------------------------------------------------ starting

    def _start(self) -> None:
        if not hasattr(os, "openpty") or not hasattr(os, "mkfifo"):
            raise DeviceError(
                "the virtual board needs a pseudo-terminal, and this system has none",
                remedy="Use Linux or macOS for it; `coilcount simulate` and `replay` work here",
            )
        virtual_folder.remove_left()
        self._folder, self._lock = virtual_folder.make()
        (self._folder / "flash").mkdir()
        (self._folder / "lib").mkdir()
        # As on a board, the folder lib holds only packages that are shared with the host.
        (self._folder / "lib" / "coilwire").symlink_to(firmware_files.coilwire_folder())
        (self._folder / "firmware").symlink_to(self._firmware.resolve())
        self._life_pipe = os.pipe()
        fifo = self._folder / "scene"
        os.mkfifo(fifo)
        self._fifo = os.open(fifo, os.O_RDONLY | os.O_NONBLOCK)
        # Kept open until the feed has ended.  Without a writer, the firmware would see the end of the scene while the
        # feed is still starting.
        writer = os.open(fifo, os.O_WRONLY | os.O_NONBLOCK)
        try:
            # The feed is started first, because it takes the longest to start.
            with open(self._folder / "feed.log", "wb") as log:
                self._feed = subprocess.Popen(
                    [*self._feed_command, "--out", str(fifo), "--host", str(self._life_pipe[0])],
                    stdin=subprocess.DEVNULL,
                    stdout=log,
                    stderr=log,
                    pass_fds=(self._life_pipe[0],),
                    # Ctrl-C in a terminal goes to the host alone, which then ends this process in order.
                    start_new_session=True,
                )
        except OSError as error:
            os.close(writer)
            raise DeviceError("the process of the scene does not start", str(error)) from error
        if self._interpreter is None:
            self._interpreter = find_interpreter()
        self._plug_in()
        for target, args in ((self._watch_feed, (writer,)), (self._supervise, ())):
            thread = threading.Thread(target=target, args=args, name=f"virtual board {target.__name__}", daemon=True)
            thread.start()
            self._threads.append(thread)

    def _plug_in(self) -> None:
        import tty

        assert self._interpreter is not None and self._fifo is not None and self._life_pipe is not None
        master, slave = os.openpty()
        self._pty = (master, slave)
        tty.setraw(slave)
        # As on a chip, a write may be short: the firmware asks for room first.
        os.set_blocking(master, False)
        with open(self._folder / "firmware.log", "wb") as log:
            self._process = subprocess.Popen(
                # Short paths inside the folder: MicroPython crashes on an argument or a path of more than 255 bytes.
                [
                    *self._interpreter.command,
                    "-c",
                    "exec(open('firmware/virtual/run.py').read())",
                    "firmware/virtual:firmware:lib",
                    str(self._fifo),
                    "flash",
                    self._interpreter.board,
                    self._uid,
                    str(self._life_pipe[0]),
                ],
                cwd=self._folder,
                stdin=master,
                stdout=master,
                stderr=log,
                pass_fds=(self._fifo, self._life_pipe[0]),
                start_new_session=True,
            )
        new = self._folder / "port.new"
        new.symlink_to(os.ttyname(slave))
        new.rename(self._folder / "port")

    def _hang_up(self) -> None:
        """Take the pty away.  Until then the slave held here keeps it alive if the host closes and opens it again."""
        if self._pty is not None:
            with contextlib.suppress(FileNotFoundError):
                os.unlink(self.port)
            for descriptor in self._pty:
                os.close(descriptor)
            self._pty = None

    # ------------------------------------------------------------ threads

    def _supervise(self) -> None:
        """Start the firmware again after each unplug, until the scene ends, the firmware fails or close() is called."""
        while not self._stop.is_set():
            assert self._process is not None
            code = self._process.wait()
            if self._stop.is_set():
                break
            if code == facts.EXIT_UNPLUGGED:
                self._hang_up()
                if not self._await_plug():
                    break
                if not self._stop.is_set():
                    self._plug_in()
                continue
            if code != facts.EXIT_SCENE_ENDED:
                self._error = self._error or DeviceError(
                    f"the virtual board's firmware ended unexpectedly, with code {code}",
                    f"{self.interpreter_name}: {_tail(self._folder / 'firmware.log')}",
                    "This is a fault of the firmware: please report it",
                )
                self._hang_up()
            break
        self._ended.set()

    def _await_plug(self) -> bool:
        """Read the scene on without a board until it is plugged in again; False if the scene ends first."""
        assert self._fifo is not None
        record = b""
        while not self._stop.is_set():
            if not select.select([self._fifo], [], [], _POLL_S)[0]:
                continue
            part = os.read(self._fifo, facts.SIZE - len(record))
            if not part:
                return False
            record += part
            if len(record) == facts.SIZE:
                if struct.unpack(facts.FORMAT, record)[_CONTROL] & facts.PLUGGED:
                    return True
                record = b""
        return False

    def _watch_feed(self, writer: int) -> None:
        """Wait for the feed's end, note its error, and close the FIFO so that the firmware sees the end."""
        assert self._feed is not None
        code = self._feed.wait()
        if code != 0 and not self._stop.is_set():
            message = _tail(self._folder / "feed.log").removeprefix("coilcount feed: ")
            self._error = InputError(message or f"the process of the scene ended with code {code}")
        os.close(writer)


def _end(process: subprocess.Popen | None) -> None:
    if process is None or process.poll() is not None:
        return
    process.terminate()
    try:
        process.wait(_GRACE_S)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()


def _tail(path: Path) -> str:
    """The last line in the log of a process; "" if there is none."""
    try:
        lines = path.read_text("utf-8", "replace").split("\n")
    except OSError:
        return ""
    return next((line.strip() for line in reversed(lines) if line.strip()), "")
