"""Formats one line of the wire in a buffer that is allocated once.

The bytes are those of coilwire.records.write().  That function allocates more than 1 kB for each line, and a garbage
collection of it would hold up the counting.
"""

from array import array

from coilwire.frame import MAX_FRAME_BYTES

try:
    import in_place
except (ImportError, SyntaxError):
    # CPython has no module `micropython`.  Where MicroPython has no viper compiler, the decorator is a SyntaxError.
    import in_place_plain as in_place

_POWERS = array("I", [10**k for k in range(9, -1, -1)])
# CRC-32/ISO-HDLC, four bits at a time; the polynomial is 0xEDB88320 in reflected order.
_CRC_STEPS = array("I", [0] * 16)
for _number in range(16):
    _crc = _number
    for _ in range(4):
        _crc = (_crc >> 1) ^ (0xEDB88320 if _crc & 1 else 0)
    _CRC_STEPS[_number] = _crc


class Line:
    """A line that is built from left to right: begin(), then words() and text(), then end().

    buffer: the bytes (bytearray), of which the first `size` are in use.  It has room for a line that is too long by
    the ten longest numbers.  What is behind `size` may be overwritten.
    """

    def __init__(self):
        self.buffer = bytearray(2 * MAX_FRAME_BYTES)
        self.size = 0

    def begin(self, kind):
        """Start a line.  kind: its kind (bytes), for example b"I"."""
        self.buffer[0] = 64
        self.size = in_place.put_bytes(self.buffer, 1, kind, len(kind))

    def words(self, words, first, count):
        """Append numbers: the words (array "I") `first` to `first + count - 1`."""
        self.size = in_place.put_words(0, 0, 0, self.buffer, self.size, words, first, count, _POWERS)

    def text(self, field):
        """Append a field (bytes) that is escaped already.  Raises ValueError if the line gets too long."""
        size = len(field)
        if self.size + size >= MAX_FRAME_BYTES:
            raise ValueError("a frame with a text of %d bytes is too long" % size)
        self.buffer[self.size] = 44
        self.size = in_place.put_bytes(self.buffer, self.size + 1, field, size)

    def end(self):
        """Append check and line feed.  Raises ValueError if the line is longer than MAX_FRAME_BYTES."""
        self.size = in_place.put_check(0, 0, self.buffer, self.size, _CRC_STEPS)
        if self.size > MAX_FRAME_BYTES:
            raise ValueError("a frame of %d bytes; %d is the most" % (self.size, MAX_FRAME_BYTES))


copy_words = in_place.copy_words
set_word = in_place.set_word
