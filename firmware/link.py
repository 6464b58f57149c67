"""Sends lines to the host through a stream, and reads bytes from it.  Nothing here ever waits.

A pipe or a pseudo-terminal takes the bytes for which it has room and returns their number.  USB on a chip differs
(MicroPython's stream over TinyUSB; its buffer holds 256 bytes):

- The poll reports room from one free byte on.  A write that needs more room waits: 0.5 s without progress, twice.
  Meanwhile nobody reads the edge ring, which holds 0.33 s at 25 kHz.
- The host takes packets of 64 bytes, or all bytes if there are fewer.
- If no program has the port open, the poll always reports room, a write never waits, and the oldest bytes in the buffer
  are overwritten.  A program on the board cannot find out if that is so.

One byte after each poll that reports room can never wait, but each byte costs a poll.  So bytes are sent in pieces of
equal length, and each line is filled up to whole pieces with spaces.  (A reader skips text in front of a frame, and the
spaces are in front of the next one.)  If pieces and packets are all multiples of PIECE_BYTES, so is the number of free
bytes.  Then one free byte means PIECE_BYTES free bytes, and a piece cannot wait.

That is not certain yet after a start, because other programs have printed before.  Until then bytes are sent one by
one.  It becomes certain in one of two ways:

- The poll reports no room.  Then the buffer is full, and the pieces are counted from this byte on.
- The poll has reported room for SETTLING_BYTES.  Then the host has emptied the buffer between two lines, or no program
  has the port open and all that remains in the buffer are whole pieces.
"""

# Bytes.  A divisor of 64 and 256 (see above).  A longer piece needs fewer polls and more spaces.  Chosen by hand.
PIECE_BYTES = 16
# Bytes that are sent one by one after a start, several times the 256 of the buffer.  Chosen by hand: about 0.5 s.
SETTLING_BYTES = 2048
# Writes in one call, so that a step of the loop stays short while bytes go one by one.  Chosen by hand.
MAX_WRITES = 32

_SPACE = 32
_LINE_FEED = 10


class Link:
    """The connection.

    port: port.Port, or an object with the same methods; piece_bytes: PIECE_BYTES on a chip; 0 for a stream that takes
    what it can and returns the number of bytes, as a pipe does.
    """

    def __init__(self, port, piece_bytes=0):
        self.short_writes = 0  # lines that did not go out at once
        self.lost = 0  # lines that were lost, whole or in part, because the stream failed
        self.read = port.read  # returns the next byte that waits (int), or -1
        self._port = port
        self._piece_bytes = piece_bytes
        self._one_by_one = piece_bytes > 0  # bytes are sent one by one
        self._settling = SETTLING_BYTES  # bytes after which that may end, at the end of a line
        self._torn = False  # the stream failed inside the last line
        self._separator = bytearray(b"\n" + b" " * max(0, piece_bytes - 1))
        self._buffer = self._separator
        self._start = self._end = 0  # the part of `_buffer` that is still to be sent

    def ready(self):
        """Send the rest of an unfinished line.  Return True if a new line may be sent now."""
        if not self._push(False):
            return False
        if self._torn:
            # Nobody knows how much of the last line was sent.  The line feed ends it, so only that line is lost.
            self._torn = False
            if not self._begin(self._separator, len(self._separator), False):
                return False
        return self._room()

    def send(self, buffer, size):
        """Start to send the first `size` bytes of `buffer`, a line that ends in LF.  Call this only after ready().

        The buffer (bytearray) must not change until ready() returns True again.  It needs room for 2 * piece_bytes
        further bytes.
        """
        if self._piece_bytes:
            if self._settling <= 0:
                self._one_by_one = False
            size = self._fill_up(buffer, 0, size)
        if not self._begin(buffer, size, True):
            self.short_writes += 1

    def idle(self):
        """Return True if no part of a line is left to send."""
        return self._start >= self._end

    def _begin(self, buffer, size, room):
        self._buffer = buffer
        self._start = 0
        self._end = size
        return self._push(room)

    def _room(self):
        """Return True if the stream has room for the next write."""
        if self._port.writable():
            return True
        if self._one_by_one:
            # The buffer is full, so a piece begins at this byte.
            self._one_by_one = False
            self._end = self._fill_up(self._buffer, self._start, self._end)
        return False

    def _push(self, room):
        """Send what can go now.  Return True if nothing of the line is left.

        room: True if the stream is known to have room for the first write.
        """
        writes = 0
        while self._start < self._end:
            if writes == MAX_WRITES or not (room or self._room()):
                return False
            room = False
            writes += 1
            count = self._end - self._start
            if self._one_by_one:
                count = 1
                self._settling -= 1
            elif self._piece_bytes:
                count = self._piece_bytes
            try:
                written = self._port.write(self._buffer, self._start, count)
            except OSError:
                self._torn = True
                self._start = self._end = 0
                self.lost += 1
                return False
            if written < count and self._piece_bytes:
                # The stream does not behave as described above.
                self._one_by_one = True
                self._settling = SETTLING_BYTES
            self._start += written
        return True

    def _fill_up(self, buffer, start, end):
        """Append spaces until the bytes from `start` to `end` are whole pieces.  Return the new end."""
        while (end - start) % self._piece_bytes:
            buffer[end] = _SPACE
            end += 1
        return end
