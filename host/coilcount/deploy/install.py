"""Puts the firmware, and the packages that it shares with the host, on a board; then checks that it runs.

An interrupted install leaves the board without main.py.  So a mixture of old and new files never runs: the board waits
at its prompt for the next install.  Each file is written under a new name, checked, and then renamed.

MicroPython prefers `x.py` to `x.mpy`.  So files that an earlier install left are removed before new ones are written.
"""

import hashlib
import json
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import PurePosixPath

from coilwire import records

from coilcount.board import ports
from coilcount.board.link import SerialLink
from coilcount.deploy.board_modules import MAIN, PACKAGE_FOLDERS, BoardFile
from coilcount.deploy.compiled import compile_files
from coilcount.deploy.prompt import HOW_TO_FLASH, NOT_MICROPYTHON, BoardError, Repl
from coilcount.errors import CoilcountError, DeviceError

# The name that a main.py of the board's owner gets at the first install.
KEPT_MAIN = "/main.py.before"
# The oldest version of MicroPython under which the firmware was tried, on an emulated chip.
OLDEST = (1, 27)
# s that a board may take from its reset to its hello.  Chosen by hand: it is back on USB after about two seconds, and
# sends its hello half a second later (both from memory).
HELLO_S = 15.0

# s between two tries to reach a board that starts.  Chosen by hand.
_TRY_AGAIN_S = 0.2

# Programs for the board.  This one prints the version of MicroPython, the compiled files that it reads, the space, and
# the names of the files in some folders.
_ABOUT = """
import json, os, sys
names = []
for p in %r:
 try:
  names += [p + n for n in os.listdir(p)]
 except OSError:
  pass
v = os.statvfs('/')
print(json.dumps([list(sys.implementation[1][:3]), getattr(sys.implementation, '_mpy', 0), [v[1], v[3]], names]))
"""
# Prints the digests of files.
_DIGESTS = """
import json, hashlib
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
print(json.dumps([digest(p) for p in %r]))
"""
_REMOVE = """
import os
for p in %r:
 os.remove(p)
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
# LittleFS renames onto an existing file in one step; FAT refuses, so there the old file is removed first.
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
class Installed:
    """What an install did.

    micropython: the board's banner; written: paths of the new files; skipped: how many were there already.
    kept: the new name of a main.py of the board's owner, "" if there was none.
    removed: paths of files of an earlier install that are gone now.
    sources: why the board has sources and not compiled files, "" if it has compiled ones.
    """

    micropython: str
    written: tuple[str, ...]
    skipped: int
    kept: str
    removed: tuple[str, ...]
    sources: str


def install(
    repl: Repl, files: Sequence[BoardFile], progress: Callable[[str, int, int], None], compiler: str = ""
) -> Installed:
    """Put `files` (sources, main.py last) on an interrupted board, compiled if possible.

    progress: called with (path, bytes written so far, bytes in all); compiler: path of mpy-cross, or "".
    Raises DeviceError if MicroPython is too old, the board has no space or does not write, or the board goes away.
    """
    try:
        version, number, (block_bytes, free_blocks), names = _about(repl)
        if tuple(version[:2]) < OLDEST:
            raise DeviceError(
                f"MicroPython {_dotted(version)} is on the board, {_dotted(OLDEST)} or newer is needed",
                repl.device,
                HOW_TO_FLASH,
            )
        files, why_sources = compile_files(files, number, compiler)
        old = _left_by_earlier(names, files)
        missing = _missing(repl, files)
        if not missing and not old:
            return Installed(repl.banner, (), len(files), "", (), why_sources)
        # main.py is set aside below, so it is written in any case.
        if not missing or missing[-1].path != MAIN:
            missing.append(files[-1])
        needed_blocks = sum(-(-len(file.data) // block_bytes) for file in missing) + len(_folders(missing))
        if needed_blocks > free_blocks:
            raise _no_space(repl.device, needed_blocks * block_bytes, free_blocks * block_bytes)
        kept = _set_main_aside(repl)
        repl.run(_REMOVE % old)
        repl.run(_MAKE_FOLDERS % _folders(missing))
        _write_all(repl, missing, progress)
    except BoardError as error:
        if error.no_space:
            raise _no_space(repl.device) from error
        raise DeviceError(f"a step failed on the board: {error}", repl.device, "Reset it and install again") from error
    written = tuple(file.path for file in missing)
    return Installed(repl.banner, written, len(files) - len(missing), kept, tuple(old), why_sources)


def _about(repl: Repl) -> tuple[list[int], int, list[int], list[str]]:
    """MicroPython's version; its number for compiled files; [bytes of a block, free blocks]; paths of files."""
    version, number, space, names = json.loads(repl.run(_ABOUT % (("/", *PACKAGE_FOLDERS),)))
    return version, number, space, names


def _missing(repl: Repl, files: Sequence[BoardFile]) -> list[BoardFile]:
    """The files that are not on the board, or differ from those there."""
    digests = json.loads(repl.run(_DIGESTS % [file.path for file in files]))
    return [file for file, digest in zip(files, digests, strict=True) if digest != sha256(file.data)]


def _left_by_earlier(names: Sequence[str], files: Sequence[BoardFile]) -> list[str]:
    """The files out of `names` that an earlier install left and that are not among `files`.

    These are all files in the folders of our packages, and files beside ours with the same name and another suffix.
    """
    wanted = {file.path for file in files}
    stems = {path.rsplit(".", 1)[0] for path in wanted}

    def left(path: str) -> bool:
        stem = path.removesuffix(".new").removesuffix(".py").removesuffix(".mpy")
        return path not in wanted and stem != path and (stem in stems or path.startswith(PACKAGE_FOLDERS))

    return sorted(path for path in names if left(path))


def _folders(files: Sequence[BoardFile]) -> list[str]:
    """The folders of `files` on the board, each before those inside it."""
    found: list[str] = []
    for file in files:
        parents = [str(parent) for parent in reversed(PurePosixPath(file.path).parents)][1:]
        found += [parent for parent in parents if parent not in found]
    return found


def _set_main_aside(repl: Repl) -> str:
    """Take main.py away, so that the board runs nothing by itself.

    A main.py of the board's owner is kept under another name, which is returned; otherwise "".
    """
    printed = repl.run(
        "def has(p):\n try:\n  os.stat(p)\n  return True\n except OSError:\n  return False\n"
        f"if has({MAIN!r}):\n"
        " if has('/lib/coilwire'):\n"
        f"  os.remove({MAIN!r})\n"
        f" else:\n  os.rename({MAIN!r}, {KEPT_MAIN!r})\n  print('kept')\n"
    )
    return KEPT_MAIN if printed.strip() else ""


def _write_all(repl: Repl, files: Sequence[BoardFile], progress: Callable[[str, int, int], None]) -> None:
    total = sum(len(file.data) for file in files)
    written = 0
    for file in files:
        new = file.path + ".new"
        progress(file.path, written, total)
        repl.write(new, file.data, lambda done, _, before=written, path=file.path: progress(path, before + done, total))
        repl.run(_TAKE_OVER % {"new": new, "path": file.path, "sha": sha256(file.data)})
        written += len(file.data)
    progress("", total, total)


def _no_space(device: str, needed_bytes: int = 0, free_bytes: int = 0) -> DeviceError:
    sizes = f": {-(-needed_bytes // 1024)} kB needed, {free_bytes // 1024} kB free" if needed_bytes else ""
    return DeviceError(f"no space on the board{sizes}", device, "Remove files of your own from it, then install again")


def sha256(data: bytes) -> str:
    """Return the SHA-256 in hex."""
    return hashlib.sha256(data).hexdigest()


def reset(repl: Repl) -> None:
    """Restart the board, so that it runs the installed files."""
    repl.start_and_leave("import machine, time\ntime.sleep_ms(100)\nmachine.reset()")


def await_hello(device: str, clock: Callable[[], float] = time.monotonic) -> records.Hello:
    """The hello of a board that starts; it may come back under another name.  Raises DeviceError if none comes."""
    number = next((port.serial_number for port in ports.present() if port.device == device), "")
    until = clock() + HELLO_S
    while True:
        device = (ports.device_of(number, ports.present()) if number else "") or device
        link = SerialLink(device, clock)
        try:
            hello = link.connect()
            if hello:
                return hello
            reason = "it sends no hello"
        except CoilcountError as error:
            reason = error.what
        finally:
            link.close()
        if clock() >= until:
            raise DeviceError(
                f"the files are on the board, but it does not start: {reason}",
                device,
                "Unplug the board and plug it in again, then run coilcount ports",
            )
        time.sleep(_TRY_AGAIN_S)


def choose(wanted: str = "", listing: Callable[[], list[ports.Port]] | None = None) -> str:
    """The device to install on: `wanted`, or the only port that can be a board by its USB vendor.

    No port is asked for its hello, because a new board cannot answer; and no other device is interrupted.
    Raises DeviceError if no port can be a board, or several can.
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
            f"{len(boards)} boards are connected", names, "Choose one with --port DEVICE or its serial number"
        )
    others = ", ".join(port.device for port in present) or "no serial port at all"
    raise DeviceError("no board found", others, f"Name the port with --port. {NOT_MICROPYTHON}")


def _dotted(version: Sequence[int]) -> str:
    return ".".join(map(str, version))
