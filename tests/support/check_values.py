"""Reference values of tests/data/check-values.json by id.  Each entry there names its source and how it is known."""

import json
from pathlib import Path
from typing import Any

VALUES = Path(__file__).parents[1] / "data/check-values.json"
ENTRIES = {entry["id"]: entry for entry in json.loads(VALUES.read_text(encoding="utf-8"))["entries"]}


def value(name: str) -> Any:
    """Return the value with this id.  Raises KeyError if there is none."""
    return ENTRIES[name]["value"]


def named(start: str) -> list[str]:
    """Return the ids that begin with `start`.  Raises KeyError if there is none, so that no test is empty."""
    found = [name for name in ENTRIES if name.startswith(start)]
    if not found:
        raise KeyError(start)
    return found


def keys_of(name: str) -> dict[str, float]:
    """Return the numbers by key in an id such as "sphere a=0.01 sigma=5.8e7"."""
    pairs = [word.split("=") for word in name.split() if "=" in word]
    return {key: float(text.rstrip("m")) for key, text in pairs}


def complex_of(pair: list) -> complex:
    """Return the complex number of [real part, imaginary part]."""
    return complex(float(pair[0]), float(pair[1]))
