"""From what a keyboard sends to single keys: pure, bytes or characters in, keys and the unfinished rest out.

Arrow, function and editing keys send several bytes, and the letters among them are not keys: End is `ESC [ F`.
The forms are those of ECMA-48: CSI (`ESC [`, parameters, a final byte), SS3 (`ESC O`), and strings that a terminal
sends as an answer (`ESC ]` and others, to `ESC \\` or BEL).
"""

ESC = b"\x1b"
# A terminal's answer is shorter; a string that never ends must not swallow every key to come.  Chosen by hand.
MOST_STRING_BYTES = 256
_CSI, _SS3 = 0x9B, 0x8F  # the same in one byte, of a terminal without UTF-8
_STRINGS = b"]P_^X"
_WINDOWS_PREFIXES = "\x00\xe0"


def keys(data: bytes) -> tuple[list[str], bytes]:
    """(keys as single characters, the bytes of what is unfinished: they go in front of the next data).

    Sequences and bytes that are no UTF-8 give no key, and neither does a letter typed with Alt.
    """
    found: list[str] = []
    at = 0
    while at < len(data):
        first = data[at]
        if first == ESC[0]:
            end = _after_escape(data, at)
        elif first == _CSI:
            end = _after_csi(data, at + 1)
        elif first == _SS3:
            end = _after_parameters(data, at + 1)
        else:
            end = _after_character(data, at)
            if end is not None:
                found += data[at:end].decode("utf-8", "ignore")
        if end is None:
            return found, data[at:]
        at = end
    return found, b""


def windows_keys(characters: str, prefixed: bool = False) -> tuple[list[str], bool]:
    """(keys, whether the next character belongs to a prefix) of what msvcrt.getwch() gave.

    An arrow or function key comes as two: U+0000 or U+00E0, then a code that looks like a letter.
    """
    found = []
    for character in characters:
        if prefixed:
            prefixed = False
        elif character in _WINDOWS_PREFIXES:
            prefixed = True
        else:
            found.append(character)
    return found, prefixed


def _after_escape(data: bytes, at: int) -> int | None:
    """The index behind the sequence at `at`; None where it is unfinished."""
    if at + 1 == len(data):
        return None
    second = data[at + 1]
    if second == ESC[0]:
        return at + 1  # a sequence typed with Alt: the second begins it
    if second == ord("["):
        return _after_csi(data, at + 2)
    if second == ord("O"):
        return _after_parameters(data, at + 2)
    if second in _STRINGS:
        return _after_string(data, at + 2)
    return _after_character(data, at + 1)


def _after_csi(data: bytes, at: int) -> int | None:
    if data[at : at + 1] == b"[":  # the Linux console's F1 to F5: one byte more
        return at + 2 if at + 1 < len(data) else None
    return _after_parameters(data, at)


def _after_parameters(data: bytes, at: int) -> int | None:
    """Behind the final byte; a byte that belongs to no sequence breaks it off and is looked at by itself."""
    while at < len(data):
        byte = data[at]
        if 0x40 <= byte <= 0x7E:
            return at + 1
        if not 0x20 <= byte <= 0x3F:
            return at
        at += 1
    return None


def _after_string(data: bytes, at: int) -> int | None:
    for end in range(at, min(len(data), at + MOST_STRING_BYTES)):
        if data[end] == 0x07:
            return end + 1
        if data[end] == ESC[0]:
            # ESC \ ends it; any other sequence breaks it off.
            if end + 1 == len(data):
                return None
            return end + 2 if data[end + 1] == ord("\\") else end
    return at + MOST_STRING_BYTES if len(data) >= at + MOST_STRING_BYTES else None


def _after_character(data: bytes, at: int) -> int | None:
    """Behind one character of UTF-8; a byte that begins none counts alone."""
    first = data[at]
    length = 1 if first < 0xC2 or first > 0xF4 else 2 if first < 0xE0 else 3 if first < 0xF0 else 4
    for end in range(at + 1, at + length):
        if end == len(data):
            return None
        if not 0x80 <= data[end] <= 0xBF:
            return end
    return at + length
