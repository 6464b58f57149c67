"""Bytes to frames and back: `@<KIND>,<field>,...*<CRC-32>\\n`.

The frame is protected by CRC-32/ISO-HDLC (the one of zlib and Ethernet) over the bytes between
`@` and `*`, written as eight upper-case hex digits.  A reader starts at the last `@` of a line,
so a prompt or a traceback in front of a frame costs nothing.
"""

from binascii import crc32
from collections import namedtuple

# A frame from `@` to and with its line feed.  Longer frames are refused on both sides.
MAX_FRAME_BYTES = 160
# Unfinished input that a splitter holds before it lets the front go.  A board never sends a line
# this long; another program on the port might send forever without a line feed.
MAX_PENDING_BYTES = 1024
# Unsigned decimal numbers up to 2^64 - 1 have at most this many digits.
MAX_DIGITS = 20

_PLAIN = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-._~ !\"#$&'()+/:;<=>?[\\]^`{|}"
_HEX = b"0123456789ABCDEF"

# kind: str of capital letters; fields: tuple of bytes, still in their wire form.
Frame = namedtuple("Frame", "kind fields")


def crc_text(body):
    """CRC-32/ISO-HDLC of `body` (bytes) as eight upper-case hex digits (bytes)."""
    return b"%08X" % (crc32(body) & 0xFFFFFFFF)


def encode(kind, fields):
    """One line for `kind` (str of capitals) and `fields` (non-negative ints or escaped bytes).

    Returns bytes that end in a line feed.  Raises ValueError where a number is negative, a field
    holds a byte that the frame uses itself, or the line would pass MAX_FRAME_BYTES.
    """
    parts = [_kind_bytes(kind)]
    for field in fields:
        if isinstance(field, int):
            if field < 0:
                raise ValueError("a negative number has no place on the wire: %d" % field)
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
    """The frame in `line` (bytes, without its line feed; one CR at the end is forgiven), or None.

    None means that no sound frame ends this line; why() names the reason.
    """
    frame, _ = _examine(line)
    return frame


def why(line):
    """Why parse(line) is None: "" (it is not), "text" (no frame was meant), "damaged" or "overlong"."""
    return _examine(line)[1]


def _examine(line):
    at = line.rfind(b"@")
    if at < 0:
        return None, "text"
    end = len(line)
    if line[end - 1] == 13:
        end -= 1
    if end - at + 1 > MAX_FRAME_BYTES:
        return None, "overlong"
    star = end - 9
    # `*` must stand nine bytes before the end, and nowhere else.
    if star < at + 2 or line.find(b"*", at) != star:
        return None, "damaged"
    body = line[at + 1 : star]
    if crc_text(body) != line[star + 1 : end]:
        return None, "damaged"
    # From here on the sender meant these bytes; they must still obey the grammar.
    parts = body.split(b",")
    if not _is_kind(parts[0]):
        return None, "damaged"
    # Most frames are numbers alone, which one call tells; the loop is for those with text.
    if not b"".join(parts[1:]).isdigit():
        for byte in body:
            if byte < 32 or byte > 126:
                return None, "damaged"
    return Frame(parts[0].decode(), tuple(parts[1:])), ""


def digits(field):
    """The number in `field` (bytes).  Strict: digits only, no sign, space, `_` or leading zero.

    Raises ValueError.  int() is not used to judge: both interpreters take b"1_0" and b" +10 ".
    """
    if not field.isdigit() or len(field) > MAX_DIGITS or (field[0] == 48 and len(field) > 1):
        raise ValueError("not a plain number: %r" % field)
    return int(field)


def escape(text, limit=96):
    """`text` (str) as a field: UTF-8, every byte outside the plain set as %XX.

    At most `limit` bytes come out; a longer text is cut at a character, so that it still decodes.
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
    """The str in an escaped `field` (bytes).  Raises ValueError on a bad escape or bad UTF-8."""
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
    # MicroPython's decoder takes over-long forms and surrogates, CPython's does not; both must agree.
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
    """Cuts a byte stream into lines; never holds more than MAX_PENDING_BYTES.

    feed() gives the same lines for any chunking.  Where no line feed comes, the front of the
    pending bytes is let go as a piece of its own and the last MAX_FRAME_BYTES stay, so that a
    sound frame behind any amount of junk is still found.
    """

    def __init__(self):
        self._pending = b""

    def feed(self, data):
        """The lines (bytes, without line feeds) that `data` completes, in order; may be empty."""
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
        """What is pending, and forgets it: the cut line at an unplug or at the end of a file."""
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
        raise ValueError("a kind is written in capitals: %r" % kind)
    return data


def _check_field(field):
    for byte in field:
        if byte < 32 or byte > 126 or byte == 64 or byte == 42 or byte == 44:
            raise ValueError("a field that is not escaped: %r" % field)
