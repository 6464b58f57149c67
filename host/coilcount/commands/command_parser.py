"""The command line's grammar: the table of commands, their parsers, and the messages for misspelt words.

A command is a module in `commands` with `add_arguments(parser)`, `run(args) -> int` and `EXAMPLES`.  A module is
imported only if its command is asked for, so that `coilcount --help` is quick.
"""

import argparse
import importlib
import itertools
from collections.abc import Container, Sequence
from dataclasses import dataclass
from types import ModuleType
from typing import NoReturn

from coilcount import __version__
from coilcount.errors import InputError, did_you_mean

# command: (module in commands, one line of help).  The order is the order of the work.
COMMANDS = {
    "plan": ("plan", "compute a coil, its capacitor and what it will find, before winding it"),
    "live": ("live", "show the readout while sweeping"),
    "record": ("record", "record what the board sends; alerts as plain lines"),
    "replay": ("replay", "run the tracker over captures"),
    "report": ("report", "write a page to look at recordings, label them and choose a threshold"),
    "noise": ("noise", "measure noise and drift, and pick the threshold for a false-alarm rate"),
    "label": ("label", "say what lay under the coil: list, add, change, remove, import, propose"),
    "captures": ("captures", "list the recordings in folders: date, length, build, labels, whole or damaged"),
    "tune": ("tune", "pick the threshold by labelled recordings: detections against false alarms"),
    "compare": ("compare", "compare two builds over one course, or two settings on the same captures"),
    "inspect": ("inspect", "show what a capture holds, and whether it is whole"),
    "import": ("import_log", "turn readings of another counter (CSV) into a capture"),
    "export": ("export", "write a capture's readings as CSV"),
    "simulate": ("simulate", "compute a capture from a scene, with its truth as labels"),
    "scenes": ("scenes", "list the built-in scenes"),
    "virtual": ("virtual", "offer a simulated board as a port that other programs can open"),
    "ports": ("ports", "list the serial ports and the boards that answer"),
    "install": ("install", "put the firmware on a board"),
    "check": ("check", "test a board, its crystal, its link and its coil"),
    "settings": ("settings", "show the settings in force; send them to a board or fetch the board's own"),
    "cache": ("cache", "show or clear the results of replays that are kept for a second look"),
    "completion": ("completion", "print the script that completes coilcount's words in a shell"),
    "help": ("help", "show what a command takes"),
}
_EXAMPLES = (
    ("coilcount live --virtual", "sweep with a simulated board; q quits"),
    ("coilcount live --record", "sweep with the board that is plugged in, and keep the recording"),
    ("coilcount help replay", "what a command takes, with examples"),
)


@dataclass(frozen=True)
class Grammar:
    """The parser of `coilcount` alone, and the parsers and modules of its commands by name."""

    top: argparse.ArgumentParser
    commands: dict[str, argparse.ArgumentParser]
    modules: dict[str, ModuleType]


class _Formatter(argparse.HelpFormatter):
    """Keeps the lines of a text that has several, such as a list of examples; wraps any other text."""

    def _fill_text(self, text: str, width: int, indent: str) -> str:
        return text if "\n" in text else super()._fill_text(text, width, indent)


class _Parser(argparse.ArgumentParser):
    """Raises InputError, which becomes one line, instead of printing the usage and leaving."""

    def error(self, message: str) -> NoReturn:
        from coilcount.commands.plain_words import plain_error

        raise plain_error(message, self.prog)


def make_grammar(loaded: Container[str]) -> Grammar:
    """The grammar; only the commands in `loaded` are imported and have their arguments."""
    top = _Parser(
        prog="coilcount",
        formatter_class=_Formatter,
        description="Counts a search coil's frequency, tracks it, and tells ferrous from non-ferrous by the sign "
        "of the shift. No safety device, and never for ordnance.",
        epilog=f"{examples_text(_EXAMPLES)}\n\nEvery command has --help.",
    )
    top.add_argument("--version", action="version", version=f"coilcount {__version__}")
    words = top.add_subparsers(metavar="COMMAND", title="commands", parser_class=_Parser)
    commands, modules = {}, {}
    for name, (module_name, summary) in COMMANDS.items():
        description = summary[0].upper() + summary[1:] + "."
        commands[name] = words.add_parser(name, help=summary, description=description, formatter_class=_Formatter)
        if name in loaded:
            modules[name] = importlib.import_module(f"coilcount.commands.{module_name}")
            modules[name].add_arguments(commands[name])
            commands[name].epilog = examples_text(modules[name].EXAMPLES)
    return Grammar(top, commands, modules)


def examples_text(examples: Sequence[tuple[str, str]]) -> str:
    """The end of a help text: each command line, and under it what it does."""
    return "examples:\n" + "\n".join(f"  {line}\n      {meaning}" for line, meaning in examples)


def parse(parser: argparse.ArgumentParser, words: Sequence[str]) -> argparse.Namespace:
    """The arguments of one command.  Options may stand before, between and after the files.

    Raises InputError for words that do not fit.
    """
    check_options(parser, words)
    for word in itertools.takewhile(lambda word: word != "--", words):
        if word in ("-h", "--help"):
            # Intermixed parsing cannot print the help: it formats the usage twice, and fails at "5%".
            parser.parse_args([word])
    # Plain parsing takes FILE as missing if an option stands between ACTION and FILE.  Intermixed parsing loses "--".
    read = parser.parse_known_args if "--" in words else parser.parse_known_intermixed_args
    args, left = read(list(words))
    if left:
        if left[0].startswith("-"):
            raise InputError(f"there is no option {left[0]}", remedy=f"See {parser.prog} --help")
        raise InputError(f'"{left[0]}" is one word too many', remedy=f"See {parser.prog} --help")
    return args


def check_options(parser: argparse.ArgumentParser, words: Sequence[str]) -> None:
    """Raises InputError for the first option that the parser does not have, with the one that was probably meant."""
    known = [option for option in parser._option_string_actions if option.startswith("--")]
    for word in words:
        if word == "--":
            return
        option = word.partition("=")[0]
        # A word with a space in it is a value: argparse reads it so, too.
        if not word.startswith("--") or " " in word or any(name.startswith(option) for name in known):
            continue
        near = did_you_mean(option, known)
        hint = f"{near} " if near.startswith("Did") else ""
        raise InputError(f"there is no option {option}", remedy=f"{hint}See {parser.prog} --help")


def check_command(word: str) -> None:
    """Raises InputError if there is no such command."""
    if word not in COMMANDS:
        raise InputError(
            f'there is no command "{word}"', remedy=did_you_mean(word, tuple(COMMANDS)) + " See coilcount --help"
        )
