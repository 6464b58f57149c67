"""The virtual board: the real firmware behind a pseudo-terminal, fed by a process that knows the coil.

    feed process --FIFO--> firmware (MicroPython) --pty--> whoever opens `port`

The firmware's stdin and stdout are the pty's master itself, so nothing stands between it and the host's
serial library.  A pulled plug is a real hang-up: the firmware's process ends and the pty goes away; when
the scene plugs it in again a new pty and a new process take over, with the same flash.

Both processes hold the reading end of a pipe whose writing end only this process has.  However this process ends,
a kill -9 included, the system closes that end, and they end too.
"""

import contextlib
import os
import select
import shutil
import subprocess
import threading
from collections.abc import Sequence
from pathlib import Path

from coilcount.deploy import firmware_files
from coilcount.errors import DeviceError, InputError
from coilcount.virtual import folder as virtual_folder
from coilcount.virtual.interpreter import Interpreter, find_interpreter

# Exit codes of firmware/virtual/run.py, and the feed's record: see firmware/virtual/simulated.py.
_SCENE_ENDED = 0
_UNPLUGGED = 86
_RECORD_BYTES = 32
_CONTROL_OFFSET = 30
_PLUGGED_BIT = 2

_GRACE_S = 1.0
_POLL_S = 0.05


class VirtualBoard:
    """A board that exists while the `with` block runs.

    firmware: the firmware's folder.  feed_command: a command line that writes the scene; `--out FIFO` and
    `--host DESCRIPTOR`, the pipe of this process's life, are added to it.  interpreter: what runs the firmware (the
    best there is).  uid: its serial number.
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
        self._life: tuple[int, int] | None = None
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
        """The path to open; it stays the same, and is absent while the board is unplugged."""
        return str(self._folder / "port")

    @property
    def interpreter_name(self) -> str:
        """What runs the firmware, for a person."""
        if self._interpreter is None:
            self._interpreter = find_interpreter()
        return self._interpreter.name

    @property
    def ended(self) -> bool:
        """The scene is over, or the board failed: nothing new will be sent.  What was sent can still be read."""
        return self._ended.is_set()

    def wait(self, timeout_s: float | None = None) -> bool:
        """Wait until `ended`; whether it is."""
        return self._ended.wait(timeout_s)

    def check(self) -> None:
        """Raise what went wrong with the board's own processes, if anything did."""
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
        """End both processes and remove the folder; harmless when done twice."""
        self._stop.set()
        for process in (self._feed, self._process):
            _end(process)
        for thread in self._threads:
            thread.join()
        # A process that the supervisor had started while we were ending the others.
        _end(self._process)
        self._threads = []
        self._hang_up()
        for descriptor in (self._fifo, *(self._life or ())):
            if descriptor is not None:
                os.close(descriptor)
        self._fifo = self._life = None
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
        # As on a board: its /lib holds the shared package and nothing else.
        (self._folder / "lib" / "coilwire").symlink_to(firmware_files.coilwire_folder())
        (self._folder / "firmware").symlink_to(self._firmware.resolve())
        self._life = os.pipe()
        fifo = self._folder / "scene"
        os.mkfifo(fifo)
        self._fifo = os.open(fifo, os.O_RDONLY | os.O_NONBLOCK)
        # Held until the feed has ended, so that the firmware does not take its start-up for the end.
        writer = os.open(fifo, os.O_WRONLY | os.O_NONBLOCK)
        try:
            # The feed first: it takes the longest to start.
            with open(self._folder / "feed.log", "wb") as log:
                self._feed = subprocess.Popen(
                    [*self._feed_command, "--out", str(fifo), "--host", str(self._life[0])],
                    stdin=subprocess.DEVNULL,
                    stdout=log,
                    stderr=log,
                    pass_fds=(self._life[0],),
                    # Ctrl-C in a terminal is for the host; it ends us in order.
                    start_new_session=True,
                )
        except OSError as error:
            os.close(writer)
            raise DeviceError("the scene's process does not start", str(error)) from error
        if self._interpreter is None:
            self._interpreter = find_interpreter()
        self._plug_in()
        for target, args in ((self._watch_feed, (writer,)), (self._supervise, ())):
            thread = threading.Thread(target=target, args=args, name=f"virtual board {target.__name__}", daemon=True)
            thread.start()
            self._threads.append(thread)

    def _plug_in(self) -> None:
        import tty

        assert self._interpreter is not None and self._fifo is not None and self._life is not None
        master, slave = os.openpty()
        self._pty = (master, slave)
        tty.setraw(slave)
        # The firmware asks for room before it writes, and takes short writes, as on a chip.
        os.set_blocking(master, False)
        with open(self._folder / "firmware.log", "wb") as log:
            self._process = subprocess.Popen(
                # Short names inside the folder: MicroPython dies of a word or a script's path of more than 255 bytes.
                [
                    *self._interpreter.command,
                    "-c",
                    "exec(open('firmware/virtual/run.py').read())",
                    "firmware/virtual:firmware:lib",
                    str(self._fifo),
                    "flash",
                    self._interpreter.board,
                    self._uid,
                    str(self._life[0]),
                ],
                cwd=self._folder,
                stdin=master,
                stdout=master,
                stderr=log,
                pass_fds=(self._fifo, self._life[0]),
                start_new_session=True,
            )
        new = self._folder / "port.new"
        new.symlink_to(os.ttyname(slave))
        new.rename(self._folder / "port")

    def _hang_up(self) -> None:
        """Take the pty away.  Our own slave keeps it alive while the host closes and opens it again."""
        if self._pty is not None:
            with contextlib.suppress(FileNotFoundError):
                os.unlink(self.port)
            for descriptor in self._pty:
                os.close(descriptor)
            self._pty = None

    # ------------------------------------------------------------ threads

    def _supervise(self) -> None:
        while not self._stop.is_set():
            assert self._process is not None
            code = self._process.wait()
            if self._stop.is_set():
                break
            if code == _UNPLUGGED:
                self._hang_up()
                if not self._await_plug():
                    break
                if not self._stop.is_set():
                    self._plug_in()
                continue
            if code != _SCENE_ENDED:
                self._error = self._error or DeviceError(
                    f"the virtual board's firmware ended by itself, code {code}",
                    f"{self.interpreter_name}: {_tail(self._folder / 'firmware.log')}",
                    "This is a fault of the firmware: please report it",
                )
                self._hang_up()
            break
        self._ended.set()

    def _await_plug(self) -> bool:
        """Let the scene go on without a board; False where it ended first."""
        assert self._fifo is not None
        record = b""
        while not self._stop.is_set():
            if not select.select([self._fifo], [], [], _POLL_S)[0]:
                continue
            part = os.read(self._fifo, _RECORD_BYTES - len(record))
            if not part:
                return False
            record += part
            if len(record) == _RECORD_BYTES:
                if record[_CONTROL_OFFSET] & _PLUGGED_BIT:
                    return True
                record = b""
        return False

    def _watch_feed(self, writer: int) -> None:
        assert self._feed is not None
        code = self._feed.wait()
        if code != 0 and not self._stop.is_set():
            said = _tail(self._folder / "feed.log").removeprefix("coilcount feed: ")
            self._error = InputError(said or f"the process of the scene ended with code {code}")
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
    """The last line that a process said."""
    try:
        lines = path.read_text("utf-8", "replace").split("\n")
    except OSError:
        return ""
    return next((line.strip() for line in reversed(lines) if line.strip()), "")
