"""Asks a person at the terminal for readings, one line each."""

from collections.abc import Callable, Sequence

from coilcount.errors import InputError
from coilcount.face.say import say

# Words for an open circuit, as meters show it.
OPEN_WORDS = ("open", "ol")
SKIP = "-"


class NoMoreAnswers(Exception):
    """The person closed the input (Ctrl-D)."""


def ask_choice(question: str, known: Sequence[str], usual: str) -> str:
    """One of the words in `known`; Enter takes `usual`.  Raises NoMoreAnswers."""
    say("", question)
    while True:
        word = _line(f"  {' | '.join(known)} [{usual}]: ").lower()
        if not word:
            return usual
        if word in known:
            return word
        say(f"  Give one of {', '.join(known)}, or press Enter for {usual}")


def ask_number(
    how: str, facts: str, unit: str, check: Callable[[float], None], last: float | None, open_value: float | None
) -> float | None:
    """A reading, or None if it was skipped.

    how, facts: what to measure and what is expected; check: raises InputError for an impossible number; last: of an
    earlier run, kept with Enter; open_value: stands for an open circuit, None if the words for it are not allowed.
    Raises NoMoreAnswers.
    """
    say("", how, f"  {facts}")
    usual = "Enter skips" if last is None else f"Enter keeps {last:g} of the last check, {SKIP} skips"
    while True:
        word = _line(f"  {unit} ({usual}): ").lower().removesuffix(unit.lower()).strip().replace(",", ".")
        if not word:
            return last
        if word == SKIP:
            return None
        if open_value is not None and word in OPEN_WORDS:
            return open_value
        try:
            value = float(word)
            check(value)
        except ValueError:
            say(f"  Give a number in {unit}, or press Enter")
        except InputError as error:
            say(f"  {error}")
        else:
            return value


def _line(prompt: str) -> str:
    try:
        return input(prompt).strip()
    except EOFError:
        say("")
        raise NoMoreAnswers from None
