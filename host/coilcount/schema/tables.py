"""Reads a TOML table into a frozen dataclass.  An unknown key or a value out of range is one clear line.

The dataclass is the schema.  Each field is declared with number(), whole(), text(), choice(), flag(), times(), table()
or tables(); read_file() and read_table() check the values.  A field without `default` must be in the file.
"""

import json
from collections.abc import Callable
from dataclasses import MISSING, field, fields, is_dataclass
from pathlib import Path
from typing import Any

from coilcount.errors import InputError, did_you_mean

from .toml_text import SHOWN_OF_A_SENTENCE, load, shown

# s.  The latest time that a file may hold: 31 years.  Chosen by hand.
LATEST_S = 1e9

# Checks one value.  It gets the value and the full name of its key for messages; it raises InputError.
Reader = Callable[[Any, str], Any]


def number(low: float, high: float, default: Any = MISSING) -> Any:
    """A field for a number from `low` to `high`, both allowed."""

    def read(value: Any, key: str) -> float:
        # Compared without conversion, because a whole number may be too large for a float.
        if isinstance(value, bool) or not isinstance(value, int | float) or value != value:
            raise _wrong(key, value, f"Give a number from {low:g} to {high:g}")
        if not low <= value <= high:
            raise _wrong(key, value, f"It must lie between {low:g} and {high:g}")
        return float(value)

    return _declared(read, default)


def whole(low: int, high: int, default: Any = MISSING) -> Any:
    """A field for an integer from `low` to `high`, both allowed."""

    def read(value: Any, key: str) -> int:
        if isinstance(value, bool) or not isinstance(value, int):
            raise _wrong(key, value, f"Give a whole number from {low} to {high}")
        if not low <= value <= high:
            raise _wrong(key, value, f"It must lie between {low} and {high}")
        return value

    return _declared(read, default)


def text(default: Any = MISSING) -> Any:
    """A field for text."""

    def read(value: Any, key: str) -> str:
        if not isinstance(value, str):
            raise _wrong(key, value, "Give text in quotes")
        return value

    return _declared(read, default)


def choice(known: tuple[str, ...], default: Any = MISSING) -> Any:
    """A field for one of the words in `known`."""

    def read(value: Any, key: str) -> str:
        if value not in known:
            raise _wrong(key, value, did_you_mean(shown(value), known))
        return value

    return _declared(read, default)


def flag(default: Any = MISSING) -> Any:
    """A field for true or false."""

    def read(value: Any, key: str) -> bool:
        if not isinstance(value, bool):
            raise _wrong(key, value, "Write true or false")
        return value

    return _declared(read, default)


def times(default: Any = MISSING) -> Any:
    """A field for one time in s, or a list of times; becomes a sorted tuple of floats."""

    def read(value: Any, key: str) -> tuple[float, ...]:
        values = value if isinstance(value, list) else [value]
        for time_s in values:
            if isinstance(time_s, bool) or not isinstance(time_s, int | float) or not 0 <= time_s <= LATEST_S:
                raise _wrong(key, time_s, f"Give times in seconds, from 0 to {LATEST_S:g}")
        if not values:
            raise _wrong(key, value, "Give at least one time")
        return tuple(sorted(float(time_s) for time_s in values))

    return _declared(read, default)


def table(record: type, default: Any = MISSING) -> Any:
    """A field for a table, read into `record`; without `default`, an absent table is read as an empty one."""

    def read(value: Any, key: str) -> Any:
        if not isinstance(value, dict):
            raise _wrong(key, value, f"Write a table: [{key}]")
        return _record(record, value, f"[{key}] ")

    if default is MISSING:
        return field(default_factory=lambda: read({}, ""), metadata={"read": read})
    return field(default=default, metadata={"read": read})


def tables(record: type) -> Any:
    """A field for any number of [[tables]], each read into `record`; becomes a tuple."""

    def read(value: Any, key: str) -> tuple[Any, ...]:
        if not isinstance(value, list) or not all(isinstance(row, dict) for row in value):
            raise _wrong(key, value, f"Write it as [[{key}]]")
        return tuple(_record(record, row, f"[[{key}]] {i}, ") for i, row in enumerate(value, 1))

    return field(default=(), metadata={"read": read})


def read_file(record: type, path: Path) -> Any:
    """The `record` that the TOML file at `path` describes.  Raises InputError that names the file and the key."""
    return read_table(record, load(path), str(path))


def read_table(record: type, raw: dict[str, Any], where: str) -> Any:
    """The `record` in the raw table; where: the file's name, for messages.  Raises InputError."""
    try:
        return _record(record, raw, "")
    except InputError as error:
        raise InputError(error.what, where, error.remedy) from None


def to_toml(record: Any) -> str:
    """The TOML text of a record; reading it gives an equal record.  Fields that are None are left out."""
    plain, nested = [], []
    for declared in fields(record):
        name, value = declared.name, getattr(record, declared.name)
        if is_dataclass(value):
            nested.append(f"\n[{name}]\n{to_toml(value)}")
        elif isinstance(value, tuple) and value and is_dataclass(value[0]):
            nested += [f"\n[[{name}]]\n{to_toml(row)}" for row in value]
        elif value is not None and value != ():
            plain.append(f"{name} = {_toml_value(value)}\n")
    return "".join(plain + nested)


def _toml_value(value: Any) -> str:
    if isinstance(value, tuple):
        return "[" + ", ".join(map(_toml_value, value)) + "]"
    if isinstance(value, str):
        # JSON escapes a text as TOML needs it, except DEL, which JSON does not escape.
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    return json.dumps(value)


def _record(record: type, raw: dict[str, Any], prefix: str) -> Any:
    known = {declared.name: declared for declared in fields(record)}
    for key in raw:
        if key not in known:
            raise InputError(f'{prefix}there is no key "{shown(key)}"', remedy=did_you_mean(key, tuple(known)))
    values = {}
    for name, declared in known.items():
        if name in raw:
            values[name] = declared.metadata["read"](raw[name], prefix + name)
        elif declared.default is MISSING and declared.default_factory is MISSING:
            raise InputError(f'{prefix}the key "{name}" is missing', remedy="Add it")
    try:
        return record(**values)
    except ValueError as error:  # from the record's own check of its keys against each other
        raise InputError(f"{prefix}{shown(error, SHOWN_OF_A_SENTENCE)}") from None


def _wrong(key: str, value: Any, remedy: str) -> InputError:
    text = f'"{shown(value)}"' if isinstance(value, str) else shown(value)
    return InputError(f"{key} is {text}", remedy=remedy)


def _declared(read: Reader, default: Any) -> Any:
    if default is MISSING:
        return field(metadata={"read": read})
    return field(default=default, metadata={"read": read})
