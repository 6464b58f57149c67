"""The connection to the host: stdin and stdout as byte streams.  Nothing here ever waits.

A line is started only if the output has room.  If only a part of a line was sent, the rest is sent before anything
else.  If the stream fails inside a line, nobody knows how much of the line was sent.  Then the next line begins with
a line feed, so that the host loses one line and not two.
"""

import select

# Bytes; the most that one read() takes, so that a flood of input does not hold up the counting.  Chosen by hand.
MAX_READ_BYTES = 64


class Link:
    """The connection.

    reader, writer: unbuffered byte streams that select can poll.  On a chip: sys.stdin.buffer and sys.stdout.buffer.
    """

    def __init__(self, reader, writer):
        self.short_writes = 0  # lines that did not go out in one piece
        self.lost = 0  # lines that were lost, whole or in part, because the stream failed
        self._reader = reader
        self._writer = writer
        self._rest = b""  # bytes still to send of a line that was sent in part
        self._torn = False  # the stream failed inside the last line
        self._input = select.poll()
        self._input.register(reader, select.POLLIN)
        self._output = select.poll()
        self._output.register(writer, select.POLLOUT)
        # MicroPython: ipoll allocates no list, as poll does.  CPython has only poll.
        self._poll_input = getattr(self._input, "ipoll", self._input.poll)
        self._poll_output = getattr(self._output, "ipoll", self._output.poll)
        self._received = bytearray(MAX_READ_BYTES)

    def read(self):
        """Return the bytes that wait, at most MAX_READ_BYTES.  If none wait, return b"" and allocate nothing."""
        size = 0
        # On a chip stdin cannot tell how many bytes wait, and read(n) would wait for n bytes.  So each byte is polled.
        while size < MAX_READ_BYTES and self._has(self._poll_input, select.POLLIN):
            byte = self._reader.read(1)
            if not byte:
                break
            self._received[size] = byte[0]
            size += 1
        return bytes(self._received[:size]) if size else b""

    def ready(self):
        """Send the rest of an unfinished line.  Return True if a new line may be sent now."""
        if not self._has(self._poll_output, select.POLLOUT):
            return False
        if not self._rest:
            return True
        self._write(self._rest)
        return not self._rest and self._has(self._poll_output, select.POLLOUT)

    def send(self, line):
        """Start to send `line` (bytes that end in LF).  Call this only if ready() returned True."""
        if self._torn:
            line = b"\n" + line
            self._torn = False
        self._write(line)
        if self._rest or self._torn:
            self.short_writes = (self.short_writes + 1) & 0xFFFFFFFF

    def idle(self):
        """Return True if no part of a line is left to send."""
        return not self._rest

    def _write(self, data):
        """Write as much as fits and keep the rest."""
        try:
            count = self._writer.write(data) or 0
        except OSError:
            self._torn = True
            self._rest = b""
            self.lost = (self.lost + 1) & 0xFFFFFFFF
            return
        self._rest = data[count:]

    @staticmethod
    def _has(poll, event):
        found = False
        for item in poll(0):
            # A hang-up or an error is not readiness: nobody is there to read or write.
            if item[1] & event:
                found = True
        return found
