"""Opens and parses all TOML files: settings, scenes and plans.  No other module does.

The name may lead to anything: a pipe, a device, a picture, 3,000 brackets.  Each of these ends as one InputError,
quickly and without much memory.
"""

import os
import re
import stat
import tomllib
from typing import Any

from coilcount.errors import InputError

# Bytes of the largest file.  Chosen by hand: a scene may hold about 30,000 times of passes.  A plan of this size may
# become three times as long when its text is escaped, and still fits into the longest line of a capture (1 MiB,
# capture/reader.py).
MOST_BYTES = 1 << 18
# The most parts of a key such as a.b.c.  Chosen by hand: no file of this project needs more than two, and the parser's
# time grows with the square.
MOST_KEY_PARTS = 16
_PART = r"""(?:[\w-]+|"[^"\n]*"|'[^'\n]*')"""
# A key begins only at the beginning of a line, a table or an element.  So text and decimals are not taken for keys, and
# a long word is not examined from each of its letters.
_LONG_KEY = re.compile(rf"(?:^|[\[{{,])[ \t]*{_PART}(?:[ \t]*\.[ \t]*{_PART}){{{MOST_KEY_PARTS}}}", re.ASCII | re.M)
_OPEN = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_CLOEXEC", 0) | getattr(os, "O_BINARY", 0)
# The most characters in a message: of a value, of a file's name, of a sentence.  Chosen by hand; 4096 is the longest
# path on Linux.
_SHOWN, _SHOWN_OF_A_NAME = 60, 4096
SHOWN_OF_A_SENTENCE = 300


def read_bytes(path: str | os.PathLike, noun: str = "file") -> bytes:
    """The content of a regular file of at most MOST_BYTES.

    noun: what messages call the file.
    Raises InputError.  It never waits: a pipe or a device is refused before it is read.
    """
    where = shown(path, _SHOWN_OF_A_NAME)
    try:
        # Checked before it is opened, because opening a serial port can reset a board; and again when it is open,
        # because another file may have the name by then.
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
        raise InputError(f"there is no such {noun}", where, "Check the name and the folder") from None
    except OSError as error:
        raise InputError(f"the {noun} cannot be read: {error.strerror}", where, "Check name and permissions") from None
    except ValueError:  # a NUL, or another character that no file name can have
        raise InputError(f"the name of the {noun} has a character that no name can have", where, "Correct it") from None
    if not left:
        raise InputError(f"the {noun} is longer than {MOST_BYTES >> 10} KiB", where, "Give the right file")
    return b"".join(parts)


def parse(data: bytes, where: str, noun: str = "file") -> tuple[dict[str, Any], str]:
    """The table in `data`, unchecked, and its text; where: the file's name, for messages.

    Raises InputError, with the line if it is known.
    """
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
    except (ValueError, OverflowError):  # tomllib does not catch the error of int() for thousands of digits
        raise InputError(f"the {noun} has a number with thousands of digits", where, "Correct it") from None
    except MemoryError:
        raise InputError(f"the {noun} needs too much memory", where, "Give the right file") from None


def load(path: str | os.PathLike, noun: str = "file") -> dict[str, Any]:
    """The table in the TOML file at `path`, unchecked.  Raises InputError that names the file."""
    return parse(read_bytes(path, noun), shown(path, _SHOWN_OF_A_NAME), noun)[0]


def shown(value: Any, most: int = _SHOWN) -> str:
    """A value from a file for a message: one printable line, cut after `most` characters."""
    try:
        text = str(value).lower() if isinstance(value, bool) else str(value)
    except (ValueError, RecursionError):  # a whole number of thousands of digits, tables in tables
        text = "a number with thousands of digits" if isinstance(value, int) else "too much to show"
    if len(text) > most:
        text = text[: most - 3] + "..."
    return "".join(char if char.isprintable() else char.encode("unicode_escape").decode() for char in text)


def _check_kind(mode: int, noun: str, where: str) -> None:
    if stat.S_ISDIR(mode):
        raise InputError(f"the {noun} cannot be read: it is a folder", where, "Give the name of a file")
    if not stat.S_ISREG(mode):
        kind = "a pipe" if stat.S_ISFIFO(mode) else "a device or a socket"
        raise InputError(f"the {noun} cannot be read: it is {kind}, not a regular file", where, "Give a regular file")
