"""What the tracker learned in earlier sessions: one small file for each coil, in the user's data folder.

A file is written whole or not at all, and the newest one replaces the one before.  Nothing here raises for a file that
is damaged: the session then starts without it.
"""

import contextlib
import hashlib
import json
import math
import os
import re
import sys
import tempfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from coilcount.errors import InputError

# The environment variable that moves the folder, or switches it off.
FOLDER_VARIABLE = "COILCOUNT_LEARNED"
FORMAT = "coilcount-learned"
SCHEMA = 1
# Numbers in a state, and bytes of a file.  More than that is no state of this program.  Chosen by hand: the state of
# four widths has a few hundred numbers of about 20 characters.
_MOST_NUMBERS = 20_000
_MOST_BYTES = 1_000_000
# Characters of the coil's name that its file name begins with.  A hash of the whole name follows.  Chosen by hand.
_NAME_KEPT = 40
_ENDING = ".json"


def state_folder(environ: Mapping[str, str], platform: str = sys.platform) -> Path | None:
    """The folder of the files: that of COILCOUNT_LEARNED, else the platform's usual place for a user's data.

    None if nothing shall be kept (COILCOUNT_LEARNED is "off"), or if the home folder is not known.
    """
    given = environ.get(FOLDER_VARIABLE, "")
    if given:
        return None if given == "off" else Path(given)
    if platform == "win32":
        base = environ.get("LOCALAPPDATA")
    elif platform == "darwin":
        base = environ.get("HOME") and f"{environ['HOME']}/Library/Application Support"
    else:
        # XDG base directory specification: a relative path in this variable must be ignored.
        base = environ.get("XDG_DATA_HOME", "")
        if not base.startswith("/"):
            base = environ.get("HOME") and f"{environ['HOME']}/.local/share"
    return Path(base) / "coilcount" / "learned" if base else None


def state_path(folder: Path, coil: str) -> Path:
    """The file of a coil: its name as far as a file name can hold it, and a hash of the whole name."""
    readable = re.sub(r"[^A-Za-z0-9-]+", "-", coil).strip("-")[:_NAME_KEPT]
    digest = hashlib.sha256(coil.encode("utf-8", "surrogatepass")).hexdigest()[:8]
    return folder / f"{readable}-{digest}{_ENDING}".lstrip("-")


def load_state(folder: Path, coil: str) -> dict[str, Any] | None:
    """What was learned with this coil, as model.Header.learned; None if nothing was kept.

    Raises InputError if the file is damaged, of another coil or of a newer version.
    """
    path = state_path(folder, coil)
    try:
        with open(path, "rb") as file:
            data = file.read(_MOST_BYTES + 1)
    except FileNotFoundError:
        return None
    except OSError as error:
        raise InputError(f"it cannot be read: {error.strerror or error}", str(path), "Check its permissions") from None
    remedy = "Delete it; the next session writes a new one"
    try:
        value = json.loads(data[:_MOST_BYTES].decode("ascii"))
        schema = value["schema"]
        if value["format"] != FORMAT or type(schema) is not int:
            raise ValueError("of another format")
        if schema > SCHEMA:
            raise InputError(f"it has schema {schema}, this version reads {SCHEMA}", str(path), "Update coilcount")
        if value["coil"] != coil:
            raise ValueError("of another coil")
        return _checked(value)
    except (ValueError, KeyError, TypeError, RecursionError, OverflowError):
        raise InputError("it is damaged, or of another coil", str(path), remedy) from None


def _checked(value: Mapping[str, Any]) -> dict[str, Any]:
    """The keys of model.Header.learned, each of its own type.  Raises KeyError, ValueError or TypeError."""
    state = value["state"]
    if type(state) is not list or not 0 < len(state) <= _MOST_NUMBERS:
        raise ValueError("no state")
    numbers = [*state, value["swept_s"], value["interval_ms"]]
    if any(type(number) not in (int, float) or not math.isfinite(number) for number in numbers):
        raise ValueError("not a number")
    saved_utc = value["saved_utc"]
    if not re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", saved_utc):
        raise ValueError("no date")
    return {
        "coil": value["coil"],
        "saved_utc": saved_utc,
        "swept_s": value["swept_s"],
        "interval_ms": value["interval_ms"],
        "simulated": value["simulated"] is True,
        "state": state,
    }


def learned_state(
    coil: str, saved_utc: str, swept_s: float, interval_ms: float, simulated: bool, state: Sequence[float]
) -> dict[str, Any]:
    """What a session learned, as model.Header.learned.

    saved_utc: the time now, ISO 8601 in whole seconds with Z.  swept_s: seconds of readings that it comes from.
    interval_ms: between two readings.  state: as of Tracker.learned.
    """
    return {
        "coil": coil,
        "saved_utc": saved_utc,
        "swept_s": round(swept_s, 1),
        "interval_ms": interval_ms,
        "simulated": simulated,
        "state": list(state),
    }


def save_state(folder: Path, learned: Mapping[str, Any]) -> Path:
    """Keep what a session learned, in place of what was kept for this coil before; return the file.

    learned: as of learned_state().  Raises OSError if the file cannot be written, ValueError if a number of the state
    is not finite.
    """
    path = state_path(folder, learned["coil"])
    data = json.dumps({"format": FORMAT, "schema": SCHEMA, **learned}, allow_nan=False).encode("ascii") + b"\n"
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    number, name = tempfile.mkstemp(".unfinished", "", folder)
    try:
        with open(number, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        os.replace(name, path)
    except BaseException:
        with contextlib.suppress(OSError):
            os.unlink(name)
        raise
    return path
