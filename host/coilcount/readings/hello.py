"""What a board reports about itself: read from a capture's header, and compared with this host."""

from typing import Any

from coilwire import PROTOCOL, frame, records

# Assumed if there is no hello: an RP2040 at 125 MHz, a tick of 2 cycles (16 ns), intervals of 20 ms.
ASSUMED_HELLO = records.Hello(PROTOCOL, "", "", "", 0, 0, 125_000_000, 2, 20, 0, records.LAYOUT)


def hello_of(board: dict[str, Any]) -> records.Hello | None:
    """Return the hello in a capture's header, or None if it is not one of this protocol version.

    board: the header's table of the board.
    """
    try:
        hello = records.Hello(**{name: board[name] for name in records.Hello._fields})
        return records.read(frame.parse(records.write(hello).rstrip()))
    except (KeyError, TypeError, ValueError, AttributeError):
        return None


def mismatches(hello: records.Hello, version: str) -> list[str]:
    """Return warnings for the user if the board does not fit this host, whose version is `version`."""
    texts = []
    if hello.protocol > PROTOCOL:
        texts.append(
            f"the board speaks protocol {hello.protocol}, this version of coilcount protocol {PROTOCOL}: everything is "
            "recorded, but records and fields that are new are not read. Update coilcount"
        )
    theirs, ours = _version(hello.firmware), _version(version)
    if theirs and ours and theirs != ours:
        texts.append(
            f"the board has firmware {hello.firmware}, this is coilcount {version}. Put the matching firmware on the "
            "board, or update coilcount"
        )
    return texts


def _version(text: str) -> tuple[str, ...] | None:
    """Return major and minor of a version like `1.2.3`, or None for other text (that of a simulated board)."""
    parts = text.split(".")
    return tuple(parts[:2]) if len(parts) > 1 and all(part.isdecimal() for part in parts[:2]) else None
