"""What a board says of itself: from a capture's header, and whether it fits this host."""

from typing import Any

from coilwire import PROTOCOL, frame, records

# Where nothing was said: an RP2040 at 125 MHz, a tick each 2 cycles.
TAKEN_FOR_GRANTED = records.Hello(PROTOCOL, "", "", "", 0, 0, 125_000_000, 2, 20, 0, records.LAYOUT)


def hello_of(board: dict[str, Any]) -> records.Hello | None:
    """The hello that a capture's header holds, or None where it is not one of today's."""
    try:
        hello = records.Hello(**{name: board[name] for name in records.Hello._fields})
        return records.read(frame.parse(records.write(hello).rstrip()))
    except (KeyError, TypeError, ValueError, AttributeError):
        return None


def mismatches(hello: records.Hello, version: str) -> list[str]:
    """What a person should know when the board and the host, whose version is `version`, are not of one kind."""
    texts = []
    if hello.protocol > PROTOCOL:
        texts.append(
            f"the board speaks protocol {hello.protocol}, this version {PROTOCOL}: what it says is recorded, and read "
            "as far as it is known here. Update coilcount"
        )
    theirs, ours = _version(hello.firmware), _version(version)
    if theirs and ours and theirs != ours:
        texts.append(
            f"firmware {hello.firmware} on the board, coilcount {version} here. Put the matching firmware on the "
            "board, or update coilcount"
        )
    return texts


def _version(text: str) -> tuple[str, ...] | None:
    """Major and minor of `1.2.3`; None for what is no version (a simulated board)."""
    parts = text.split(".")
    return tuple(parts[:2]) if len(parts) > 1 and all(part.isdecimal() for part in parts[:2]) else None
