"""Finds the files that run on a board: the firmware, and the packages that it shares with the host."""

import importlib.util
from pathlib import Path

import coilwire

from coilcount.errors import InputError

_PACKAGE = Path(__file__).resolve().parent.parent


def firmware_folder() -> Path:
    """The firmware's folder: `coilcount/_firmware` in an installed wheel, else `firmware` of the checkout.

    Raises InputError if there is neither.
    """
    candidates = (_PACKAGE / "_firmware", _PACKAGE.parent.parent / "firmware")
    for folder in candidates:
        if (folder / "app.py").is_file():
            return folder
    raise InputError(
        "the firmware's files are missing",
        " and ".join(str(folder) for folder in candidates),
        "Install coilcount again, or work in a complete checkout",
    )


def coilwire_folder() -> Path:
    """The folder of the package coilwire, which is /lib/coilwire on a board."""
    return Path(coilwire.__file__).resolve().parent


def tracker_folder() -> Path:
    """The folder of the tracker's package, which is /lib/coiltrack on a board."""
    spec = importlib.util.find_spec("coilcount.tracker")
    assert spec is not None and spec.origin is not None
    return Path(spec.origin).resolve().parent
