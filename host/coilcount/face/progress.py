"""A line on a terminal's stderr for whoever waits; nothing where it is no terminal or over soon."""

import time
from collections.abc import Callable, Iterable, Iterator
from typing import TextIO, TypeVar

T = TypeVar("T")

_AFTER_S = 2.0  # what is over sooner shows nothing
_EVERY_S = 0.5
_LOOK_EVERY = 1000  # items: the clock is not read for each
_WIDTH = 78


class Progress:
    """say() what is done now, or take items out of over(); clear() before anything else is printed, and at the end."""

    def __init__(self, out: TextIO, clock: Callable[[], float] = time.monotonic) -> None:
        self._out = out
        self._clock = clock
        self._on = out.isatty()
        self._shown = False
        self._begun_s = self._last_s = clock()

    def say(self, step: str) -> None:
        """Show a step of the work, if it has been going on for a while."""
        now_s = self._clock()
        if self._on and now_s - self._begun_s >= _AFTER_S:
            self._last_s = now_s
            self._shown = True
            self._out.write("\r" + f"coilcount: {step} ...".ljust(_WIDTH)[:_WIDTH])
            self._out.flush()

    def over(self, step: str, items: Iterable[T], share: Callable[[int], float] | None = None) -> Iterator[T]:
        """The items; shown with them is share(number of items so far), from 0 to 1, where that is known."""
        if not self._on:
            yield from items
            return
        for number, item in enumerate(items):
            if number % _LOOK_EVERY == 0 and self._clock() - self._last_s >= _EVERY_S:
                self.say(step if share is None else f"{step}, {share(number):.0%}")
            yield item
        self.clear()

    def clear(self) -> None:
        """Take the line away."""
        if self._shown:
            self._shown = False
            self._out.write("\r" + " " * _WIDTH + "\r")
            self._out.flush()
