"""Kills `coilcount virtual` at some moment of its start, and looks for processes and folders that stay.

It recognises its processes by a mark in their environment, which is unique to a run, and never by their names.  It
reads /proc, so it works only on Linux.
"""

import contextlib
import os
import subprocess
import time
import uuid
from pathlib import Path
from typing import NamedTuple

from command_line import INTERRUPTIBLE

COMMAND = [*INTERRUPTIBLE, "virtual", "--json", "--scene", "quiet-bench"]
_MARK = "COILCOUNT_TEST_RUN"
# s that the processes have to end by themselves.  Chosen by hand: importing numpy on a busy computer takes seconds.
GIVEN_S = 6.0


class Outcome(NamedTuple):
    """The result of one run.

    children: processes beside the host when it was killed; left: those that still ran GIVEN_S later; gone_s: seconds
    until the last one had ended; folders: temporary folders that stayed; code: the host's exit code.
    """

    children: int
    left: int
    gone_s: float
    folders: int
    code: int


def killed_start(folder: Path, after_s: float | None, number: int) -> Outcome:
    """Start `coilcount virtual`, send it the signal `number`, and wait until its processes have ended.

    folder: for temporary files; after_s: seconds from the moment at which the temporary folder of the virtual board
    appears to the signal; None: send the signal when the board can be opened.
    """
    folder.mkdir(exist_ok=True)
    mark = uuid.uuid4().hex
    environ = os.environ | {_MARK: mark, "TMPDIR": str(folder)}
    before = set(folder.glob("coilcount-*"))
    host = subprocess.Popen(COMMAND, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, env=environ)
    if after_s is None:
        host.stdout.readline()
    else:
        while not set(folder.glob("coilcount-*")) - before and host.poll() is None:
            time.sleep(0.001)
        time.sleep(after_s)
    children = len(marked(mark) - {host.pid})
    host.send_signal(number)
    begin = time.monotonic()
    code = host.wait(30)
    host.stdout.close()
    while (left := marked(mark)) and time.monotonic() - begin < GIVEN_S:
        time.sleep(0.02)
    gone_s = time.monotonic() - begin
    for pid in left:
        with contextlib.suppress(ProcessLookupError):
            os.kill(pid, 9)
    return Outcome(children, len(left), gone_s, len(set(folder.glob("coilcount-*")) - before), code)


def marked(mark: str) -> set[int]:
    """Return the ids of the running processes that carry the mark."""
    wanted = f"{_MARK}={mark}".encode()
    found = set()
    for folder in Path("/proc").glob("[0-9]*"):
        with contextlib.suppress(OSError):
            if wanted in (folder / "environ").read_bytes().split(b"\0"):
                found.add(int(folder.name))
    return found
