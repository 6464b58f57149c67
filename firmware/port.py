"""The two byte streams to the host, behind the few methods that link.Link needs.  Allocates nothing on MicroPython."""

import select
import sys


class Port:
    """The streams.

    reader, writer: unbuffered byte streams that select can poll.  On a chip: sys.stdin.buffer and sys.stdout.buffer.
    """

    def __init__(self, reader, writer):
        self._reader = reader
        self._writer = writer
        self._byte = bytearray(1)
        self._input = select.poll()
        self._input.register(reader, select.POLLIN)
        self._output = select.poll()
        self._output.register(writer, select.POLLOUT)
        # MicroPython: ipoll allocates no list, as poll does.  CPython has only poll.
        self._poll_input = getattr(self._input, "ipoll", self._input.poll)
        self._poll_output = getattr(self._output, "ipoll", self._output.poll)
        # The first poll allocates the tuple that later ones use again.
        self._poll_input(0)
        self._poll_output(0)
        # MicroPython writes a part of a buffer by (buffer, start, count).  CPython needs a view of the part.
        self._write_part = writer.write if sys.implementation.name == "micropython" else self._write_view

    def writable(self):
        """Return True if at least one byte can be written now."""
        for item in self._poll_output(0):
            # A hang-up or an error is not readiness: nobody is there to read.
            return item[1] & select.POLLOUT != 0
        return False

    def read(self):
        """Return the next byte that waits (int), or -1 if none waits."""
        for item in self._poll_input(0):
            # On a chip stdin cannot tell how many bytes wait, and a longer read would wait for them.
            if item[1] & select.POLLIN and self._reader.readinto(self._byte):
                return self._byte[0]
        return -1

    def write(self, buffer, start, count):
        """Write `count` bytes of `buffer` from index `start` on.  Return how many were written.  Raises OSError."""
        return self._write_part(buffer, start, count) or 0

    def _write_view(self, buffer, start, count):
        return self._writer.write(memoryview(buffer)[start : start + count])
