"""The settings: a table of all of them, and their values, read strictly from TOML, each with its origin."""

import hashlib
import json
import os
import re
import sys
import textwrap
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from types import MappingProxyType
from typing import Any

from coilcount.errors import InputError, did_you_mean
from coilcount.schema import toml_text
from coilcount.schema.toml_text import shown
from coilcount.tracker import defaults as tracker_defaults
from coilcount.tracker.defaults import Setting

SCHEMA = 1
FILE_NAME = "coilcount.toml"
BY_DEFAULT = "default"
_NOUN = "settings file"
# Columns.  A longer line of a settings file is broken.  Chosen by hand.
_WIDE = 80

# False alarms a minute.  The rates that the keys + and - of the screen step through, and that `tune` tries.  Chosen by
# hand.
RATES = (0.1, 0.3, 1.0, 3.0, 10.0)

# The settings of each section.  The type of a default is the type that may be given: bool, int, float, or tuple of
# floats.  Limits and defaults below are chosen by hand; those of the tracker are explained in tracker/defaults.py.
SECTIONS: dict[str, tuple[Setting, ...]] = {
    "tracker": tracker_defaults.TABLE,
    "capture": (
        Setting("rotate_mb", 256.0, 1.0, 100_000.0, "MB", "size at which a new part of the recording begins"),
        Setting("rotate_minutes", 720.0, 1.0, 10_080.0, "min", "time after which a new part of the recording begins"),
        Setting("warn_free_mb", 200.0, 1.0, 100_000.0, "MB", "warn if less than this is free on the disk"),
    ),
    "live": (
        Setting("redraw_hz", 5.0, 1.0, 10.0, "Hz", "how often the screen is drawn"),
        Setting("sound", False, None, None, "", "ring the terminal's bell when an alert settles"),
        Setting("speaker", False, None, None, "", "play the sweep on the computer's speaker, as live --sound does"),
        Setting("bright", False, None, None, "", "begin with the theme for bright light, black on white"),
    ),
    "board": (Setting("interval_ms", 20, 5, 100, "ms", "counting interval of the board"),),
}


@dataclass(frozen=True)
class Settings:
    """The settings in force: four sections of checked values, and the origin of each value.

    A section maps a name to a bool, int, float or tuple of floats.  origins maps "section.name" to a file name,
    "--threshold", "--false-alarms" or "default".
    """

    tracker: Mapping[str, Any]
    capture: Mapping[str, Any]
    live: Mapping[str, Any]
    board: Mapping[str, Any]
    origins: Mapping[str, str]

    def as_dict(self) -> dict[str, dict[str, Any]]:
        """The values as plain dicts and lists, in the order of the table, as in a capture's header."""
        return {
            section: {row.name: _plain(getattr(self, section)[row.name]) for row in rows}
            for section, rows in SECTIONS.items()
        }

    def sha256(self) -> str:
        """SHA-256 (hex) of the values alone, written as JSON with sorted keys and no spaces."""
        text = json.dumps(self.as_dict(), sort_keys=True, separators=(",", ":"))
        return hashlib.sha256(text.encode("ascii")).hexdigest()

    def to_toml(self) -> str:
        """The text of a settings file with every value, its unit and its meaning; reading it gives equal settings."""
        lines = [f"schema = {SCHEMA}"]
        for section, rows in SECTIONS.items():
            lines += ["", f"[{section}]"]
            for row in rows:
                unit = f" ({row.unit})" if row.unit else ""
                line = toml_line(row.name, getattr(self, section)[row.name])
                comment = f"# {row.help}{unit}"
                lines += [comment, line] if "\n" in line else [f"{line}  {comment}"]
        return "\n".join(lines) + "\n"

    def with_threshold(self, threshold: float) -> "Settings":
        """The same settings with a fixed threshold, in sigma.  Raises InputError if it is out of range."""
        if threshold == 0:
            raise InputError("tracker.threshold is 0", "--threshold", "Give a number of sigma, or --false-alarms")
        return self._with("--threshold", threshold=threshold)

    def with_false_alarms(self, per_minute: float) -> "Settings":
        """The same settings with thresholds that follow from a rate: at most this many false alarms a minute.

        Raises InputError if it is out of range.
        """
        return self._with("--false-alarms", false_alarms_per_minute=per_minute, threshold=0.0)

    @property
    def fixed_threshold(self) -> float | None:
        """The fixed threshold in sigma; None if the thresholds follow from the rate of false alarms."""
        return self.tracker["threshold"] or None

    @property
    def false_alarms_per_minute(self) -> float | None:
        """The rate that is asked for; None if a fixed threshold is in force."""
        return None if self.tracker["threshold"] else self.tracker["false_alarms_per_minute"]

    def _with(self, origin: str, **values: float) -> "Settings":
        """The same settings with other values of the tracker, which come from `origin`."""
        checked = {name: _checked("tracker", _row("tracker", name), value, origin) for name, value in values.items()}
        return replace(
            self,
            tracker=MappingProxyType({**self.tracker, **checked}),
            origins=MappingProxyType({**self.origins, **{f"tracker.{name}": origin for name in checked}}),
        )


def defaults() -> Settings:
    """The settings without any file."""
    return _build({}, BY_DEFAULT, None)


def toml_line(name: str, value: Any) -> str:
    """The line `name = value`; a long list is broken into several lines."""
    line = f"{name} = {json.dumps(_plain(value))}"
    if len(line) <= _WIDE or not isinstance(value, list | tuple):
        return line
    inside = textwrap.fill(", ".join(map(json.dumps, value)), _WIDE, initial_indent="  ", subsequent_indent="  ")
    return f"{name} = [\n{inside},\n]"


def from_toml(text: str, where: str) -> Settings:
    """The settings in the text of a file; where: its name.  Raises InputError with file, line and key."""
    return _from_bytes(text.encode("utf-8", "surrogatepass"), where)


def _from_bytes(data: bytes, where: str) -> Settings:
    raw, text = toml_text.parse(data, where, _NOUN)
    schema = raw.pop("schema", None)
    if isinstance(schema, bool) or not isinstance(schema, int):
        raise InputError(f"the settings do not begin with schema = {SCHEMA}", where, "Add that line at the top")
    if schema != SCHEMA:
        newer = "Update coilcount" if schema > SCHEMA else "See coilcount settings show for the present form"
        raise InputError(f"the settings have schema {shown(schema)}, this version reads {SCHEMA}", where, newer)
    return _build(raw, where, text)


def read_settings(path: str | os.PathLike) -> Settings:
    """The settings in a file.  Raises InputError."""
    return _from_bytes(toml_text.read_bytes(path, _NOUN), str(path))


def load_settings(path: str | os.PathLike | None = None, environ: Mapping[str, str] | None = None) -> Settings:
    """The settings in `path`, else in coilcount.toml of the working folder, else in the user's file, else the defaults.

    environ: the environment variables, by default those of this process.
    Raises InputError.
    """
    if path is not None:
        return read_settings(path)
    for place in (Path(FILE_NAME), user_file(os.environ if environ is None else environ)):
        if place is not None and place.is_file():
            return read_settings(place)
    return defaults()


def user_file(environ: Mapping[str, str], platform: str = sys.platform) -> Path | None:
    """The user's own settings file at the platform's usual place; None if the home folder is not known."""
    if platform == "win32":
        base = environ.get("APPDATA")
    elif platform == "darwin":
        base = environ.get("HOME") and f"{environ['HOME']}/Library/Application Support"
    else:
        # XDG base directory specification: a relative path in this variable must be ignored.
        base = environ.get("XDG_CONFIG_HOME", "")
        if not base.startswith("/"):
            base = environ.get("HOME") and f"{environ['HOME']}/.config"
    return Path(base) / "coilcount" / FILE_NAME if base else None


def _build(raw: dict[str, Any], origin: str, text: str | None) -> Settings:
    where = "" if text is None else origin
    for name, table in raw.items():
        if name not in SECTIONS:
            word = shown(name)
            what = (
                f"there is no section [{word}]"
                if isinstance(table, dict)
                else f'there is no key "{word}" outside a section'
            )
            raise InputError(what, _place(where, text, "", name), did_you_mean(name, tuple(SECTIONS)))
        if not isinstance(table, dict):
            raise InputError(
                f"{name} is a section", _place(where, text, "", name), f"Write [{name}] on a line of its own"
            )
    built: dict[str, Mapping[str, Any]] = {}
    origins: dict[str, str] = {}
    for section, rows in SECTIONS.items():
        table = raw.get(section, {})
        known = tuple(row.name for row in rows)
        for name in table:
            if name not in known:
                place = _place(where, text, section, name)
                raise InputError(f'[{section}] has no key "{shown(name)}"', place, did_you_mean(name, known))
        values = {}
        for row in rows:
            given = row.name in table
            origins[f"{section}.{row.name}"] = origin if given else BY_DEFAULT
            values[row.name] = (
                _checked(section, row, table[row.name], _place(where, text, section, row.name))
                if given
                else row.default
            )
        built[section] = MappingProxyType(values)
    return Settings(**built, origins=MappingProxyType(origins))


def _checked(section: str, row: Setting, value: Any, place: str) -> Any:
    """`value` in the type of its setting; place: file and line.  Raises InputError with the range and the unit."""
    key = f"{section}.{row.name}"
    found = _as_written(value)
    unit = f" {row.unit}" if row.unit else ""
    if isinstance(row.default, bool):
        if not isinstance(value, bool):
            raise InputError(f"{key} is {found}", place, "Write true or false")
        return value
    words = f"from {row.lowest:g} to {row.highest:g}{unit}"
    if _zero_is_none(row):
        words = f"{words}, or 0 for none"
    if isinstance(row.default, tuple):
        if not isinstance(value, list | tuple):
            raise InputError(f"{key} is {found}", place, f"Give a list of numbers {words}")
        fewest, most, _ = tracker_defaults.LISTS[row.name]
        if not fewest <= len(value) <= most:
            raise InputError(f"{key} has {len(value)} numbers", place, f"Give {fewest} to {most} numbers {words}")
        for i, number in enumerate(value, 1):
            if not _is_number(number, row):
                what = f"{key}: number {i} of {len(value)} is {_as_written(number)}"
                raise InputError(what, place, f"Give a list of numbers {words}")
    elif isinstance(row.default, int):
        if not isinstance(value, int) or not _is_number(value, row):
            raise InputError(f"{key} is {found}", place, f"Give a whole number {words}")
        return value
    elif not _is_number(value, row):
        raise InputError(f"{key} is {found}", place, f"Give a number {words}")
    if section == "tracker":
        try:
            return tracker_defaults.check(row.name, value)
        except ValueError as error:
            raise InputError(f"{key}: {error}", place, f"Give numbers {words}") from None
    return float(value)


def _is_number(value: Any, row: Setting) -> bool:
    if isinstance(value, bool) or not isinstance(value, int | float):
        return False
    return row.lowest <= value <= row.highest or (value == 0 and _zero_is_none(row))


def _zero_is_none(row: Setting) -> bool:
    """True if 0, which is outside the range of this setting, means that there is none."""
    return not isinstance(row.default, bool | tuple) and row.default == 0 and row.lowest > 0


def _as_written(value: Any) -> str:
    """A wrong value for a message, nearly as it is written in the file, but short."""
    return f'"{shown(value)}"' if isinstance(value, str) else shown(value)


def _row(section: str, name: str) -> Setting:
    return next(row for row in SECTIONS[section] if row.name == name)


def _plain(value: Any) -> Any:
    return list(value) if isinstance(value, tuple) else value


def _place(where: str, text: str | None, section: str, name: str) -> str:
    """`file, line n`, or the file alone if the line is not found.

    tomllib gives no positions, so the line is searched in the text; usually there is one key on a line.
    """
    inside = ""
    for number, line in enumerate((text or "").splitlines(), 1):
        head = re.match(r"\s*\[\s*([\w-]+)\s*\]", line)
        if head:
            inside = head[1]
            if not section and inside == name:
                return f"{where}, line {number}"
        elif inside == section and re.match(rf"\s*[\"']?{re.escape(name)}[\"']?\s*=", line):
            return f"{where}, line {number}"
    return where
