"""One turn of the live loop.

What the board sent and what the operator did goes to the capture first, then to the chain, then to whatever shows it.
This order holds for everything, so a replay sees what live saw.  Behind the capture stands a boundary: a failure in
interpreting or showing ends no recording.  The clock is handed in; no port, terminal or file is opened here.
"""

from collections.abc import Callable, Sequence
from typing import Protocol

from coilcount.errors import StorageError
from coilcount.live.boundary import Boundary
from coilcount.live.rate_words import asked_words, next_rate
from coilcount.live.readout import Readout
from coilcount.model import Entry, Header, Notice, Operator, Output, Point, Silence, Summary

MESSAGE_STAYS_S = 4.0
NOTICE_STAYS_S = 15.0
FROZEN_GOOD = "frozen: good to 1 ppm for 4 s outdoors, 9 s on a bench (by simulation)"
# Seconds without a line after which the screen says so.  A board sends a line each second, even if its oscillator has
# stopped.  It is only reported: a silence is not an unplug.  Chosen by hand.
SILENT_S = 8.0
_FAILED = object()
# A board sends a status each second, and the rate is measured from one to the next.
RATE_STAYS_S = 2.5


class LineSource(Protocol):
    """Where lines come from: what the session needs of a link."""

    problem: str
    reconnections: int

    def read(self, wait_s: float) -> list[Entry]: ...
    def close(self) -> list[Entry]: ...


class Writer(Protocol):
    """What the session needs of a capture's writer.  late_s: for how long the disk has not confirmed what came."""

    late_s: float

    def write(self, entry: Entry) -> None: ...
    def tick(self, host_s: float) -> None: ...
    def close(self, status: str = "closed") -> None: ...


class View(Protocol):
    """Something that shows outputs: the screen, plain lines, JSON, the speaker.  part: what it is, as "the screen"."""

    part: str

    def show(self, output: Output) -> None: ...
    def tick(self, host_s: float) -> None: ...


class Session:
    """step() until it says False, then close().

    chain: coilcount.chain.Chain; keep: takes every output but the points, for a table at the end; ended: whether the
    source will send nothing more (a scene that is over); boundary: reports what fails behind the capture.
    """

    def __init__(
        self,
        *,
        link: LineSource,
        chain,
        readout: Readout,
        views: Sequence[View],
        clock: Callable[[], float],
        header: Header,
        writer: Writer | None = None,
        keep: Callable[[Output], None] | None = None,
        keys: Callable[[], Sequence[str]] = tuple,
        ended: Callable[[], bool] = bool,
        for_s: float | None = None,
        boundary: Boundary | None = None,
    ) -> None:
        self.over = False
        self._boundary = boundary or Boundary()
        self.readout = readout
        readout.estimate = chain.estimate
        self._link = link
        self._chain = chain
        self._views = list(views)
        self._clock = clock
        self._writer = writer
        self._keep = keep
        self._keys = keys
        self._ended = ended
        self._until_s = None if for_s is None else clock() + for_s
        self._marks = 0
        self._message_until_s = 0.0
        self._heard_s = clock()
        # The writer has the header already: it is the first line of the file.
        self._interpret(header)

    def step(self, wait_s: float = 0.1) -> bool:
        """Take what has come within wait_s, obey the keys, redraw; False once it is over."""
        ended = self._ended()
        entries = self._link.read(wait_s)
        for entry in entries:
            self._take(entry)
        if entries:
            self._heard_s = self._clock()
        for key in self._boundary.call("the keyboard", self._keys, otherwise=()):
            self.press(key)
        now = self._clock()
        self._store("tick", now)
        self._boundary.call("the readout", self._refresh, now)
        for view in tuple(self._views):
            self._view(view, view.tick, now)
        if (ended and not entries) or (self._until_s is not None and now >= self._until_s):
            self.over = True
        return not self.over

    def stop(self) -> None:
        """The step under way is the last one; may be called from a signal handler."""
        self.over = True

    def press(self, key: str) -> None:
        """One key of the keyboard; unknown ones do nothing."""
        facts = self.readout.facts
        if key in ("q", "Q"):
            self.over = True
        elif key in ("m", "M"):
            self._marks += 1
            self._operate("mark", text=f"key {self._marks}")
            self.say(f"mark {self._marks}")
        elif key in ("f", "F"):
            again = facts.frozen_since_host_s is not None
            self._operate("freeze")
            facts.frozen_since_host_s = self._clock()
            self.say("baseline set again: to what the coil reads now" if again else FROZEN_GOOD)
        elif key in ("g", "G") and facts.frozen_since_host_s is not None:
            self._operate("thaw")
            facts.frozen_since_host_s = None
            self.say("the baseline tracks again")
        elif key in ("+", "="):
            self._ask(more=True)
        elif key in ("-", "_"):
            self._ask(more=False)
        elif key == "?":
            facts.help_shown = not facts.help_shown
        elif key in ("b", "B"):
            facts.theme = "standard" if facts.theme == "bright" else "bright"
        elif key in ("s", "S"):
            facts.sound_on = not facts.sound_on
            self.say("sound on" if facts.sound_on else "sound off")

    def say(self, text: str, stays_s: float = MESSAGE_STAYS_S) -> None:
        """A line for the person at the screen, for a few seconds."""
        self.readout.facts.message = text
        self._message_until_s = self._clock() + stays_s

    def close(self, status: str = "closed") -> Summary | None:
        """Take what is left, close the capture with `status`, let the chain finish; its summary."""
        summary = None
        try:
            for entry in self._link.close():
                self._take(entry)
        finally:
            try:
                self._store("close", status)
            finally:
                for output in self._boundary.call("the tracking", self._chain.finish, otherwise=()):
                    if isinstance(output, Summary):
                        summary = output
                    self._show([output])
        return summary

    def _operate(self, action: str, value: float | None = None, text: str = "") -> None:
        self._take(Operator(self._clock(), action, value, text))

    def _ask(self, more: bool) -> None:
        """Ask for the next rate of false alarms; a fixed threshold is left by that."""
        before = self._chain.false_alarms_per_minute
        rate = next_rate(before, more)
        if rate != before:
            self._operate("false_alarms", rate)
        self.say(asked_words(rate) + ("; the fixed threshold is left" if before is None else ""))

    def _take(self, entry: Entry) -> None:
        self._store("write", entry)
        self._interpret(entry)

    def _interpret(self, entry: Entry) -> None:
        self._show(self._boundary.call("the tracking", self._chain.feed, entry, otherwise=()))

    def _store(self, method: str, value: Entry | float | str) -> None:
        """One call of the writer.  Where it fails the capture is closed and whole: it is not called again."""
        writer = self._writer
        if writer is None:
            return
        try:
            getattr(writer, method)(value)
        except StorageError:
            self._writer = None
            raise

    def _show(self, outputs: Sequence[Output]) -> None:
        for output in outputs:
            self._boundary.call("the readout", self._read, output)
            for view in tuple(self._views):
                self._view(view, view.show, output)

    def _read(self, output: Output) -> None:
        self.readout.take(output)
        if isinstance(output, Notice):
            self.say(output.text, NOTICE_STAYS_S)
        elif isinstance(output, Silence) and self.readout.facts.frozen_since_host_s is not None:
            # Behind a gap the tracker freezes on the first thing that comes.
            self.readout.facts.frozen_since_host_s = self._clock()
            self.say("the frozen baseline is lost in the gap: press f next to the target", NOTICE_STAYS_S)
        if self._keep and not isinstance(output, Point):
            self._keep(output)

    def _view(self, view: View, do: Callable[..., None], value: Output | float) -> None:
        if self._boundary.call(view.part, do, value, otherwise=_FAILED) is _FAILED and self._boundary.gone(view.part):
            self._views.remove(view)

    def _refresh(self, now: float) -> None:
        facts = self.readout.facts
        self.readout.chain = self._chain.facts()
        facts.host_s = now
        facts.disk_late_s = getattr(self._writer, "late_s", 0.0)
        facts.reconnections = self._link.reconnections
        problem = self._link.problem
        if not problem and now - self._heard_s > SILENT_S:
            problem = "connected, but silent"
        if problem and not facts.problem:
            facts.problem_since_host_s = self._heard_s
        facts.problem = problem
        # The chain's rate is that of the last second with a status: it says nothing once nothing comes.
        quiet = bool(problem) or now - self._heard_s > RATE_STAYS_S
        facts.rate_hz = 0.0 if quiet else self.readout.chain.rate_hz
        if facts.message and now > self._message_until_s:
            facts.message = ""
