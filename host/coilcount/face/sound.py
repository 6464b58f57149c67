"""What is heard in a live run: the terminal's bell for each alert, and the sweep on the computer's speaker."""

from collections.abc import Callable
from typing import Self, TextIO

from coilcount.face.player import Player, programs_here
from coilcount.face.tone import Voice
from coilcount.live.readout import Readout
from coilcount.model import Alert, Output


class Bell:
    """A view of the session: rings once when the sign of an alert has settled.

    All alerts have the same sound; the screen says which one it is.
    """

    part = "the sound"

    def __init__(self, terminal: TextIO) -> None:
        self._terminal = terminal

    def show(self, output: Output) -> None:
        if isinstance(output, Alert) and output.stage == "settled":
            self._terminal.write("\a")
            self._terminal.flush()

    def tick(self, host_s: float) -> None:
        """There is no sound between the outputs."""


class Speaker:
    """A view of the session: plays the tones of `tone.py` while `readout.facts.sound_on`; use as a context manager.

    A failure of the player is reported once and switches the sound off.  Switched on again, a new player is started.
    """

    part = "the speaker"

    def __init__(self, readout: Readout, report: Callable[[str], None]) -> None:
        """report: takes the sentence for a person when there is no sound any more."""
        self._facts = readout.facts
        self._report = report
        self._voice = Voice(lambda: readout.chain.threshold_ppm)
        self._player: Player | None = None

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._stop()

    def show(self, output: Output) -> None:
        """Play the tones that begin with an output."""
        tones = self._voice.take(output)
        if self._player is not None:
            for tone in tones:
                self._player.play(tone)

    def tick(self, host_s: float) -> None:
        """Start or stop the player if the sound was switched, and look whether it still plays."""
        if self._facts.sound_on and self._player is None:
            self._player = Player(programs_here())
        if not self._facts.sound_on:
            self._stop()
        if self._player is not None and (failure := self._player.check()):
            self._facts.sound_on = False
            self._stop()
            self._report(failure)

    def _stop(self) -> None:
        if self._player is not None:
            self._player.stop()
            self._player = None
