"""`coilcount ports`: every serial port, and the board that answered on it."""

import argparse

from coilcount.errors import EXIT_DONE, DeviceError
from coilcount.face.say import say, say_json

EXAMPLES = (
    ("coilcount ports", "which boards are plugged in, and where"),
    ("coilcount ports --json", "the same for programs"),
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--json", action="store_true", help="one JSON object for each port")


def run(args: argparse.Namespace) -> int:
    """Print the ports; raises DeviceError (exit 2) if no board answers."""
    from coilcount.board import ports

    replies = ports.ask(ports.present())
    for reply in replies:
        if args.json:
            say_json(_object(reply))
        else:
            say(_line(reply))
    if not any(reply.hello for reply in replies):
        raise DeviceError("no board found", ports.seen(replies), ports.NO_BOARD)
    return EXIT_DONE


def _object(reply) -> dict:
    port, hello = reply.port, reply.hello
    return {
        "device": port.device,
        "usb_id": port.usb_id or None,
        "serial_number": port.serial_number or None,
        "product": port.product or None,
        "board": hello.board if hello else None,
        "uid": hello.uid if hello else None,
        "firmware": hello.firmware if hello else None,
        "protocol": hello.protocol if hello else None,
        "reason": reply.reason or None,
    }


def _line(reply) -> str:
    port, hello = reply.port, reply.hello
    what = f"{hello.board}, serial number {hello.uid}, firmware {hello.firmware}" if hello else reply.reason
    usb = " ".join(part for part in (port.usb_id, port.serial_number, port.product) if part)
    return f"{port.device}  {usb or '-'}  {'board: ' if hello else ''}{what}"
