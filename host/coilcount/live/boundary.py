"""The boundary between recording and showing: what fails behind it is reported once and ends no recording.

What was received is in the capture before anything here runs, so nothing is lost by a failure: the capture can be
replayed.
"""

from collections.abc import Callable
from typing import Any

from coilcount.errors import CoilcountError


class Boundary:
    """call() whatever interprets or shows.

    recording: whether a capture is being written; where none is, failures pass through, since nothing is worth going
    on for.  report: takes the sentence for a person, once for each part that fails.  clock: gives the host time in s.
    failures: the sentences so far.
    """

    def __init__(
        self,
        recording: Callable[[], bool] = lambda: False,
        report: Callable[[str], None] = lambda sentence: None,
        clock: Callable[[], float] = lambda: 0.0,
    ) -> None:
        self.failures: list[str] = []
        self._recording = recording
        self._report = report
        self._clock = clock
        self._failed: dict[str, Exception] = {}

    def call(self, part: str, do: Callable[..., Any], *arguments: Any, otherwise: Any = None) -> Any:
        """do(*arguments), or `otherwise` where it fails; part: what fails, as "the screen"."""
        try:
            return do(*arguments)
        except Exception as error:
            if not self._recording():
                raise
            self._note(part, error)
            return otherwise

    def failed(self, part: str) -> bool:
        """Whether this part has failed at least once."""
        return part in self._failed

    def gone(self, part: str) -> bool:
        """Whether this part failed for a terminal, pipe or disk that was closed or is full: it will fail again."""
        return isinstance(self._failed.get(part), OSError)

    def _note(self, part: str, error: Exception) -> None:
        if part in self._failed:
            return
        self._failed[part] = error
        seconds = self._clock()
        sentence = (
            f"{part} failed at {int(seconds // 60)}:{seconds % 60:04.1f} ({_why(error)}); recording goes on; the "
            "capture can be replayed"
        )
        self.failures.append(sentence)
        self._report(sentence)


def _why(error: Exception) -> str:
    if isinstance(error, OSError) and error.strerror:
        return error.strerror
    if isinstance(error, CoilcountError):
        return str(error)
    return f"{type(error).__name__}: {error}" if str(error) else type(error).__name__
