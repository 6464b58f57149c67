"""Copies of the netlists of firmware/hardware with one value or line changed."""

import atexit
import shutil
import tempfile
from pathlib import Path

from circuits import parts
from spice import HARDWARE


def copied(folder: Path) -> Path:
    """Copy netlists and models into `folder`."""
    for path in [*HARDWARE.glob("*.lib"), *HARDWARE.glob("*.cir")]:
        shutil.copy(path, folder)
    return folder


def with_value(circuit: str, reference: str, value: str) -> Path:
    """Return a new folder of netlists in which one resistor, capacitor or coil has another value."""
    folder = copied(Path(tempfile.mkdtemp()))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    assert parts.read_netlist(circuit)[reference].number is not None
    path = folder / f"{circuit}.cir"
    lines = path.read_text(encoding="utf-8").splitlines()
    changed = [f"{line.rsplit(' ', 1)[0]} {value}" if line.split()[:1] == [reference] else line for line in lines]
    path.write_text("\n".join(changed) + "\n", encoding="utf-8")
    return folder


def with_line(folder: Path, circuit: str, old: str, new: str) -> Path:
    """Copy the netlists into `folder` and change one text that stands once in one circuit."""
    path = copied(folder) / f"{circuit}.cir"
    text = path.read_text(encoding="utf-8")
    assert text.count(old) == 1
    path.write_text(text.replace(old, new), encoding="utf-8")
    return folder
