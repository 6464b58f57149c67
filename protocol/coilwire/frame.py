"""Converts between bytes and frames of the form `@<KIND>,<field>,...*<CRC-32>\\n`.

The check is the CRC-32/ISO-HDLC of zlib and Ethernet.  It covers the bytes between `@` and `*`, and is written as eight
upper-case hex digits.  A reader starts at the last `@` of a line, so a prompt or a traceback in front of a frame does
no harm.
"""

from binascii import crc32
from collections import namedtuple

# These limits are part of the protocol (PROTOCOL.md) and were chosen by hand.
# Bytes of a frame from `@` to its line feed, both included.  Writers and readers refuse longer frames.
MAX_FRAME_BYTES = 160
# Bytes of an unfinished line that a splitter holds.  A board never sends a line this long, but another program on the
# port may send for ever without a line feed.
MAX_PENDING_BYTES = 1024
# Digits of an unsigned decimal number.  2^64 - 1 has 20.
MAX_DIGITS = 20

# The bytes that stand for themselves in a text field.
_PLAIN = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-._~ !\"#$&'()+/:;<=>?[\\]^`{|}"
_HEX = b"0123456789ABCDEF"

# kind: str of capital letters; fields: tuple of bytes, still in their wire form.
Frame = namedtuple("Frame", "kind fields")


def crc_text(body):
    """Return the CRC-32/ISO-HDLC of `body` (bytes) as eight upper-case hex digits (bytes)."""
    return b"%08X" % (crc32(body) & 0xFFFFFFFF)


def encode(kind, fields):
    """Return one line (bytes that end in a line feed).

    kind: str of capital letters; fields: non-negative ints, or bytes that are escaped already.

    Raises ValueError if a number is negative, if a field holds a byte that needs an escape, or if the line would be
    longer than MAX_FRAME_BYTES.
    """
    parts = [_kind_bytes(kind)]
    for field in fields:
        if isinstance(field, int):
            if field < 0:
                raise ValueError("a number on the wire cannot be negative: %d" % field)
            parts.append(b"%d" % field)
        else:
            _check_field(field)
            parts.append(field)
    body = b",".join(parts)
    line = b"@" + body + b"*" + crc_text(body) + b"\n"
    if len(line) > MAX_FRAME_BYTES:
        raise ValueError("a frame of %d bytes; %d is the most" % (len(line), MAX_FRAME_BYTES))
    return line


def parse(line):
    """Return the Frame at the end of a line, or None if there is no sound frame.  why() gives the reason.

    line: bytes without the line feed.  One carriage return at the end is ignored.
    """
    frame, _ = _examine(line)
    return frame


def why(line):
    """Return the reason why parse(line) is None (str).

    "" if it is not None; "text" if the line has no `@`, so no frame was meant; "damaged"; or "overlong".
    """
    return _examine(line)[1]


def _examine(line):
    start = line.rfind(b"@")
    if start < 0:
        return None, "text"
    end = len(line)
    if line[end - 1] == 13:
        end -= 1
    if end - start + 1 > MAX_FRAME_BYTES:
        return None, "overlong"
    star = end - 9
    # There must be exactly one `*`, nine bytes before the end.
    if star < start + 2 or line.find(b"*", start) != star:
        return None, "damaged"
    body = line[start + 1 : star]
    if crc_text(body) != line[star + 1 : end]:
        return None, "damaged"
    # The CRC is right, so the sender meant these bytes.  They must still obey the grammar.
    parts = body.split(b",")
    if not _is_kind(parts[0]):
        return None, "damaged"
    # Most frames hold only numbers, which one call can check.  The slow loop is for frames with text.
    if not b"".join(parts[1:]).isdigit():
        for byte in body:
            if byte < 32 or byte > 126:
                return None, "damaged"
    return Frame(parts[0].decode(), tuple(parts[1:])), ""


def digits(field):
    """Return the number in `field` (bytes) as an int.

    Raises ValueError for anything but 1 to 20 digits without a leading zero.  int() alone would not do: both
    interpreters accept b"1_0" and b" +10 ".
    """
    if not field.isdigit() or len(field) > MAX_DIGITS or (field[0] == 48 and len(field) > 1):
        raise ValueError("not a plain number: %r" % field)
    return int(field)


def escape(text, limit=96):
    """Return `text` (str) as a field (bytes): UTF-8, with every byte outside the plain set as %XX.

    limit: most bytes of the field.  A longer text is cut after a whole character, so that it still decodes.
    """
    out = bytearray()
    for char in text:
        piece = bytearray()
        for byte in char.encode("utf-8"):
            if byte in _PLAIN:
                piece.append(byte)
            else:
                piece.append(37)
                piece.append(_HEX[byte >> 4])
                piece.append(_HEX[byte & 15])
        if len(out) + len(piece) > limit:
            break
        out.extend(piece)
    return bytes(out)


def unescape(field):
    """Return the text (str) in an escaped `field` (bytes).  Raises ValueError for a bad escape or bad UTF-8."""
    out = field
    if field.find(b"%") >= 0:
        pieces = field.split(b"%")
        out = bytearray(pieces[0])
        for piece in pieces[1:]:
            high = _HEX.find(piece[:1]) if len(piece) > 1 else -1
            low = _HEX.find(piece[1:2])
            if high < 0 or low < 0:
                raise ValueError("a bad escape in %r" % field)
            out.append(high * 16 + low)
            out.extend(piece[2:])
    try:
        if not _is_shortest(out):
            raise ValueError("text that is not UTF-8: %r" % field)
        return bytes(out).decode("utf-8")
    except UnicodeError:
        raise ValueError("text that is not UTF-8: %r" % field)


def _is_shortest(data):
    # MicroPython's decoder accepts over-long forms and surrogates, and CPython's does not.  Both must give one answer.
    last = 0
    for byte in data:
        if last == 0xC0 or last == 0xC1 or last > 0xF4:
            return False
        if (last == 0xE0 and byte < 0xA0) or (last == 0xED and byte > 0x9F):
            return False
        if (last == 0xF0 and byte < 0x90) or (last == 0xF4 and byte > 0x8F):
            return False
        last = byte
    return True


class LineSplitter:
    """Cuts a byte stream into lines.  It never holds more than MAX_PENDING_BYTES.

    The lines do not depend on how the stream is split into chunks.  If no line feed comes, the front of the pending
    bytes is returned as a line of its own, and the last MAX_FRAME_BYTES stay pending.  So a sound frame after any
    amount of other bytes is still found.
    """

    def __init__(self):
        self._pending = b""

    def feed(self, data):
        """Return the lines (list of bytes, without line feeds) that `data` (bytes) completes, in order."""
        buffer = self._pending + data
        lines = []
        start = 0
        while True:
            end = buffer.find(b"\n", start)
            stop = len(buffer) if end < 0 else end
            while stop - start > MAX_PENDING_BYTES:
                cut = start + MAX_PENDING_BYTES + 1 - MAX_FRAME_BYTES
                lines.append(buffer[start:cut])
                start = cut
            if end < 0:
                break
            lines.append(buffer[start:end])
            start = end + 1
        self._pending = buffer[start:]
        return lines

    def rest(self):
        """Return the pending bytes and forget them: the unfinished line at an unplug or at the end of a file."""
        rest = self._pending
        self._pending = b""
        return rest


def _is_kind(data):
    for byte in data:
        if byte < 65 or byte > 90:
            return False
    return len(data) > 0


def _kind_bytes(kind):
    data = kind.encode()
    if not _is_kind(data):
        raise ValueError("a kind must be capital letters: %r" % kind)
    return data


def _check_field(field):
    for byte in field:
        if byte < 32 or byte > 126 or byte == 64 or byte == 42 or byte == 44:
            raise ValueError("this field must be escaped first: %r" % field)
