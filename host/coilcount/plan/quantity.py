"""Reads quantities, which always need their unit: 10cm, 25k, 180 nF, 0.5 m/s."""

import re

from coilcount.errors import InputError

PREFIX = {"p": 1e-12, "n": 1e-9, "u": 1e-6, "µ": 1e-6, "m": 1e-3, "c": 1e-2, "": 1.0, "k": 1e3, "M": 1e6}
_NUMBER = re.compile(r"\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*(\S*)\s*", re.ASCII)
# Units that may be left out after a prefix, as in 25k and 180n.  Not so for lengths: a lone "m" would be ambiguous.
_PREFIX_IS_ENOUGH = ("Hz", "F", "H")


def quantity(text: str, unit: str, name: str, low: float, high: float, example: str) -> float:
    """Read the value of `text` in `unit`, with or without an SI prefix.

    name, example: the option and how to write it, for the message.  Raises InputError if `text` is no such quantity, or
    if it does not lie between low and high.
    """
    found = _NUMBER.fullmatch(text)
    factor = None if found is None else _factor(found[2], unit)
    if factor is None:
        raise InputError(f'{name} is "{text}"', remedy=f"Write it with its unit: {example}")
    value = float(found[1]) * factor
    if not low <= value <= high:
        raise InputError(
            f"{name} is {text.strip()}", remedy=f"It must lie between {shown(low, unit)} and {shown(high, unit)}"
        )
    return value


def shown(value: float, unit: str) -> str:
    """Write a value with its usual prefix: 0.1 m as 10 cm."""
    if unit == "m":
        return f"{value:g} m" if value >= 1 else f"{value * 100:g} cm" if value >= 0.01 else f"{value * 1e3:g} mm"
    for prefix in ("M", "k", "", "m", "u", "n"):
        if value >= PREFIX[prefix] * (1 - 1e-9) and unit in ("Hz", "F", "H", "V", "A", "Ah"):
            return f"{value / PREFIX[prefix]:g} {prefix}{unit}"
    return f"{value:g} {unit}"


def _factor(word: str, unit: str) -> float | None:
    if word.endswith(unit) and word[: -len(unit)] in PREFIX:
        return PREFIX[word[: -len(unit)]]
    if unit in _PREFIX_IS_ENOUGH and word in PREFIX and word:
        return PREFIX[word]
    return None
