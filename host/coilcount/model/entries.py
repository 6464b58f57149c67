"""Entries: the contents of a capture.  Received lines, the operator's actions, gaps, imported readings."""

from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True, slots=True)
class Header:
    """The first line of a capture: its source, and the settings that were in force."""

    source: str  # "serial", "virtual", "simulate" or "import"
    start_utc: str  # ISO 8601 with Z; the time at host_s = 0
    host_version: str = ""
    command: tuple[str, ...] = ()
    board: dict[str, Any] = field(default_factory=dict)  # the fields of the hello, by name; may be empty
    settings: dict[str, Any] = field(default_factory=dict)  # the effective settings
    build: dict[str, Any] | None = None  # {"file", "sha256", "plan"} of --build
    build_check: dict[str, Any] | None = None  # {"file", "sha256", "check"}: the latest `check --build` of that plan
    notes: dict[str, str] = field(default_factory=dict)  # coil, place, weather, ...
    interval_s: float | None = None  # the spacing of imported readings
    simulated: bool = False
    part: int = 1  # 1, 2, ...: number of this part of a recording
    # What the tracker began with, of an earlier session with this coil: {"coil", "saved_utc", "swept_s", "interval_ms",
    # "simulated", "state"}, the state a list of numbers that only the tracker understands.
    learned: dict[str, Any] | None = None


@dataclass(frozen=True, slots=True)
class Line:
    """One line as received, without its line feed; or the rest of a line that was cut."""

    host_s: float
    data: bytes


@dataclass(frozen=True, slots=True)
class Operator:
    """One action of the operator: "freeze", "thaw", "false_alarms", "threshold" (both with value), "mark" (with text).

    A freeze while the baseline is frozen sets the baseline again.
    false_alarms: from now on at most this many false alarms a minute, and no fixed threshold.  threshold: a fixed one,
    in sigma.
    """

    host_s: float
    action: str
    value: float | None = None
    text: str = ""


@dataclass(frozen=True, slots=True)
class Gap:
    """A time from start_host_s to host_s in which the host received nothing, and the reason."""

    host_s: float
    start_host_s: float
    reason: str


@dataclass(frozen=True, slots=True)
class Imported:
    """One reading of another counter; time_s is the middle of the reading."""

    time_s: float
    frequency_hz: float
    temperature_c: float | None = None
    amplitude_v: float | None = None
    supply_v: float | None = None


@dataclass(frozen=True, slots=True)
class End:
    """The last line of a capture that was closed.  It is redundant: a capture can be read without it."""

    host_s: float
    status: str  # whole: "closed", "rotated", "salvaged"; not whole: "aborted", "disk full", "write failed"
    lines: int  # number of lines before this one


Entry = Header | Line | Operator | Gap | Imported | End
