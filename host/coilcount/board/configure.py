"""Commands to a board and their answers, by id; and with them the settings of a board, there and back."""

import time
from binascii import crc32
from collections.abc import Callable, Mapping

from coilwire import PROTOCOL, frame, records

from coilcount.board.link import SerialLink
from coilcount.errors import DeviceError, InputError
from coilcount.model import Entry, Line

# PROTOCOL.md: a host that gets no answer within a second sends the same again; values are absolute.
ANSWER_S = 1.0
TRIES = 5
_READ_S = 0.05


class Conversation:
    """Asks over a connected link.  heard() gets every entry that comes meanwhile, the answers included.

    version: the host's, for the message where the board is newer.
    """

    def __init__(self, link: SerialLink, version: str, heard: Callable[[Entry], None] = lambda entry: None) -> None:
        self.link = link
        self._version = version
        self._heard = heard
        # Not those of the conversation before, whose answers may still be under way.
        self._id = 1 + time.monotonic_ns() // 1000 % (records.U32 // 2)

    def ask(self, verb: str, name: str = "", value: int = 0) -> records.Answer:
        """The board's answer.  Raises DeviceError: a newer protocol (it is asked nothing then), or no answer."""
        self._not_newer()
        self._id += 1
        command = records.write(records.Command(self._id, verb, name, value))
        for _ in range(TRIES):
            self.link.send(command)
            until = time.monotonic() + ANSWER_S
            while time.monotonic() < until:
                answer = self._answer()
                if answer:
                    return answer
        raise DeviceError(
            f"the board does not answer to {verb}", self.link.device, "Reset it and try again; see coilcount check"
        )

    def _answer(self) -> records.Answer | None:
        found = None
        for entry in self.link.read(_READ_S):
            self._heard(entry)
            if isinstance(entry, Line) and b"@A," in entry.data:
                sound = frame.parse(entry.data)
                try:
                    record = sound and records.read(sound)
                except ValueError:
                    continue
                if isinstance(record, records.Answer) and record.id == self._id:
                    found = record
        return found

    def _not_newer(self) -> None:
        hello = self.link.hello
        if hello and hello.protocol > PROTOCOL:
            raise DeviceError(
                f"the board speaks protocol {hello.protocol} (firmware {hello.firmware}), coilcount {self._version} "
                f"protocol {PROTOCOL}: it is not configured from here",
                self.link.device,
                "Update coilcount",
            )


def fetch(talk: Conversation) -> dict[str, int]:
    """The settings in force on the board, in its order; checked against the CRC that its hello tells.

    Raises DeviceError.
    """
    for _ in range(TRIES):
        talk.ask("hello")  # the hello comes before the answer
        answer = talk.ask("get")
        values = _values(answer.text)
        hello = talk.link.hello
        if answer.ok and values and hello and settings_crc(values) == hello.settings_crc:
            return values
    raise DeviceError(
        "what the board says of its settings does not agree with its own checksum", talk.link.device, "Reset it"
    )


def send(talk: Conversation, wanted: Mapping[str, int]) -> dict[str, int]:
    """Put `wanted` in force on the board and read everything back; what is in force then.

    Raises InputError where the board refuses a value, DeviceError for all else.
    """
    for name, value in wanted.items():
        answer = talk.ask("set", name, value)
        if not answer.ok:
            raise InputError(
                f"the board refuses {name} = {value}: {answer.text}",
                talk.link.device,
                "Change it in [board]; nothing of this setting has changed on the board",
            )
    values = fetch(talk)
    wrong = [name for name, value in wanted.items() if values.get(name) != value]
    if wrong:
        raise DeviceError(f"the board did not keep {', '.join(wrong)}", talk.link.device, "Reset it, try again")
    return values


def settings_crc(values: Mapping[str, int]) -> int:
    """CRC-32 of the lines `name=value` in the board's order, as its hello tells it (PROTOCOL.md)."""
    return crc32(b"".join(b"%s=%d\n" % (name.encode(), value) for name, value in values.items()))


def _values(text: str) -> dict[str, int]:
    """Of `name=value name=value`; empty where a part of it is none."""
    values = {}
    for part in text.split():
        name, _, number = part.partition("=")
        try:
            values[name] = frame.digits(number.encode())
        except ValueError:
            return {}
    return values
