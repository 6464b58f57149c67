"""Puts the firmware and the packages it shares with the host on a board, and proves that it runs.

Whatever interrupts an install, the board is left with no main.py, so that nothing half new ever runs: at its
prompt it waits for the next install.  Each file is written beside its old self, checked, then renamed.
"""

import hashlib
import json
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from coilwire import records

from coilcount.board import ports
from coilcount.board.link import SerialLink
from coilcount.deploy import firmware_files
from coilcount.deploy.prompt import NOT_MICROPYTHON, BoardError, Repl
from coilcount.errors import CoilcountError, DeviceError

MAIN = "/main.py"
# A main.py that was there before the first install.
KEPT_MAIN = "/main.py.before"
# Oldest MicroPython in which the firmware was tried on an emulated chip.
OLDEST = (1, 27)
# A reset board is back on USB in about two seconds, and says hello half a second later.
HELLO_S = 15.0

_WHAT_IS_THERE = """
import json, os, sys, hashlib
def digest(path):
 try:
  f = open(path, 'rb')
 except OSError:
  return ''
 h = hashlib.sha256()
 while True:
  b = f.read(512)
  if not b:
   f.close()
   return ''.join(['%%02x' %% x for x in h.digest()])
  h.update(b)
v = os.statvfs('/')
print(json.dumps([list(sys.implementation[1][:3]), [v[1], v[3]], [digest(p) for p in %r]]))
"""
_MAKE_FOLDERS = """
import os
for p in %r:
 try:
  os.mkdir(p)
 except OSError as e:
  if e.errno != 17:
   raise
"""
# FAT does not rename onto an existing file; LittleFS does, in one step.
_TAKE_OVER = """
if digest(%(new)r) != %(sha)r:
 raise ValueError('written and read back differ')
try:
 os.rename(%(new)r, %(path)r)
except OSError:
 os.remove(%(path)r)
 os.rename(%(new)r, %(path)r)
"""


@dataclass(frozen=True, slots=True)
class BoardFile:
    """One file as it shall be on the board; path is absolute there."""

    path: str
    data: bytes

    @property
    def sha256(self) -> str:
        return hashlib.sha256(self.data).hexdigest()


@dataclass(frozen=True, slots=True)
class Installed:
    """What an install did.  kept: where a stranger's main.py went, or ""."""

    micropython: str
    written: tuple[str, ...]
    skipped: int
    kept: str


def board_files() -> list[BoardFile]:
    """Everything that a board holds, main.py last.  Raises InputError where the firmware's files are missing."""
    firmware = firmware_files.firmware_folder()
    sources = [
        ("/lib/coilwire/", firmware_files.coilwire_folder()),
        ("/lib/coiltrack/", firmware_files.tracker_folder()),
        ("/", firmware),
    ]
    files = [BoardFile(to + path.name, path.read_bytes()) for to, folder in sources for path in _modules(folder)]
    return sorted(files, key=lambda file: file.path == MAIN)


def _modules(folder: Path) -> Iterable[Path]:
    """The modules of one folder; what lies in firmware/virtual and firmware/wiring stays here."""
    return sorted(folder.glob("*.py"))


def install(repl: Repl, files: Sequence[BoardFile], progress: Callable[[str, int, int], None]) -> Installed:
    """Put `files` (main.py last) on an interrupted board; progress(path, bytes so far, bytes in all).

    Raises DeviceError: too old a MicroPython, no space, a flash that refuses, a board that went away.
    """
    try:
        version, (block, free), there = _survey(repl, files)
        missing = [file for file, digest in zip(files, there, strict=True) if digest != file.sha256]
        if tuple(version[:2]) < OLDEST:
            raise DeviceError(
                f"MicroPython {_dotted(version)} is on the board, {_dotted(OLDEST)} or newer is needed",
                repl.device,
                NOT_MICROPYTHON.partition("? ")[2],
            )
        if not missing:
            return Installed(repl.banner, (), len(files), "")
        if missing[-1].path != MAIN:
            missing.append(files[-1])
        need = sum(-(-len(file.data) // block) for file in missing) + len(_folders(missing))
        if need > free:
            raise _no_space(repl.device, need * block, free * block)
        kept = _set_main_aside(repl)
        repl.run(_MAKE_FOLDERS % _folders(missing))
        _write_all(repl, missing, progress)
    except BoardError as error:
        if error.no_space:
            raise _no_space(repl.device) from error
        raise DeviceError(f"a step failed on the board: {error}", repl.device, "Reset it and install again") from error
    return Installed(repl.banner, tuple(file.path for file in missing), len(files) - len(missing), kept)


def _survey(repl: Repl, files: Sequence[BoardFile]) -> tuple[list[int], list[int], list[str]]:
    """(MicroPython's version, [block size, free blocks], the SHA-256 of each file there or "")."""
    version, space, there = json.loads(repl.run(_WHAT_IS_THERE % [file.path for file in files]))
    return version, space, there


def _folders(files: Sequence[BoardFile]) -> list[str]:
    found: list[str] = []
    for file in files:
        parents = [str(parent) for parent in reversed(PurePosixPath(file.path).parents)][1:]
        found += [parent for parent in parents if parent not in found]
    return found


def _set_main_aside(repl: Repl) -> str:
    """From here on the board runs nothing by itself.  A main.py of the owner's own is kept, and where."""
    said = repl.run(
        "def has(p):\n try:\n  os.stat(p)\n  return True\n except OSError:\n  return False\n"
        f"if has({MAIN!r}):\n"
        " if has('/lib/coilwire'):\n"
        f"  os.remove({MAIN!r})\n"
        f" else:\n  os.rename({MAIN!r}, {KEPT_MAIN!r})\n  print('kept')\n"
    )
    return KEPT_MAIN if said.strip() else ""


def _write_all(repl: Repl, files: Sequence[BoardFile], progress: Callable[[str, int, int], None]) -> None:
    total = sum(len(file.data) for file in files)
    before = 0
    for file in files:
        new = file.path + ".new"
        progress(file.path, before, total)
        repl.write(new, file.data, lambda done, _, at=before, path=file.path: progress(path, at + done, total))
        repl.run(_TAKE_OVER % {"new": new, "path": file.path, "sha": file.sha256})
        before += len(file.data)
    progress("", total, total)


def _no_space(device: str, need: int = 0, free: int = 0) -> DeviceError:
    much = f": {-(-need // 1024)} kB needed, {free // 1024} kB free" if need else ""
    return DeviceError(f"no space on the board{much}", device, "Remove files of your own from it, then install again")


def reset(repl: Repl) -> None:
    """Start the board anew: what it runs is what was installed."""
    repl.start_and_leave("import machine, time\ntime.sleep_ms(100)\nmachine.reset()")


def await_hello(device: str, clock: Callable[[], float] = time.monotonic) -> records.Hello:
    """The hello of a board that starts; it may come back under another name.  Raises DeviceError."""
    number = next((port.serial_number for port in ports.present() if port.device == device), "")
    until = clock() + HELLO_S
    while True:
        device = (ports.device_of(number, ports.present()) if number else "") or device
        link = SerialLink(device, clock)
        try:
            hello = link.connect()
            if hello:
                return hello
            reason = "it says no hello"
        except CoilcountError as error:
            reason = error.what
        finally:
            link.close()
        if clock() >= until:
            raise DeviceError(
                f"the files are on the board, but it does not start: {reason}",
                device,
                "Pull the plug and put it in again, then look with coilcount ports",
            )
        time.sleep(0.2)


def choose(wanted: str = "", listing: Callable[[], list[ports.Port]] | None = None) -> str:
    """The device to install on: `wanted`, or the only one that can be a board.

    No hello is asked for, a new board cannot answer one; and no stranger's port is interrupted.
    """
    present = (listing or ports.present)()
    if wanted:
        return ports.device_of(wanted, present) or wanted
    boards = [port for port in present if port.usb_id.startswith(ports.BOARD_VENDORS)]
    if len(boards) == 1:
        return boards[0].device
    if boards:
        names = ", ".join(f"{port.device} (serial number {port.serial_number})" for port in boards)
        raise DeviceError(
            f"{len(boards)} boards are there", names, "Choose one with --port DEVICE or its serial number"
        )
    seen = ", ".join(port.device for port in present) or "no serial port at all"
    raise DeviceError("no board found", seen, f"Name the port with --port. {NOT_MICROPYTHON}")


def _dotted(version: Sequence[int]) -> str:
    return ".".join(map(str, version))
