"""A stand-in for the tracker, for work that needs only the time axis, the marks and the gaps of a recording."""

from coilwire import records

from coilcount.model import Operator, Output
from coilcount.readings.timebase import TimeBase

_NOTHING: list[Output] = []


class Untracked:
    """A readings.intake.Taker that does nothing with the readings."""

    def begin(self, interval_s: float) -> str:
        """Readings are interval_s apart from now on."""
        return ""

    def interval(self, record: records.Interval, middle_us: int, step: int, base: TimeBase) -> list[Output]:
        """Take one interval of the board."""
        return _NOTHING

    def reading(self, middle_us: int, frequency_hz: float, step: int) -> list[Output]:
        """Take one imported reading."""
        return _NOTHING

    def gap(self, end_us: int) -> list[Output]:
        """The next reading does not continue the earlier ones."""
        return _NOTHING

    def operate(self, entry: Operator) -> str:
        """Take what the operator did."""
        return ""
