"""What `check` judges, and the form of its findings."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from coilwire import records

from coilcount.check.faults import Fault

# The verdicts.  MEASURED: there is a figure, and no limit to judge it by.
OK, FAILED, MEASURED, NOT_CHECKED = "ok", "failed", "measured", "not checked"
# Hz: the range in which the default coil may swing if the operator gives no other.  From an earlier circuit simulation
# (ngspice) of that coil, not repeated here.
LOWEST_HZ, HIGHEST_HZ = 20_000.0, 35_000.0


@dataclass(frozen=True)
class Evidence:
    """What was received from the board while `check` listened.

    hello: the latest; seconds: how long `check` listened.
    heard: (host time in s, wire record) in order; readings: (board time in s, frequency in Hz) in order.
    frequency_hz: the median reading; noise_ppm: robust sigma of one reading after its slope is taken out; None if there
    are too few readings.
    intervals: interval records received; lost, damaged, dropped: records that are missing, lines that are damaged, and
    records that the board itself dropped.
    selftest: the board's answer to the self-test; None if it was not asked or did not answer.
    """

    hello: records.Hello
    seconds: float
    heard: Sequence[tuple[float, Any]] = ()
    readings: Sequence[tuple[float, float]] = ()
    frequency_hz: float | None = None
    noise_ppm: float | None = None
    intervals: int = 0
    lost: int = 0
    damaged: int = 0
    dropped: int = 0
    selftest: records.Answer | None = None


@dataclass(frozen=True)
class Asked:
    """What the operator knows about the coil, or wants to know: see `coilcount check --help`."""

    capacitor_nf: float | None = None
    capacitor_tolerance: float = 5.0  # per cent
    amplitude_v: float | None = None  # the calibrated amplitude
    lowest_hz: float = LOWEST_HZ
    highest_hz: float = HIGHEST_HZ
    drift_minutes: float | None = None


@dataclass(frozen=True)
class Finding:
    """The result of one check.

    verdict: "ok", "failed", "measured" (a figure without a limit) or "not checked"; text: for a person;
    figures: for JSON; fault: what failed, with its likely cause and its remedy, None if nothing did.
    """

    name: str
    verdict: str
    text: str
    figures: dict[str, float | int | None] = field(default_factory=dict)
    fault: Fault | None = None


def failed(name: str, fault: Fault, text: str, figures: dict[str, float | int | None] | None = None) -> Finding:
    """The finding of a check that failed because of `fault`."""
    return Finding(name, FAILED, text, figures or {}, fault)
