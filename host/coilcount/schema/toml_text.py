"""The one place that opens and parses TOML: settings, scenes and plans.

Whatever lies under a name that a person or a file gives (a pipe, a device, a picture, 3,000 brackets) ends as one
InputError, soon and without much memory.
"""

import os
import re
import stat
import tomllib
from typing import Any

from coilcount.errors import InputError

# Bytes.  Room for some 30,000 times of passes in a scene; and a plan of this size, three times as long once its text is
# escaped, still fits into the longest line of a capture (1 MiB, capture/reader.py).
MOST_BYTES = 1 << 18
# Parts of a key such as a.b.c.  No file of ours has more than two; the parser's time grows with their square.
MOST_KEY_PARTS = 16
_PART = r"""(?:[\w-]+|"[^"\n]*"|'[^'\n]*')"""
# Where a key may begin: so prose and decimals are none, and no long word is looked at from each of its letters.
_LONG_KEY = re.compile(rf"(?:^|[\[{{,])[ \t]*{_PART}(?:[ \t]*\.[ \t]*{_PART}){{{MOST_KEY_PARTS}}}", re.ASCII | re.M)
_OPEN = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_CLOEXEC", 0) | getattr(os, "O_BINARY", 0)
_SHOWN, _SHOWN_OF_A_NAME = 60, 4096  # characters of a value, and of a file's name, in a message
SHOWN_OF_A_SENTENCE = 300


def read_bytes(path: str | os.PathLike, noun: str = "file") -> bytes:
    """The content of a regular file of at most MOST_BYTES; `noun` names it in messages.

    Raises InputError.  Never waits: a pipe or a device is refused before it is read.
    """
    where = shown(path, _SHOWN_OF_A_NAME)
    try:
        # Looked at before it is opened, since opening alone can reset a board on a serial port; and again once open.
        _check_kind(os.stat(path).st_mode, noun, where)
        file = os.open(path, _OPEN)
        try:
            _check_kind(os.fstat(file).st_mode, noun, where)
            parts = []
            left = MOST_BYTES + 1
            while left and (part := os.read(file, left)):
                parts.append(part)
                left -= len(part)
        finally:
            os.close(file)
    except FileNotFoundError:
        raise InputError(f"there is no such {noun}", where, "Look at the name and the folder") from None
    except OSError as error:
        raise InputError(f"the {noun} cannot be read: {error.strerror}", where, "Look at its name and rights") from None
    except ValueError:  # a NUL, or a character that no file name can have
        raise InputError(f"the name of the {noun} has a character that no name can have", where, "Correct it") from None
    if not left:
        raise InputError(f"the {noun} is longer than {MOST_BYTES >> 10} KiB", where, "Give the right file")
    return b"".join(parts)


def parse(data: bytes, where: str, noun: str = "file") -> tuple[dict[str, Any], str]:
    """The table in `data`, unchecked, and its text; `where` is the file's name.  Raises InputError, with the line."""
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise InputError(f"the {noun} is not text in UTF-8", f"{where}, line {line}", "Save it as UTF-8") from None
    long_key = _LONG_KEY.search(text)
    if long_key:
        line = text.count("\n", 0, long_key.start()) + 1
        what = f"the {noun} has a key of more than {MOST_KEY_PARTS} parts"
        raise InputError(what, f"{where}, line {line}", "Correct that line")
    try:
        return tomllib.loads(text), text
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"the {noun} is not TOML: {error}", where, "Correct that line") from None
    except RecursionError:
        raise InputError(f"the {noun} has brackets nested too deeply", where, "Correct them") from None
    except (ValueError, OverflowError):  # tomllib lets through what int() says of thousands of digits
        raise InputError(f"the {noun} has a number with thousands of digits", where, "Correct it") from None
    except MemoryError:
        raise InputError(f"the {noun} needs too much memory", where, "Give the right file") from None


def load(path: str | os.PathLike, noun: str = "file") -> dict[str, Any]:
    """The table in the TOML file at `path`, unchecked.  Raises InputError that names the file."""
    return parse(read_bytes(path, noun), shown(path, _SHOWN_OF_A_NAME), noun)[0]


def shown(value: Any, most: int = _SHOWN) -> str:
    """A value out of a file for a message: one printable line of at most `most` characters, whatever it is."""
    try:
        text = str(value).lower() if isinstance(value, bool) else str(value)
    except (ValueError, RecursionError):  # a whole number of thousands of digits, tables in tables
        text = "a number with thousands of digits" if isinstance(value, int) else "too much to show"
    if len(text) > most:
        text = text[: most - 3] + "..."
    return "".join(one if one.isprintable() else one.encode("unicode_escape").decode() for one in text)


def _check_kind(mode: int, noun: str, where: str) -> None:
    if stat.S_ISDIR(mode):
        raise InputError(f"the {noun} cannot be read: it is a folder", where, "Give the name of a file")
    if not stat.S_ISREG(mode):
        kind = "a pipe" if stat.S_ISFIFO(mode) else "a device or a socket"
        raise InputError(f"the {noun} cannot be read: it is {kind}, no regular file", where, "Give a regular file")
