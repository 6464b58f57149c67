"""Sends commands to a board and awaits their answers; with them, fetches and sends the board's settings."""

import time
from binascii import crc32
from collections.abc import Callable, Mapping

from coilwire import PROTOCOL, frame, records

from coilcount.board.link import SerialLink
from coilcount.errors import DeviceError, InputError
from coilcount.model import Entry, Line

# s.  A host that gets no answer in this time sends the same command again (PROTOCOL.md).
ANSWER_S = 1.0
# How often a command is sent before the board is reported as not answering.  Chosen by hand.
TRIES = 5
# s that one look at the link lasts.  Chosen by hand.
_READ_S = 0.05


class Conversation:
    """Sends commands over a connected link and awaits the answers.

    version: the host's, for the message if the board speaks a newer protocol.
    heard: called with every entry that comes meanwhile, the answers included.
    """

    def __init__(self, link: SerialLink, version: str, heard: Callable[[Entry], None] = lambda entry: None) -> None:
        self.link = link
        self._version = version
        self._heard = heard
        # Ids differ from those of an earlier conversation, whose answers may still be on their way.
        self._id = 1 + time.monotonic_ns() // 1000 % (records.U32 // 2)

    def ask(self, verb: str, name: str = "", value: int = 0) -> records.Answer:
        """Send a command and return the board's answer.

        Raises DeviceError if the board does not answer, or speaks a newer protocol (then nothing is sent).
        """
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
                f"speaks protocol {PROTOCOL}: it cannot configure this board",
                self.link.device,
                "Update coilcount",
            )


def fetch(talk: Conversation) -> dict[str, int]:
    """The settings in force on the board, in its order, checked against the CRC in its hello.

    Raises DeviceError if the board does not answer or the check fails.
    """
    for _ in range(TRIES):
        talk.ask("hello")  # the hello comes before the answer
        answer = talk.ask("get")
        values = _values(answer.text)
        hello = talk.link.hello
        if answer.ok and values and hello and settings_crc(values) == hello.settings_crc:
            return values
    raise DeviceError(
        "the settings that the board sent do not agree with its own checksum", talk.link.device, "Reset it, try again"
    )


def send(talk: Conversation, wanted: Mapping[str, int]) -> dict[str, int]:
    """Put `wanted` in force on the board, read all settings back and return them.

    Raises InputError if the board refuses a value, DeviceError for every other failure.
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
    """CRC-32 of the lines `name=value` in the board's order, as in its hello (PROTOCOL.md)."""
    return crc32(b"".join(b"%s=%d\n" % (name.encode(), value) for name, value in values.items()))


def _values(text: str) -> dict[str, int]:
    """The values in a text such as `name=value name=value`; empty if a part of it has another form."""
    values = {}
    for part in text.split():
        name, _, number = part.partition("=")
        try:
            values[name] = frame.digits(number.encode())
        except ValueError:
            return {}
    return values
