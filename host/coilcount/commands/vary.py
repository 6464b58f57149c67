"""The option --vary: other values of the tracker's settings, each combination of which is tried."""

import itertools
import tomllib
from collections.abc import Sequence
from dataclasses import replace
from types import MappingProxyType
from typing import Any

from coilcount.errors import InputError, did_you_mean
from coilcount.settings import Settings

_MOST = 30  # combinations: each one is a replay of every recording; chosen by hand
_REMEDY = "Write for example --vary 'baseline_s = [2, 4]'"


def candidates_of(settings: Settings, words: Sequence[str]) -> list[Settings]:
    """The settings in force, then every combination of the values in `words` (NAME = [VALUE, ...]) that differs.

    Raises InputError if a word is no list in TOML, if a value does not fit, or if there are too many combinations.
    """
    values: dict[str, list[Any]] = {}
    for word in words:
        name, found = _read(word)
        if name in values:
            raise InputError(f"--vary gives {name} twice", remedy="Write all of its values in one list")
        values[name] = found
    candidates = [settings]
    seen = [dict(settings.tracker)]
    for combination in itertools.product(*values.values()):
        tracker = {**settings.tracker, **dict(zip(values, combination, strict=True))}
        if tracker not in seen:
            seen.append(tracker)
            candidates.append(replace(settings, tracker=MappingProxyType(tracker)))
        if len(candidates) > _MOST:
            raise InputError(f"--vary gives more than {_MOST} combinations", remedy="Give fewer values")
    return candidates


def _read(word: str) -> tuple[str, list[Any]]:
    from coilcount.tracker.defaults import DEFAULTS, check

    try:
        table = tomllib.loads(word)
    except tomllib.TOMLDecodeError:
        table = {}
    if len(table) != 1 or not isinstance(next(iter(table.values())), list):
        raise InputError(f'--vary is "{word}"', remedy=_REMEDY)
    ((name, found),) = table.items()
    if name == "threshold":
        raise InputError("--vary cannot change the threshold", remedy="Leave it out: 40 thresholds are always tried")
    if name == "false_alarms_per_minute":
        raise InputError("--vary cannot change the rate", remedy="Leave it out: 0.1, 0.3, 1, 3, 10 are always tried")
    if name not in DEFAULTS:
        raise InputError(f'[tracker] has no key "{name}"', "--vary", did_you_mean(name, tuple(DEFAULTS)))
    if not found:
        raise InputError(f"--vary gives no value of {name}", remedy=_REMEDY)
    checked = []
    for value in found:
        try:
            checked.append(check(name, value))
        except ValueError as error:
            raise InputError(str(error), "--vary", _REMEDY) from None
    return name, checked
