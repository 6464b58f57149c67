"""Turns bytes from the host into requests.  It uses no link, counter or clock.

There are two forms of a command: `C` frames, which carry an id, and words that a person types (`?`, `get`,
`set interval_ms 20`), which have the id 0.

Deploy tools leave stray bytes on stdin, and a terminal may echo the board's own lines.  So input that is not meant as
a command is ignored.  A wrong command is counted in `bad`.  It is also answered, unless its frame is damaged, because
then its id cannot be trusted.
"""

from collections import namedtuple

from coilwire import frame, records

# Bytes.  Of a longer line only the end is kept, because a sound frame may be there.
MAX_LINE = frame.MAX_FRAME_BYTES

# id: of the command, 0 for a typed one; verb: "hello", "get" (name, or "" for all), "set" (name, value), "help",
# "selftest", or "refuse" (then name is the reason).
Request = namedtuple("Request", "id verb name value")

HELP = "? hello; get [NAME]; set NAME VALUE; selftest"
NO_NAME_VERBS = ("hello", "help", "selftest")  # verbs that take no name


class Session:
    """The reader of commands.

    names: the settings that exist (tuple of str).  `bad` counts wrong commands.
    """

    def __init__(self, names):
        self.bad = 0
        self._names = names
        self._line = bytearray(2 * MAX_LINE)
        self._size = 0  # bytes of the line in `_line`
        self._cut = False  # the front of the line was dropped

    def take(self, byte):
        """Take the next byte (int).  Return the Request that it completes, or None."""
        # A terminal ends a line with CR, a program with LF.
        if byte == 10 or byte == 13:
            request = self._line_done() if self._size else None
            self._size = 0
            self._cut = False
            return request
        if self._size == len(self._line):
            for i in range(MAX_LINE):
                self._line[i] = self._line[MAX_LINE + i]
            self._size = MAX_LINE
            self._cut = True
        self._line[self._size] = byte
        self._size += 1
        return None

    def _line_done(self):
        line = bytes(self._line[: self._size])
        start = line.rfind(b"@")
        if start >= 0:
            return self._framed(line, start)
        if self._cut:
            return None
        return self._typed(line)

    def _framed(self, line, start):
        found = frame.parse(line)
        if found is None:
            if line[start + 1 : start + 3] == b"C,":
                self._count_bad()
            return None
        if found.kind != "C":
            return None  # the board's own line, echoed by a terminal
        try:
            command = records.read(found)
        except ValueError:
            self._count_bad()
            return None
        return self._checked(command.id, command.verb, command.name, command.value)

    def _typed(self, line):
        start = 0
        while start < len(line) and (line[start] < 32 or line[start] > 126):
            start += 1
        words = line[start:].split()
        if not words:
            return None
        # A word with other bytes than printable ASCII is no command, and decode() could raise.
        for word in words:
            for byte in word:
                if byte < 32 or byte > 126:
                    return None
        verb = words[0].decode()
        if verb == "?" or verb == "help":
            return Request(0, "help", "", 0)
        if verb == "hello" or verb == "selftest":
            return Request(0, verb, "", 0)
        if verb == "get" and len(words) <= 2:
            return self._checked(0, "get", words[1].decode() if len(words) == 2 else "", 0)
        if verb == "set" and len(words) == 3:
            try:
                value = frame.digits(words[2])
            except ValueError:
                return self._refuse(0, "not a plain number: " + words[2].decode())
            return self._checked(0, "set", words[1].decode(), value)
        if verb == "get" or verb == "set":
            return self._refuse(0, HELP)
        return None

    def _checked(self, number, verb, name, value):
        if verb in NO_NAME_VERBS:
            return Request(number, verb, "", 0)
        if verb != "get" and verb != "set":
            return self._refuse(number, "no such command: " + verb)
        if name not in self._names and not (verb == "get" and name == ""):
            return self._refuse(number, "no such setting: " + name)
        return Request(number, verb, name, value)

    def _refuse(self, number, reason):
        self._count_bad()
        return Request(number, "refuse", reason, 0)

    def _count_bad(self):
        self.bad += 1
