"""Signals that end a run from outside: Ctrl-C, an ordinary kill, a closed terminal."""

import contextlib
import signal
from collections.abc import Callable, Iterator
from typing import Any


@contextlib.contextmanager
def handled(handler: Callable[..., Any]) -> Iterator[None]:
    """Within the body, SIGINT, SIGTERM and SIGHUP call `handler`."""
    numbers = [getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name)]
    # A signal that is ignored stays ignored: under nohup a recording goes on when its terminal closes.
    numbers = [number for number in numbers if signal.getsignal(number) != signal.SIG_IGN]
    before = {number: signal.signal(number, handler) for number in numbers}
    try:
        yield
    finally:
        for number, old in before.items():
            signal.signal(number, old)


def interrupting() -> contextlib.AbstractContextManager[None]:
    """Within the body, each of the signals raises KeyboardInterrupt, so that everything open is closed in order."""
    return handled(lambda *_: signal.default_int_handler(signal.SIGINT, None))
