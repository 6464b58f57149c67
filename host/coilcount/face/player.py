"""Plays tones through a program of the system, from a thread of its own: the sound never delays or ends a recording.

No package is needed.  The thread writes samples into the program's standard input, at the pace of the clock.
"""

import contextlib
import queue
import shutil
import subprocess
import sys
import threading
import time
from array import array
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from coilcount.face.tone import Tone
from coilcount.face.tone_samples import BYTES, RATE_HZ, sample_at, samples

# Seconds, all chosen by hand.
BLOCK_S = 0.02  # samples that are written at once
AHEAD_S = 0.12  # samples that the program holds: less is quicker, but a busy computer would leave holes in the sound
STALLED_S = 3.0  # a program that takes no samples for this long is given up
_BEHIND_S = 0.5  # from here on the thread does not catch up: a blocked pipe or a sleep of the computer
_SAME_TIME_S = 0.3  # tones that are nearer to each other keep their distance when they are played
_STARTS_S = 1.0  # a program that ends within this time could not start; the next one is tried
_END_S = 0.5
_MOST_WAITING = 16  # tones
_MOST_LATE = 3  # tones; of more that wait, the oldest are left out
# Bytes.  A full pipe is sound that is not heard yet.  Linux gives a pipe 64 kB, which is 1.5 s.
_PIPE_BYTES = 4096

# A sound server lets other programs play, too, so its programs come first.
PROGRAMS = {
    "paplay": ("--raw", "--format=s16le", f"--rate={RATE_HZ}", "--channels=1", f"--latency-msec={1000 * AHEAD_S:.0f}"),
    "pw-play": (
        "--raw", "--format=s16", f"--rate={RATE_HZ}", "--channels=1", f"--latency={1000 * AHEAD_S:.0f}ms", "-",
    ),
    "aplay": (
        "-q", "-t", "raw", "-f", "S16_LE", "-r", str(RATE_HZ), "-c", "1", f"--buffer-time={1e6 * AHEAD_S:.0f}", "-",
    ),
}  # fmt: skip
NONE_HERE = (
    f"no sound: none of the programs {', '.join(PROGRAMS)} is here. Install alsa-utils, or listen later: replay --sound"
)


@dataclass(frozen=True, slots=True)
class Program:
    """A program that plays samples from its standard input."""

    name: str
    command: tuple[str, ...]


def programs_here() -> list[Program]:
    """The programs of PROGRAMS that this computer has."""
    found = [(name, shutil.which(name), options) for name, options in PROGRAMS.items()]
    return [Program(name, (path, *options)) for name, path, options in found if path]


class Stream:
    """Samples without end: the tones as they come, silence between them.  No clock, no device."""

    def __init__(self) -> None:
        self._waiting: deque[Tone] = deque()
        self._samples = array("h")  # of the tone that sounds
        self._place = 0
        self._last: Tone | None = None
        self._silent = 0  # samples since the last tone ended

    def add(self, tone: Tone) -> None:
        """Play a tone behind those that wait."""
        self._waiting.append(tone)
        while len(self._waiting) > _MOST_LATE:
            self._waiting.popleft()

    def block(self, count: int) -> array:
        """The next `count` samples."""
        out = array("h")
        while len(out) < count:
            room = count - len(out)
            if self._place < len(self._samples):
                part = self._samples[self._place : self._place + room]
                self._place += len(part)
                self._silent = 0
            else:
                part = array("h", bytes(BYTES * min(room, self._silence(room))))
                self._silent += len(part)
            out.extend(part)
        return out

    def _silence(self, room: int) -> int:
        """How many silent samples come next; where there are none, the next tone begins."""
        if not self._waiting:
            return room
        tone = self._waiting[0]
        apart_s = 0.0 if self._last is None else tone.start_s - self._last.end_s
        left = sample_at(apart_s) - self._silent
        if apart_s <= _SAME_TIME_S and left > 0:
            return left
        self._last = self._waiting.popleft()
        self._samples, self._place = samples(self._last), 0
        return 0


class Player:
    """play() tones, stop() at the end.

    failure: why there is no sound any more, "" while there is.
    """

    def __init__(self, programs: Sequence[Program], clock: Callable[[], float] = time.monotonic) -> None:
        self.failure = "" if programs else NONE_HERE
        self._programs = list(programs)
        self._clock = clock
        self._tones: queue.Queue[Tone] = queue.Queue(_MOST_WAITING)
        self._stopping = threading.Event()
        self._process: subprocess.Popen | None = None
        self._taken_s = clock()  # when the program last took samples
        self._thread = threading.Thread(target=self._run, name="sound", daemon=True)
        if programs:
            self._thread.start()

    def play(self, tone: Tone) -> None:
        """Play a tone, now or behind those that wait; returns at once.  If too many wait it is left out."""
        with contextlib.suppress(queue.Full):
            self._tones.put_nowait(tone)

    def check(self) -> str:
        """The failure, "" if there is none; gives up a program that takes no samples any more."""
        process = self._process
        if not self.failure and process is not None and self._clock() - self._taken_s > STALLED_S:
            self.failure = f"the sound has ended: {self._programs[0].name} took no sound for {STALLED_S:g} s"
            self._stopping.set()
            process.kill()  # the thread may be blocked in a write to it
        return self.failure

    def stop(self) -> None:
        """End the program and the thread, within a second whatever they do."""
        self._stopping.set()
        if self._thread.ident is None:
            return
        self._thread.join(_END_S)
        if self._thread.is_alive() and self._process is not None:
            self._process.kill()
            self._thread.join(_END_S)

    def _run(self) -> None:
        while not self._stopping.is_set():
            begun_s = self._clock()
            ended = self._play_through(self._programs[0])
            if self._stopping.is_set():
                return
            if self._clock() - begun_s < _STARTS_S and len(self._programs) > 1:
                self._programs.pop(0)
                continue
            self.failure = f"the sound has ended: {self._programs[0].name} {ended}"
            return

    def _play_through(self, program: Program) -> str:
        """Play until stop(), or until the program ends; returns how it ended."""
        try:
            # In a session of its own, so that Ctrl-C is for coilcount alone.
            process = subprocess.Popen(
                program.command, stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
                bufsize=0, start_new_session=True,
            )  # fmt: skip
        except OSError as error:
            return f"cannot be started ({error.strerror})"
        self._process = process
        _shorten(process.stdin.fileno())
        try:
            self._write_samples(process.stdin)
        except OSError:
            pass  # the program has ended
        finally:
            with contextlib.suppress(OSError):
                process.stdin.close()
            try:
                process.wait(_END_S)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()
        return f"stopped (exit code {process.returncode})"

    def _write_samples(self, pipe) -> None:
        stream, count = Stream(), sample_at(BLOCK_S)
        begun_s, written = self._clock(), 0
        while not self._stopping.is_set():
            while not self._tones.empty():
                stream.add(self._tones.get_nowait())
            block = stream.block(count)
            if sys.byteorder == "big":
                block.byteswap()
            data = memoryview(block.tobytes())
            while data:
                data = data[pipe.write(data) :]
            self._taken_s = now_s = self._clock()
            written += count
            ahead_s = written / RATE_HZ - (now_s - begun_s)
            if ahead_s < -_BEHIND_S:
                begun_s = now_s - written / RATE_HZ
            elif ahead_s > AHEAD_S:
                self._stopping.wait(ahead_s - AHEAD_S)


def _shorten(pipe: int) -> None:
    """Make the pipe small where the system can, so that little sound waits in it."""
    try:
        import fcntl

        fcntl.fcntl(pipe, fcntl.F_SETPIPE_SZ, _PIPE_BYTES)
    except (ImportError, AttributeError, OSError):
        pass
