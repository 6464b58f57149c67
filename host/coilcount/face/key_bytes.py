"""Finds single keys in the bytes that a keyboard sends.  Pure: bytes in, keys and the unfinished rest out.

Arrow, function and editing keys send several bytes; the letters among them are not keys.  End, for example, is
`ESC [ F`.  The forms are those of ECMA-48: CSI (`ESC [`, parameters, a final byte), SS3 (`ESC O`), and the strings
that a terminal sends as an answer (from `ESC ]` or a similar start to `ESC \\` or BEL).
"""

ESC = b"\x1b"
# Longest string.  A terminal's answer is shorter, and a string without an end must not swallow all keys after it.
# Chosen by hand.
MOST_STRING_BYTES = 256
_CSI, _SS3 = 0x9B, 0x8F  # the one-byte forms, sent by a terminal without UTF-8
_STRINGS = b"]P_^X"
_WINDOWS_PREFIXES = "\x00\xe0"


def keys(data: bytes) -> tuple[list[str], bytes]:
    """(keys as single characters, unfinished bytes).  Put the unfinished bytes in front of the next data.

    No key comes from a sequence, from bytes that are not UTF-8, or from a letter typed with Alt.
    """
    found: list[str] = []
    start = 0
    while start < len(data):
        first = data[start]
        if first == ESC[0]:
            end = _after_escape(data, start)
        elif first == _CSI:
            end = _after_csi(data, start + 1)
        elif first == _SS3:
            end = _after_parameters(data, start + 1)
        else:
            end = _after_character(data, start)
            if end is not None:
                found += data[start:end].decode("utf-8", "ignore")
        if end is None:
            return found, data[start:]
        start = end
    return found, b""


def windows_keys(characters: str, prefixed: bool = False) -> tuple[list[str], bool]:
    """(keys, whether the last character was a prefix) from the characters of msvcrt.getwch().

    An arrow or function key comes as two characters: the prefix U+0000 or U+00E0, then a code that looks like a letter.
    prefixed: whether the call before ended with a prefix.
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


def _after_escape(data: bytes, start: int) -> int | None:
    """The index after the sequence that begins at `start`; None if the sequence is unfinished."""
    if start + 1 == len(data):
        return None
    second = data[start + 1]
    if second == ESC[0]:
        return start + 1  # a sequence typed with Alt: the second ESC begins it
    if second == ord("["):
        return _after_csi(data, start + 2)
    if second == ord("O"):
        return _after_parameters(data, start + 2)
    if second in _STRINGS:
        return _after_string(data, start + 2)
    return _after_character(data, start + 1)


def _after_csi(data: bytes, start: int) -> int | None:
    if data[start : start + 1] == b"[":  # F1 to F5 of the Linux console have one byte more
        return start + 2 if start + 1 < len(data) else None
    return _after_parameters(data, start)


def _after_parameters(data: bytes, start: int) -> int | None:
    """The index after the final byte.  A byte that fits no sequence ends this one and is read by itself."""
    while start < len(data):
        byte = data[start]
        if 0x40 <= byte <= 0x7E:
            return start + 1
        if not 0x20 <= byte <= 0x3F:
            return start
        start += 1
    return None


def _after_string(data: bytes, start: int) -> int | None:
    for end in range(start, min(len(data), start + MOST_STRING_BYTES)):
        if data[end] == 0x07:
            return end + 1
        if data[end] == ESC[0]:
            # ESC \ ends the string; any other sequence breaks it off.
            if end + 1 == len(data):
                return None
            return end + 2 if data[end + 1] == ord("\\") else end
    return start + MOST_STRING_BYTES if len(data) >= start + MOST_STRING_BYTES else None


def _after_character(data: bytes, start: int) -> int | None:
    """The index after one UTF-8 character; a byte that starts no character counts as one."""
    first = data[start]
    length = 1 if first < 0xC2 or first > 0xF4 else 2 if first < 0xE0 else 3 if first < 0xF0 else 4
    for end in range(start + 1, start + length):
        if end == len(data):
            return None
        if not 0x80 <= data[end] <= 0xBF:
            return end
    return start + length
