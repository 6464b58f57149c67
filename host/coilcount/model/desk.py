"""Records of the desk: labels, replays of a recording at several thresholds, and their score against the labels."""

from array import array
from dataclasses import dataclass

from coilcount.model.entries import Header
from coilcount.model.outputs import Alert, Hold, MarkMade, Silence, Summary

RESPONSES = ("ferrous", "non-ferrous", "uncertain", "")


@dataclass(frozen=True, slots=True)
class Label:
    """An object that was under the coil from start_s to end_s (board time), nearest at closest_s.

    response: the right answer, one of RESPONSES; "" if there was nothing to find: soil, a knock, drift, "nothing".
    """

    start_s: float
    end_s: float
    closest_s: float
    object: str
    metal: str = ""
    response: str = ""
    depth_cm: float | None = None
    note: str = ""

    @property
    def is_object(self) -> bool:
        """True if there was something to find."""
        return self.response != ""


@dataclass(frozen=True, slots=True)
class StatusReading:
    """Temperature and supply of the board at one time; None if the board does not measure it."""

    time_s: float
    temperature_c: float | None
    supply_v: float | None


@dataclass(frozen=True, slots=True)
class Series:
    """The readings of a recording, one value each; all arrays have type code "d" and one length."""

    time_s: array
    frequency_hz: array
    baseline_hz: array
    shift_ppm: array
    statistic: array  # sigma, signed; 0 during warm-up


@dataclass(frozen=True, slots=True)
class AtThreshold:
    """The final alerts and holds of a replay with one threshold (sigma), in the order in which they became final."""

    threshold: float
    alerts: tuple[Alert, ...]
    holds: tuple[Hold, ...]


@dataclass(frozen=True, slots=True)
class GridReplay:
    """Replays of one recording: everything is the same for all thresholds, except what `at` holds."""

    name: str  # as the user gave it: the path of the first part
    parts: tuple[str, ...]  # paths, in their order
    header: Header  # of the first part
    complaint: str  # the damage in one phrase; "" if the recording is whole
    summary: Summary  # at the threshold of the settings
    ready_minutes: float  # in which there was a statistic, so that an alert could be raised
    at: tuple[AtThreshold, ...]  # in rising order of the threshold; the settings' own threshold is among them
    silences: tuple[Silence, ...]
    marks: tuple[MarkMade, ...]
    warnings: tuple[str, ...]
    status: tuple[StatusReading, ...]  # about once a second
    series: Series | None  # with the baseline of the settings' own threshold; None if it was not asked for


@dataclass(frozen=True, slots=True)
class PassScore:
    """What became of one labelled pass.  alert: the alert with the highest score that belongs to it, None if missed."""

    label: Label
    alert: Alert | None

    @property
    def found(self) -> bool:
        """True if an alert belongs to the pass."""
        return self.alert is not None


@dataclass(frozen=True, slots=True)
class Score:
    """The alerts of one replay of one recording, judged by its labels."""

    threshold: float
    passes: tuple[PassScore, ...]  # of the labels with something to find
    false_alarms: tuple[Alert, ...]  # alerts that belong to no pass
    minutes: float  # in which false alarms are counted: with a statistic, and outside the labels with an object
