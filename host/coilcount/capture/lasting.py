"""Keeps the entries that still hold when the next part of a recording begins.

A writer repeats them at the start of each part, so that a part can be read alone.  A reader of all parts skips them.
"""

from coilwire import frame

from coilcount.model import Entry, Line, Operator

_HELLO_PREFIX = b"@H,"


class Lasting:
    """Call note() with each entry of a recording in its order."""

    def __init__(self) -> None:
        self._hello: Line | None = None
        self._level: Operator | None = None  # a rate of false alarms or a threshold: each takes the place of the other
        self._freeze: Operator | None = None

    def note(self, entry: Entry) -> None:
        """Take one entry."""
        if type(entry) is Line:
            if entry.data.find(_HELLO_PREFIX) >= 0 and is_hello(entry):
                self._hello = entry
        elif type(entry) is Operator:
            if entry.action in ("false_alarms", "threshold"):
                self._level = entry
            elif entry.action in ("freeze", "thaw"):
                self._freeze = entry if entry.action == "freeze" else None

    def entries(self) -> list[Entry]:
        """The last hello, the last rate or threshold that the operator set, a freeze that lasts, in this order."""
        return [entry for entry in (self._hello, self._level, self._freeze) if entry is not None]


def is_hello(entry: Entry) -> bool:
    """True if this is a received line with a sound hello."""
    return type(entry) is Line and entry.data.find(_HELLO_PREFIX) >= 0 and frame.parse(entry.data) is not None
