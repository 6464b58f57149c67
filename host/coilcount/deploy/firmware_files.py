"""Where the files are that run on a board: the firmware, and the packages that it shares with the host."""

import importlib.util
from pathlib import Path

import coilwire

from coilcount.errors import InputError

_PACKAGE = Path(__file__).resolve().parent.parent


def firmware_folder() -> Path:
    """The firmware's folder: in an installed wheel `coilcount/_firmware`, else that of the checkout.

    Raises InputError where neither is there.
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
    """The package folder of coilwire, which a board holds as /lib/coilwire."""
    return Path(coilwire.__file__).resolve().parent


def tracker_folder() -> Path:
    """The package folder of the tracker, which a board holds as /lib/coiltrack."""
    spec = importlib.util.find_spec("coilcount.tracker")
    assert spec is not None and spec.origin is not None
    return Path(spec.origin).resolve().parent
