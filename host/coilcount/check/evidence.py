"""What `check` judges and what comes out of it."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from coilwire import records

from coilcount.check.faults import Fault, fault_of

OK, FAILED, TOLD, NOT_CHECKED = "ok", "failed", "told", "not checked"
# Of the default coil, simulated with ngspice (firmware/WIRING.md); nothing was built.
LOWEST_HZ, HIGHEST_HZ = 20_000.0, 35_000.0


@dataclass(frozen=True)
class Evidence:
    """All that was heard.

    heard: (host_s, wire record) in order; readings: (board_s, Hz) in order; frequency_hz: their median; noise_ppm: of
    one reading after its slope; intervals, lost, damaged, dropped: the counts of the link; selftest: the answer, or
    None where it was not asked.
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
    """What the operator knows or wants: see `coilcount check --help`."""

    capacitor_nf: float | None = None
    capacitor_tolerance: float = 5.0  # per cent
    amplitude_v: float | None = None  # calibrated
    lowest_hz: float = LOWEST_HZ
    highest_hz: float = HIGHEST_HZ
    drift_minutes: float | None = None


@dataclass(frozen=True)
class Finding:
    """One check.  verdict: "ok", "failed", "told" (measured, not judged) or "not checked"; figures: for JSON."""

    name: str
    verdict: str
    text: str
    figures: dict[str, float | int | None] = field(default_factory=dict)

    @property
    def fault(self) -> Fault | None:
        """Likely cause and remedy of a check that failed."""
        return fault_of(self.text) if self.verdict == FAILED else None
