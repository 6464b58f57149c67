"""Translates an entry of a capture into a line of JSON and back; PROTOCOL.md has the keys."""

import json
import re
from dataclasses import fields

from coilcount.model import End, Entry, Gap, Header, Imported, Line, Operator

FORMAT = "coilcount-capture"
SCHEMA = 1
# Numbers of this size or larger are refused.  JSON alone would accept 1e999 and a thousand digits.  Chosen by hand: no
# number of a capture is nearly as large.
LIMIT = 1e18

# Keys on a line of an imported reading, and the fields of model.Imported.
_READING_KEYS = {"at": "time_s", "hz": "frequency_hz", "temp": "temperature_c", "amp": "amplitude_v", "sup": "supply_v"}
_HEADER_FIELDS = tuple(field.name for field in fields(Header))


class NewerSchema(Exception):
    """The capture has a newer schema than SCHEMA; args[0] is its number."""


def _no_constant(name: str) -> float:
    raise ValueError(f"{name} is not JSON")


# Made once, because json.loads would examine its arguments again for each of a million lines.
_load = json.JSONDecoder(parse_constant=_no_constant).raw_decode
# For speed: nearly all lines have exactly this form, as encode() writes it.  All others are read as JSON.
_PLAIN_LINE = re.compile(rb'\{"t":((?:0|[1-9][0-9]{0,14})\.[0-9]{1,9}),"l":"([ !#-\[\]-~]*)"\}').fullmatch
_dump = json.JSONEncoder(separators=(",", ":"), allow_nan=False).encode


def encode(entry: Entry) -> bytes:
    """The line for an entry, with its line feed.  Times are rounded to 1 us.

    Raises ValueError for a number that JSON cannot hold (nan, inf).
    """
    return _dump(_to_dict(entry)).encode("ascii") + b"\n"


def decode(line: bytes) -> Entry | None:
    """The entry in a line without its line feed; None for an undamaged line of an unknown kind.

    Raises ValueError if the line is not an entry, NewerSchema if it is the header of a newer format.
    """
    plain = _PLAIN_LINE(line)
    if plain is not None:
        return Line(float(plain[1]), plain[2])
    text = line.decode("ascii")
    try:
        value, end = _load(text)
        if type(value) is not dict or text[end:].strip():
            raise ValueError("not one JSON object")
        # The most frequent kind is tested first.
        if "l" in value:
            return Line(_number(value["t"]), value["l"].encode("ascii"))
        return _from_dict(value)
    except (KeyError, TypeError, AttributeError, RecursionError) as error:
        raise ValueError(f"an entry without its fields: {error}") from None


def _from_dict(value: dict) -> Entry | None:
    if "hz" in value:
        return Imported(**{field: _number(value[key]) for key, field in _READING_KEYS.items() if key in value})
    if "x" in value:
        return Line(_number(value["t"]), bytes.fromhex(value["x"]))
    if "op" in value:
        level = _number(value["value"]) if "value" in value else None
        return Operator(_number(value["t"]), _text(value["op"]), level, _text(value.get("text", "")))
    if "gap" in value:
        return Gap(_number(value["t"]), _number(value["from"]), _text(value["gap"]))
    if "end" in value:
        return End(_number(value["t"]), _text(value["end"]), int(_number(value["lines"])))
    if "format" in value:
        return _header(value)
    return None


def _header(value: dict) -> Header:
    if value["format"] != FORMAT or type(value["schema"]) is not int:
        raise ValueError("the header of another format")
    if value["schema"] > SCHEMA:
        raise NewerSchema(value["schema"])
    _dump(value)  # raises ValueError for 1e999, which no JSON can hold and no command could print
    # Unknown fields are those of a later version, and are ignored; missing ones keep their defaults.
    known = {name: value[name] for name in _HEADER_FIELDS if name in value}
    known["command"] = tuple(_text(word) for word in known.get("command", ()))
    header = Header(**known)
    for name, kind in (("source", str), ("start_utc", str), ("part", int), ("notes", dict), ("settings", dict)):
        if type(getattr(header, name)) is not kind:
            raise ValueError(f"header: {name} is of another type")
    if header.interval_s is not None:
        _number(header.interval_s)
    return header


def _to_dict(entry: Entry) -> dict:
    match entry:
        case Line(host_s, data):
            if data.isascii() and (text := data.decode("ascii")).isprintable():
                return {"t": round(host_s, 6), "l": text}
            return {"t": round(host_s, 6), "x": data.hex()}
        case Imported():
            values = {key: getattr(entry, field) for key, field in _READING_KEYS.items()}
            values["at"] = round(entry.time_s, 6)
            return {key: value for key, value in values.items() if value is not None}
        case Operator():
            value = {"t": round(entry.host_s, 6), "op": entry.action}
            if entry.value is not None:
                value["value"] = entry.value
            if entry.text:
                value["text"] = entry.text
            return value
        case Gap():
            return {"t": round(entry.host_s, 6), "gap": entry.reason, "from": round(entry.start_host_s, 6)}
        case End():
            return {"t": round(entry.host_s, 6), "end": entry.status, "lines": entry.lines}
        case Header():
            value = {"format": FORMAT, "schema": SCHEMA, **{name: getattr(entry, name) for name in _HEADER_FIELDS}}
            if entry.build_check is None:  # a later key: without it a header stays as older versions wrote it
                del value["build_check"]
            return value
    raise TypeError(f"not an entry: {entry!r}")


def _number(value: object) -> float:
    if (type(value) is float or type(value) is int) and -LIMIT < value < LIMIT:
        return value
    raise ValueError(f"not a number: {value!r}")


def _text(value: object) -> str:
    if type(value) is str:
        return value
    raise ValueError(f"not a text: {value!r}")
