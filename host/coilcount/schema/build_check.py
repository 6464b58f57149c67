"""The readings that a builder takes by hand, and the file in which `check --build` keeps its result."""

# ruff: noqa: RUF009 - table() returns a dataclasses.field
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from .tables import choice, flag, number, read_table, table, tables, text, whole
from .toml_text import load

# The circuits of firmware/hardware.  The first is the default.
PAIR, MOSFET, MOSFET_LIMITED = OSCILLATORS = ("pair", "mosfet", "mosfet-limited")
# ohm.  A meter shows no number for an open circuit: "open" is kept as this value.  Chosen by hand.
OPEN_OHM = 1e8


@dataclass(frozen=True, slots=True, kw_only=True)
class Answers:
    """What was read from a meter or an oscilloscope; None: not measured.  Limits are chosen by hand."""

    oscillator: str = choice(OSCILLATORS, PAIR)
    coil_resistance_ohm: float | None = number(0, OPEN_OHM, None)
    inductance_uh: float | None = number(0, 1e6, None)
    capacitor_nf: float | None = number(0, 1e5, None)
    oscillator_v: float | None = number(0, 60, None)
    oscillator_ma: float | None = number(0, 1e4, None)
    emitters_v: float | None = number(0, 60, None)
    end_swing_v: float | None = number(0, 2000, None)
    mid_v: float | None = number(-60, 60, None)
    pin_highest_v: float | None = number(-60, 60, None)
    pin_lowest_v: float | None = number(-60, 60, None)
    pin_average_v: float | None = number(-60, 60, None)
    duty_percent: float | None = number(0, 100, None)
    supply_ma: float | None = number(0, 1e4, None)


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckRow:
    """One check of a kept result.  fault: its id, "" if nothing failed."""

    name: str = text()
    verdict: str = choice(("ok", "failed", "measured", "not checked"))
    fault: str = text("")
    text: str = text()  # last, because it takes the name of the function


@dataclass(frozen=True, slots=True, kw_only=True)
class BuildCheck:
    """A kept result of `check --build`.

    plan, plan_sha256: name and hash of the plan file; bench: whether only the answers were judged, without a board;
    seconds: how long the board was listened to; amplitude_v: mean amplitude that the board sent, None without one.
    """

    schema: int = whole(1, 1)
    plan: str = text()
    plan_sha256: str = text()
    checked_utc: str = text()
    host_version: str = text()
    bench: bool = flag()
    simulated: bool = flag()
    board: str = text("")
    seconds: float = number(0, 1e9, 0.0)
    amplitude_v: float | None = number(0, 1e3, None)
    failed: int = whole(0, 10_000)
    answers: Answers = table(Answers)
    check: tuple[CheckRow, ...] = tables(CheckRow)


def read_answers(path: Path) -> Answers:
    """The answers in a TOML file: its own keys, or those of the [answers] table of a kept result.

    Raises InputError.
    """
    raw = load(path, "file of answers")
    if isinstance(raw.get("answers"), dict):
        raw = raw["answers"]
    return read_table(Answers, raw, str(path))


def build_check_of(raw: dict[str, Any], where: str) -> BuildCheck:
    """The kept result in the raw table of a file; where: the file's name, for messages.  Raises InputError."""
    return read_table(BuildCheck, raw, where)
