"""Kills `coilcount virtual` at a moment of its start and looks for what it left behind.

Its processes are known by a mark in their environment that only this run has, never by their names.  Linux alone:
it reads /proc.
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
GIVEN_S = 6.0  # to end by themselves; importing numpy on a busy machine takes seconds


class Outcome(NamedTuple):
    """children: processes beside the host when it was killed; left: those that were there GIVEN_S later; gone_s: when
    the last one was gone; folders: temporary ones that stayed; code: the host's exit code."""

    children: int
    left: int
    gone_s: float
    folders: int
    code: int


def killed_start(folder: Path, after_s: float | None, number: int) -> Outcome:
    """Start, send the signal `number`, and wait.  folder: for temporary files.

    after_s: seconds after its own temporary folder appeared, with which the start of the board begins; None: once the
    board can be opened.
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
    """The ids of the living processes that carry the mark."""
    wanted = f"{_MARK}={mark}".encode()
    found = set()
    for place in Path("/proc").glob("[0-9]*"):
        with contextlib.suppress(OSError):
            if wanted in (place / "environ").read_bytes().split(b"\0"):
                found.add(int(place.name))
    return found
