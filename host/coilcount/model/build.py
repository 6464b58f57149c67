"""What a plan lets one expect of the finished build, as ranges with their units."""

from dataclasses import dataclass
from typing import NamedTuple


class Expectation(NamedTuple):
    """A range in which a measured value is accepted, and the value that the plan computes."""

    low: float
    value: float
    high: float

    def holds(self, measured: float) -> bool:
        """Whether a measured value lies in the range."""
        return self.low <= measured <= self.high


@dataclass(frozen=True, slots=True)
class BuildExpectations:
    """Everything that `check --build` compares.

    ranges: by quantity; the keys are the fields of `schema.build_check.Answers`, and `frequency_hz`.
    noise_ppm: standard deviation of one reading over the time of listening, by noise class of the plan.
    drift_ppm_per_k: lowest and highest drift of coil and capacitor together; dielectric: of the plan's capacitor.
    amplitude_follows_loss: whether the oscillator's amplitude falls if the coil's loss rises.
    note: what the builder must know about these ranges; "" if nothing.
    """

    ranges: dict[str, Expectation]
    noise_ppm: dict[str, float]
    drift_ppm_per_k: tuple[float, float]
    dielectric: str
    amplitude_follows_loss: bool
    note: str = ""
