"""`coilcount settings show|send|fetch`: the settings in force and their origin; to a board and back."""

import argparse
import contextlib
import json
import os
import textwrap
import time
from collections.abc import Iterator

from coilcount import __version__
from coilcount.commands.common_options import add_settings
from coilcount.errors import EXIT_DONE, InputError
from coilcount.face.json_out import as_json
from coilcount.face.say import say, say_json
from coilcount.text import printable

_COLUMNS = 80
_FEW = 8  # numbers that go on one line

EXAMPLES = (
    ("coilcount settings show", "every setting, its value and the file it comes from"),
    ("coilcount settings show --toml", "a settings file with every key, to begin from"),
    ("coilcount settings send --settings field.toml", "the [board] section to the board that is plugged in"),
    ("coilcount settings fetch --port /dev/ttyACM0 board.toml", "the board's own settings to a file"),
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "action",
        choices=("show", "send", "fetch"),
        help="show: print the settings in force; send: their [board] section to a board; fetch: read a board's own",
    )
    parser.add_argument(
        "file", nargs="?", metavar="FILE", help="fetch: a settings file to write instead of printing; it must not exist"
    )
    add_settings(parser)
    parser.add_argument("--port", help="send, fetch: device, URL or a board's serial number")
    form = parser.add_mutually_exclusive_group()
    form.add_argument("--json", action="store_true", help="one JSON object")
    form.add_argument("--toml", action="store_true", help="show: print a settings file with every key, to begin from")


def run(args: argparse.Namespace) -> int:
    if args.file is not None and args.action != "fetch":
        raise InputError(f"settings {args.action} writes no file", args.file, "See coilcount settings --help")
    if args.action == "fetch" and args.settings is not None:
        raise InputError("settings fetch reads the board, not a file", args.settings, "Leave --settings out")
    if args.action != "show" and args.toml:
        raise InputError(f"settings {args.action} has no --toml", remedy="Leave it out")
    if args.action == "show" and args.port is not None:
        raise InputError("settings show asks no board", args.port, "Use settings fetch, or leave --port out")
    return {"show": _show, "send": _send, "fetch": _fetch}[args.action](args)


def _send(args: argparse.Namespace) -> int:
    from coilcount.board import configure
    from coilcount.settings import load_settings

    settings = load_settings(args.settings)
    with _conversation(args.port) as talk:
        values = configure.send(talk, settings.board)
    if args.json:
        say_json(_object(talk, values))
    else:
        for name, value in values.items():
            say(f"{name} = {value}  {settings.origins.get(f'board.{name}', 'the board')}")
        say(f"in force and kept on {_board(talk)}")
    return EXIT_DONE


def _fetch(args: argparse.Namespace) -> int:
    from coilcount.board import configure

    with _conversation(args.port) as talk:
        values = configure.fetch(talk)
    if args.json:
        text = as_json(_object(talk, values)) + "\n"
    else:
        text = f"# fetched from {printable(_board(talk))}\n" + _section(values)
    if args.file is None:
        say(*text.rstrip("\n").split("\n"))
        return EXIT_DONE
    from coilcount.capture.failures import cannot_write
    from coilcount.new_files import new_file

    try:
        with new_file(args.file) as out:
            out.write(text)
    except OSError as error:
        raise cannot_write(error, args.file) from None
    say(f"{len(values)} settings of {_board(talk)} to {args.file}")
    return EXIT_DONE


@contextlib.contextmanager
def _conversation(port: str | None) -> Iterator:
    from coilcount.board import ports
    from coilcount.board.configure import Conversation
    from coilcount.board.link import SerialLink

    link = SerialLink(ports.choose(port or ""), time.monotonic)
    try:
        link.connect()
        yield Conversation(link, __version__)
    finally:
        link.close()


def _board(talk) -> str:
    hello = talk.link.hello
    return f"{hello.board} {hello.uid}, firmware {hello.firmware}"


def _object(talk, values: dict[str, int]) -> dict:
    hello = talk.link.hello
    return {
        "kind": "board settings",
        "port": talk.link.device,
        "uid": hello.uid,
        "firmware": hello.firmware,
        "settings_crc": hello.settings_crc,
        "board": values,
    }


def _section(values: dict[str, int]) -> str:
    """A settings file of the [board] section; keys that this version does not know become comments."""
    from coilcount.settings import SCHEMA, SECTIONS

    known = {row.name: row for row in SECTIONS["board"]}
    lines = [f"schema = {SCHEMA}", "", "[board]"]
    for name, value in values.items():
        row = known.get(name)
        unknown = f"# {printable(name)} = {value}  (not known here)"
        lines.append(f"{name} = {value}  # {row.help} ({row.unit})" if row else unknown)
    return "\n".join(lines) + "\n"


def _show(args: argparse.Namespace) -> int:
    from coilcount.settings import SCHEMA, SECTIONS, load_settings

    settings = load_settings(args.settings)
    if args.toml:
        say(*settings.to_toml().rstrip("\n").split("\n"))
        return EXIT_DONE
    values = settings.as_dict()
    if args.json:
        shown = {
            section: {
                row.name: {
                    "value": values[section][row.name],
                    "unit": row.unit,
                    "from": settings.origins[f"{section}.{row.name}"],
                }
                for row in rows
            }
            for section, rows in SECTIONS.items()
        }
        say_json({"kind": "settings", "schema": SCHEMA, "sha256": settings.sha256(), "settings": shown})
        return EXIT_DONE
    for section, rows in SECTIONS.items():
        say(f"[{section}]")
        for row in rows:
            value = values[section][row.name]
            many = isinstance(value, list) and len(value) > _FEW
            shown = f"{len(value)} numbers, {row.unit}" if many else f"{json.dumps(value)} {row.unit}"
            if value == []:
                shown = "none"
            say(f"  {row.name:<24} {shown:<28} {settings.origins[f'{section}.{row.name}']}")
            if many:
                text = "  ".join(json.dumps(number) for number in value)
                say(*textwrap.wrap(text, _COLUMNS, initial_indent="    ", subsequent_indent="    "))
    say(f"sha256 {settings.sha256()}", *_places(args.settings))
    return EXIT_DONE


def _places(given: str | None) -> Iterator[str]:
    """The settings files in the order in which they are looked for, and which of them is read."""
    from coilcount.settings import FILE_NAME, user_file

    yield "The first of these files that exists is read, and no other:"
    own = user_file(os.environ)
    rest = [("in the working folder", FILE_NAME), ("your own, for every folder", None if own is None else str(own))]
    places = [("--settings", given), *rest]
    read = given or next((path for _, path in rest if path and os.path.isfile(path)), None)
    for name, path in places:
        state = "not given" if path is None else "read" if path == read else "not read" if given else "not there"
        if path and path != read and os.path.isfile(path):
            state = "there, not read"
        yield f"  {name:<27} {path or '-'}  ({state})"
