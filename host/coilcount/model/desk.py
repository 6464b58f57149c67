"""Records of the desk: labels, replays of a recording at several thresholds, and their score against the labels."""

from array import array
from dataclasses import dataclass

from coilcount.model.entries import Header
from coilcount.model.noise_report import Interval95
from coilcount.model.outputs import Alert, Hold, MarkMade, Silence, Summary

RESPONSES = ("ferrous", "non-ferrous", "uncertain", "")
# The object of a label that was proposed and that nobody has confirmed.  Such a label never counts as truth.
PROPOSED = "?"


@dataclass(frozen=True, slots=True)
class Label:
    """An object that was under the coil from start_s to end_s (board time), nearest at closest_s.

    response: the right answer, one of RESPONSES; "" if there was nothing to find: soil, a knock, drift, "nothing".
    An object of PROPOSED makes it a proposal; these have a file of their own, and capture.labels.read_labels leaves
    them out.
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
        return self.response != "" and not self.is_proposed

    @property
    def is_proposed(self) -> bool:
        """True if nobody has confirmed it: it says nothing about what was there."""
        return self.object == PROPOSED


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
    """The final alerts and holds of a replay with one threshold, or with one rate of false alarms that is asked for.

    threshold: in sigma.  For a rate: the lower one of the thresholds of both signs, in the median over the recording.
    alerts, holds: in the order in which they became final.
    asked_per_minute: at most so many false alarms a minute are asked for; None: the threshold is fixed.
    """

    threshold: float
    alerts: tuple[Alert, ...]
    holds: tuple[Hold, ...]
    asked_per_minute: float | None = None


@dataclass(frozen=True, slots=True)
class ScaleReading:
    """The noise scale of the detection statistic at one time: a shift of this many ppm scores 1 sigma."""

    time_s: float
    ppm: float


@dataclass(frozen=True, slots=True)
class GridReplay:
    """Replays of one recording: everything is the same for all thresholds, except what `at` holds."""

    name: str  # as the user gave it: the path of the first part
    parts: tuple[str, ...]  # paths, in their order
    header: Header  # of the first part
    complaint: str  # the damage in one phrase; "" if the recording is whole
    summary: Summary  # at the threshold or the rate of the settings
    ready_minutes: float  # in which there was a statistic, so that an alert could be raised
    at: tuple[AtThreshold, ...]  # in rising order of the threshold; that of the settings is among them
    silences: tuple[Silence, ...]
    marks: tuple[MarkMade, ...]
    warnings: tuple[str, ...]
    status: tuple[StatusReading, ...]  # about once a second
    series: Series | None  # with the baseline of the settings' own threshold or rate; None if it was not asked for
    ready_spans: tuple[tuple[float, float], ...] = ()  # s: from where to where there was a statistic; () if not known
    scale: tuple[ScaleReading, ...] = ()  # about once a second; () if the series was not asked for
    own: int = 0  # position in `at` of the threshold or the rate of the settings

    def fixed(self, threshold: float) -> AtThreshold:
        """That of a fixed threshold (sigma), which must be among them."""
        return next(at for at in self.at if at.asked_per_minute is None and at.threshold == threshold)


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
    """The alerts of one replay of one recording, judged by its labels.

    If the recording has no label file, nothing is judged: labelled is False, and all else is empty or 0.
    """

    threshold: float  # sigma; for a rate as in AtThreshold
    passes: tuple[PassScore, ...]  # of the labels with something to find
    false_alarms: tuple[Alert, ...]  # alerts that belong to no pass
    minutes: float  # in which false alarms are counted: with a statistic, and away from the labels with an object
    labelled: bool = True
    left_out: tuple[Label, ...] = ()  # labels with no statistic at their closest approach
    asked_per_minute: float | None = None  # as in AtThreshold


@dataclass(frozen=True, slots=True)
class AnswerCounts:
    """What the alerts say of the found passes whose label is `response`."""

    response: str  # "ferrous" or "non-ferrous"
    found: int
    ferrous: int
    non_ferrous: int
    uncertain: int
    uncertain_right: int  # of `uncertain`: the sign alone would have been right
    uncertain_wrong: int  # of `uncertain`: the sign alone would have been wrong; the rest never settled on a sign
    ferrous_share: Interval95 | None = None  # of `found`; None if there are none
    non_ferrous_share: Interval95 | None = None
    uncertain_share: Interval95 | None = None
