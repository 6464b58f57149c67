"""Sends lines to the host through a stream, and reads bytes from it.  Nothing here waits.

A pipe or a pseudo-terminal takes the bytes for which it has room and returns their number.  USB on a chip differs
(MicroPython's stream over TinyUSB; its buffer holds 256 bytes):

- The poll reports room from one free byte on.  A write that needs more room waits: 0.5 s without progress, at least
  twice.  Meanwhile nobody reads the edge ring, which holds 0.33 s at 25 kHz.
- The host takes packets of 64 bytes, or all bytes if there are fewer.
- If no program has the port open, the poll always reports room, a write never waits, and the oldest bytes in the buffer
  are overwritten.  The firmware cannot find out if that is so.  When the port is opened, the first line is often a
  splice, and PROTOCOL.md ("A closed port") says why a line feed in front of each line would not help.

One byte after each poll that reports room can never wait, but each byte would cost a poll.  So bytes are sent in pieces
of PIECE_BYTES, with a poll before each.  Spaces fill each line up to whole pieces.  (A reader skips text in front of a
frame, and the spaces are in front of the next one.)  Pieces, packets and buffer are all multiples of PIECE_BYTES, and
so is the number of free bytes.  If one byte is free, a piece has room.

Only after a soft restart the buffer may hold other bytes, such as those of a prompt.  The host usually reads them at
once.  If it has the port open and does not read, one write waits, once.  It ends when the buffer is full, and the
pieces are counted from there.
"""

# Bytes.  A divisor of 64 and 256 (see above).  A longer piece needs fewer polls and more spaces.  Chosen by hand.
PIECE_BYTES = 16

_SPACE = 32


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
        self._torn = False  # the stream failed inside the last line
        self._separator = bytearray(b"\n" + b" " * (2 * piece_bytes))
        self._buffer = self._separator
        self._start = self._end = 0  # the part of `_buffer` that is still to be sent

    def ready(self):
        """Send the rest of an unfinished line.  Return True if a new line may be sent now."""
        if not self._push(False):
            return False
        if self._torn:
            # Nobody knows how much of the last line was sent.  The line feed ends it, so only that line is lost.
            self._torn = False
            self._begin(self._separator, 1)
            if not self._push(False):
                return False
        return self._port.writable()

    def send(self, buffer, size):
        """Start to send the first `size` bytes of `buffer`, a line that ends in LF.  Call this only after ready().

        The buffer (bytearray) must not change until ready() returns True again.  It needs room for 2 * piece_bytes
        further bytes.
        """
        self._begin(buffer, size)
        if not self._push(True):
            self.short_writes += 1

    def idle(self):
        """Return True if no part of a line is left to send."""
        return self._start >= self._end

    def _begin(self, buffer, size):
        self._buffer = buffer
        self._start = 0
        self._end = size
        self._fill_up()

    def _push(self, room):
        """Send what can go now.  Return True if nothing of the line is left.

        room: True if the stream is known to have room for the first write.
        """
        while self._start < self._end:
            if not room and not self._port.writable():
                return False
            room = False
            count = self._piece_bytes or self._end - self._start
            try:
                written = self._port.write(self._buffer, self._start, count)
            except OSError:
                self._torn = True
                self._start = self._end = 0
                self.lost += 1
                return False
            self._start += written
            if written < count:
                # The stream is full, so a piece begins at the next byte.
                self._fill_up()
                return False
        return True

    def _fill_up(self):
        """Append spaces until the bytes that are left are whole pieces."""
        if self._piece_bytes:
            while (self._end - self._start) % self._piece_bytes:
                self._buffer[self._end] = _SPACE
                self._end += 1
