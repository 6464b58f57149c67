"""Bytes from the host in, requests out.  Pure: it knows no link, counter or clock.

Two ways of asking for the same things: `C` frames with an id, and words a person types (`?`, `get`,
`set interval_ms 20`; id 0).  A deploy tool leaves stray bytes on stdin and a terminal may echo our
own lines: what is not meant as a command is ignored.  What is meant as one and is wrong is counted
in `bad`, and answered where its id can be trusted.
"""

from collections import namedtuple

from coilwire import frame, records

# Longest line that is kept; of a longer one only the end is, since a sound frame may stand there.
MAX_LINE = frame.MAX_FRAME_BYTES

# verb: "hello", "get" (name, or "" for all), "set" (name, value), "help", "selftest", or "refuse" (name: why).
Request = namedtuple("Request", "id verb name value")

HELP = "? hello; get [NAME]; set NAME VALUE; selftest"
ALONE = ("hello", "help", "selftest")  # verbs that need no name


class Session:
    """`names`: the settings that exist (tuple of str)."""

    def __init__(self, names):
        self.bad = 0
        self._names = names
        self._line = bytearray()
        self._cut = False

    def feed(self, data):
        """The Requests (list) that `data` (bytes) completes; the same for any chunking."""
        requests = []
        for byte in data:
            # A terminal ends a line with CR, a program with LF.
            if byte == 10 or byte == 13:
                if self._line:
                    request = self._line_done()
                    if request is not None:
                        requests.append(request)
                self._cut = False
            else:
                if len(self._line) >= 2 * MAX_LINE:
                    self._line = self._line[-MAX_LINE:]
                    self._cut = True
                self._line.append(byte)
        return requests

    def _line_done(self):
        line = bytes(self._line)
        self._line = bytearray()
        at = line.rfind(b"@")
        if at >= 0:
            return self._framed(line, at)
        if self._cut:
            return None
        return self._typed(line)

    def _framed(self, line, at):
        found = frame.parse(line)
        if found is None:
            if line[at + 1 : at + 3] == b"C,":
                self._count()
            return None
        if found.kind != "C":
            return None  # our own line, echoed
        try:
            command = records.read(found)
        except ValueError:
            self._count()
            return None
        return self._checked(command.id, command.verb, command.name, command.value)

    def _typed(self, line):
        start = 0
        while start < len(line) and (line[start] < 32 or line[start] > 126):
            start += 1
        words = line[start:].split()
        if not words:
            return None
        # Bytes that are not ASCII cannot be one of our words; decode() of them would raise.
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
        if verb in ALONE:
            return Request(number, verb, "", 0)
        if verb != "get" and verb != "set":
            return self._refuse(number, "no such command: " + verb)
        if name not in self._names and not (verb == "get" and name == ""):
            return self._refuse(number, "no such setting: " + name)
        return Request(number, verb, name, value)

    def _refuse(self, number, why):
        self._count()
        return Request(number, "refuse", why, 0)

    def _count(self):
        self.bad = (self.bad + 1) & 0xFFFFFFFF
