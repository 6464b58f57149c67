"""An audible alert: the terminal's bell, once when the sign of an alert has settled."""

from typing import TextIO

from coilcount.model import Alert, Output


class Bell:
    """A view of the session.  All alerts have the same sound; the screen says which one it is."""

    part = "the sound"

    def __init__(self, terminal: TextIO) -> None:
        self._terminal = terminal

    def show(self, output: Output) -> None:
        if isinstance(output, Alert) and output.stage == "settled":
            self._terminal.write("\a")
            self._terminal.flush()

    def tick(self, host_s: float) -> None:
        """There is no sound between the outputs."""
