"""Reads quantities, which always need their unit: 10cm, 4in, 25k, 180 nF, 220nf, 0.5 m/s."""

import re

from coilcount.errors import InputError

PREFIX = {"p": 1e-12, "n": 1e-9, "u": 1e-6, "µ": 1e-6, "μ": 1e-6, "m": 1e-3, "c": 1e-2, "": 1.0, "k": 1e3, "M": 1e6}
INCH_M = 0.0254  # exact by definition
# Other ways to write a unit, with the factor from it to the unit.
OTHER_UNITS = {
    "m": {"in": INCH_M, "inch": INCH_M, "inches": INCH_M, '"': INCH_M, "ft": 12 * INCH_M},
    "deg": {"°": 1.0, "degrees": 1.0},
    "%": {"percent": 1.0},
}
_NUMBER = re.compile(r"\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*(\S*)\s*", re.ASCII)
_COMMA = re.compile(r"[+-]?\d+,\d+")
# Units that may be left out after a prefix, as in 25k and 180n.  Not so for lengths: a lone "m" would be ambiguous.
_PREFIX_IS_ENOUGH = ("Hz", "F", "H")


def quantity(text: str, unit: str, name: str, low: float, high: float, example: str) -> float:
    """Read the value of `text` in `unit`, with or without an SI prefix.

    Capital and small letters of the unit are the same: 220nf, 25KHz.  Lengths may be in inches: 4in.
    name, example: the option and how to write it, for the message.  Raises InputError if `text` is no such quantity, or
    if it does not lie between low and high.
    """
    found = _NUMBER.fullmatch(text)
    factor = None if found is None else _factor(found[2], unit)
    if factor is None:
        raise InputError(f'{name} is "{text}"', remedy=_hint(text, example))
    value = float(found[1]) * factor
    if not low <= value <= high:
        raise InputError(
            f"{name} is {text.strip()}", remedy=f"It must lie between {shown(low, unit)} and {shown(high, unit)}"
        )
    return value


def shown(value: float, unit: str) -> str:
    """Write a value with its usual prefix: 0.1 m as 10 cm."""
    if unit == "m":
        if value < 1e-3:
            return f"{value * 1e6:g} um"
        return f"{value:g} m" if value >= 1 else f"{value * 100:g} cm" if value >= 0.01 else f"{value * 1e3:g} mm"
    for prefix in ("M", "k", "", "m", "u", "n", "p"):
        if value >= PREFIX[prefix] * (1 - 1e-9) and unit in ("Hz", "F", "H", "V", "A", "Ah", "F/m"):
            return f"{value / PREFIX[prefix]:g} {prefix}{unit}"
    return f"{value:g} {unit}"


def _hint(text: str, example: str) -> str:
    comma = _COMMA.match(text.strip())
    if comma:
        return f"Write a decimal point instead of the comma: {text.strip().replace(',', '.', 1)}"
    return f"Write it with its unit: {example}"


def _factor(word: str, unit: str) -> float | None:
    """Return the factor from the unit that is written as `word` to `unit`; None if it is no such unit."""
    other = OTHER_UNITS.get(unit, {})
    if word.lower() in other:
        return other[word.lower()]
    if word.lower().endswith(unit.lower()):
        return _prefix(word[: len(word) - len(unit)], unit)
    if unit in _PREFIX_IS_ENOUGH and word:
        return _prefix(word, unit)
    return None


def _prefix(word: str, unit: str) -> float | None:
    """Return the factor of an SI prefix; None if it is none.

    A capital letter stands for the small one, as in 220NF.  M is the exception: it stays mega before Hz, and it is
    refused before any other unit, where it could mean milli as well.
    """
    if word == "M":
        return PREFIX["M"] if unit == "Hz" else None
    return PREFIX.get(word.lower())
