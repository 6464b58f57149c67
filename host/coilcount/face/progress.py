"""A line of progress on stderr.  It shows nothing if stderr is no terminal, or if the work takes under two seconds."""

import time
from collections.abc import Callable, Iterable, Iterator
from typing import TextIO, TypeVar

T = TypeVar("T")

# All four chosen by hand.
_AFTER_S = 2.0  # s; work that ends sooner shows nothing
_EVERY_S = 0.5  # s between two changes of the line
_LOOK_EVERY = 1000  # items between two looks at the clock
_WIDTH = 78  # columns


class Progress:
    """Show a step with say(), or wrap the items of a long loop in over().

    Call clear() before anything else is printed, and at the end.
    """

    def __init__(self, out: TextIO, clock: Callable[[], float] = time.monotonic) -> None:
        self._out = out
        self._clock = clock
        self._on = out.isatty()
        self._shown = False
        self._begun_s = self._last_s = clock()

    def say(self, step: str) -> None:
        """Show a step of the work, if the work has already taken two seconds."""
        now_s = self._clock()
        if self._on and now_s - self._begun_s >= _AFTER_S:
            self._last_s = now_s
            self._shown = True
            self._out.write("\r" + f"coilcount: {step} ...".ljust(_WIDTH)[:_WIDTH])
            self._out.flush()

    def over(self, step: str, items: Iterable[T], share: Callable[[int], float] | None = None) -> Iterator[T]:
        """Yields the items.  share: gives the part that is done, 0 to 1, from the number of items so far."""
        if not self._on:
            yield from items
            return
        for number, item in enumerate(items):
            if number % _LOOK_EVERY == 0 and self._clock() - self._last_s >= _EVERY_S:
                self.say(step if share is None else f"{step}, {share(number):.0%}")
            yield item
        self.clear()

    def clear(self) -> None:
        """Remove the line."""
        if self._shown:
            self._shown = False
            self._out.write("\r" + " " * _WIDTH + "\r")
            self._out.flush()
