"""Outputs as the objects of `replay --json`: the keys and their order are a contract."""

import json
from typing import Any

from coilcount.model import Alert, Hold, MarkMade, Output, Silence, Summary

# kind: (type, the keys after "kind" and "file", which are field names of that type)
CONTRACT = {
    "alert": (
        Alert,
        "id raised_s settled_s released_s peak_s open sign response reasons score peak_shift_ppm peak_shift_hz "
        "confidence width_s seen rarity_min",
    ),
    "hold": (Hold, "start_s end_s open sign"),
    "gap": (Silence, "start_s end_s reason"),
    "mark": (MarkMade, "time_s text"),
    "summary": (
        Summary,
        "start_utc duration_s records lost dropped damaged baseline_hz noise_ppm alerts settings_sha256 "
        "mended repaired false_alarms_per_minute broad_dips",
    ),
}
_DECIMALS = 6  # microseconds, microhertz, 1e-6 ppm


def as_object(output: Output, file: str) -> dict[str, Any] | None:
    """The contract's object, keys in its order; None for an output that is no part of it or is not final."""
    if isinstance(output, Alert | Hold) and output.stage != "final":
        return None
    for kind, (type_, keys) in CONTRACT.items():
        if isinstance(output, type_):
            return {"kind": kind, "file": file, **{key: _plain(getattr(output, key)) for key in keys.split()}}
    return None


def as_line(output: Output, file: str) -> str | None:
    """The object of as_object() as one line of JSON without a line feed; None if there is none."""
    found = as_object(output, file)
    return None if found is None else as_json(found, (",", ":"))


def as_json(value: Any, separators: tuple[str, str] | None = None) -> str:
    """`value` as one line of JSON, in ASCII and harmless on a terminal.  Raises ValueError for a NaN.
    """
    # json escapes every control and every character beyond ASCII, except DEL.
    return json.dumps(value, allow_nan=False, separators=separators).replace("\x7f", r"\u007f")


def _plain(value: Any) -> Any:
    if isinstance(value, float):
        return round(value, _DECIMALS)
    return list(value) if isinstance(value, tuple) else value
