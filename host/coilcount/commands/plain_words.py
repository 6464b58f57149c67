"""Puts the messages of argparse into our own words, for every command."""

import re

from coilcount.errors import InputError, did_you_mean

_OPTION = re.compile(r"argument ([^:]+): (.*)", re.DOTALL)
_MISSING = re.compile(r"the following arguments are required: (.*)", re.DOTALL)
_CHOICE = re.compile(r"invalid choice: (.*) \(choose from (.*)\)", re.DOTALL)
_VALUE = re.compile(r"invalid (\w+) value: (.*)", re.DOTALL)
_KINDS = {"int": "a whole number", "float": "a number"}


def plain_error(message: str, program: str) -> InputError:
    """Return the error for a message of argparse; program: the command, such as "coilcount plan"."""
    help_line = f"See {program} --help"
    missing = _MISSING.fullmatch(message)
    if missing:
        several = "," in missing[1]
        return InputError(f"{missing[1].replace(', ', ' and ')} {'are' if several else 'is'} missing", remedy=help_line)
    found = _OPTION.fullmatch(message)
    if found is None:
        return InputError(message, remedy=help_line)
    name, problem = found[1].split("/")[-1], found[2]
    choice, value = _CHOICE.fullmatch(problem), _VALUE.fullmatch(problem)
    if choice:
        known = tuple(word.strip(" '\"") for word in choice[2].split(","))
        word = choice[1].strip("'\"")
        return InputError(f'{name} is "{word}"', remedy=did_you_mean(word, known))
    if value:
        kind = _KINDS.get(value[1], f"a {value[1]}")
        word = value[2].strip("'\"")
        return InputError(f'{name} is "{word}"', remedy=f"Give {kind}")
    if problem.startswith("expected one argument"):
        return InputError(f"{name} needs a value", remedy=help_line)
    if problem.startswith("expected at least one argument"):
        return InputError(f"{name} needs at least one value", remedy=help_line)
    if problem.startswith("not allowed with argument"):
        other = problem.split()[-1].split("/")[-1]
        return InputError(f"{name} and {other} are both given", remedy="Give one of them")
    if problem.startswith("ignored explicit argument"):
        return InputError(f"{name} takes no value", remedy=help_line)
    return InputError(f"{name}: {problem}", remedy=help_line)
