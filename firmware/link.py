"""The line to the host: stdin and stdout as byte streams.  Nothing here ever waits.

Before each line it asks whether there is room, and starts none without.  A line that went out only in part
is resumed before anything else.  Where the stream failed inside a line nobody knows how much of it
went out: the next line then begins with a line feed, so that the host loses one line and not two.
"""

import select

# Bytes taken from stdin in one round: a flood of input must not hold up the counting.
READ_AT_ONCE = 64


class Link:
    """`reader` and `writer`: unbuffered byte streams that select can poll (a chip's sys.stdin.buffer)."""

    def __init__(self, reader, writer):
        self.short_writes = 0  # lines that did not go out in one piece
        self.lost = 0  # lines that a failing stream swallowed, whole or in part
        self._reader = reader
        self._writer = writer
        self._rest = b""  # of a line that went out in part
        self._torn = False  # the last line may have ended anywhere
        self._input = select.poll()
        self._input.register(reader, select.POLLIN)
        self._output = select.poll()
        self._output.register(writer, select.POLLOUT)
        # ipoll reuses one tuple where poll builds a list; CPython has poll only.
        self._poll_input = getattr(self._input, "ipoll", self._input.poll)
        self._poll_output = getattr(self._output, "ipoll", self._output.poll)
        self._heard = bytearray(READ_AT_ONCE)

    def read(self):
        """The bytes that wait, at most READ_AT_ONCE; b"" where none do (allocates only when some do)."""
        size = 0
        # stdin on a chip has no any(), and read(n) would wait for n bytes: poll, then take one.
        while size < READ_AT_ONCE and self._has(self._poll_input, select.POLLIN):
            byte = self._reader.read(1)
            if not byte:
                break
            self._heard[size] = byte[0]
            size += 1
        return bytes(self._heard[:size]) if size else b""

    def ready(self):
        """Finish what is unfinished; True where a new line may be sent now."""
        if not self._has(self._poll_output, select.POLLOUT):
            return False
        if not self._rest:
            return True
        self._write(self._rest)
        return not self._rest and self._has(self._poll_output, select.POLLOUT)

    def send(self, line):
        """Start `line` (bytes ending in LF); only after ready() said yes."""
        if self._torn:
            line = b"\n" + line
            self._torn = False
        self._write(line)
        if self._rest or self._torn:
            self.short_writes = (self.short_writes + 1) & 0xFFFFFFFF

    def idle(self):
        """True where nothing of a line is left to send."""
        return not self._rest

    def _write(self, data):
        """Write what fits and keep the rest."""
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
            # Hang-up and error count as neither: there is nobody to talk to.
            if item[1] & event:
                found = True
        return found
