"""What `coilcount compare` finds: two builds over one course, or two settings on the same recordings.

The two are called A and B.  A ratio is B over A, a difference is B less A.
"""

from dataclasses import dataclass

from coilcount.model.noise_report import Interval95

FOUND, FALSE_ALARMS, SCORE = "passes found", "false alarms", "score"  # the questions of the verdict, in this order


@dataclass(frozen=True, slots=True)
class ComparedSide:
    """The figures of A or of B.  An interval is None if it cannot be computed."""

    name: str  # "A" or "B"
    files: tuple[str, ...]  # its recordings
    settings: str  # where the settings come from
    simulated: bool
    threshold: float  # sigma; if a rate is asked for, the lower one of both signs, in the median
    threshold_from_peaks: int | None  # peaks that the threshold was computed from; None: it is that of the settings
    minutes: float  # with a statistic
    baseline_hz: float | None  # median of the recordings
    noise_ppm: Interval95 | None  # scatter of one reading
    scatter_ppm: Interval95 | None  # scatter of means over scatter_tau_s (overlapping Allan deviation)
    scatter_tau_s: float | None
    drift_ppm_per_minute: Interval95 | None
    passes: int  # that are paired
    found: int
    found_share: Interval95 | None
    peak_shift_ppm: Interval95 | None  # median size over the objects that both found
    half_depth_cm: Interval95 | None  # depth at which half of the passes are found
    half_depth_unknown: str  # why it cannot be said; "" if it can
    false_alarms: int
    false_alarm_minutes: float  # 0: false alarms cannot be counted
    false_alarms_per_minute: Interval95 | None
    asked_per_minute: float | None = None  # false alarms a minute that are asked for; None: the threshold is fixed


@dataclass(frozen=True, slots=True)
class ComparedPass:
    """A pass of A and the pass of B that belongs to it.  A score is that of a weak alert if the pass was not found."""

    object: str
    depth_cm: float | None
    number: int  # of this pass over the object, from 1
    file_a: str
    time_a_s: float
    found_a: bool
    score_a: float | None  # sigma; None: nothing stood out
    shift_a_ppm: float | None
    file_b: str
    time_b_s: float
    found_b: bool
    score_b: float | None
    shift_b_ppm: float | None


@dataclass(frozen=True, slots=True)
class LonePass:
    """A labelled pass of one side that has no partner on the other; it is left out of the tests."""

    side: str
    file: str
    time_s: float
    object: str
    depth_cm: float | None
    number: int
    found: bool


@dataclass(frozen=True, slots=True)
class ComparedAlarm:
    """A false alarm.  in_both: with the same recordings, whether both settings raise it; else None."""

    side: str
    file: str
    time_s: float
    score: float
    in_both: bool | None


@dataclass(frozen=True, slots=True)
class ComparedTest:
    """The test of one question of the verdict."""

    question: str  # FOUND, FALSE_ALARMS or SCORE
    p: float | None  # None: not tested
    p_holm: float | None  # the same, made larger because several questions are asked
    different: bool
    higher: str  # "A" or "B", which has the higher value; "" if equal or not tested
    not_tested: str  # why not; "" if tested


@dataclass(frozen=True, slots=True)
class Ratio:
    """B over A with its 95 % interval; None where the ratio is infinite or unknown."""

    value: float | None
    low: float | None
    high: float | None


@dataclass(frozen=True, slots=True)
class Comparison:
    """All that `coilcount compare` reports.  The field names are the keys of its JSON, in this order."""

    same_recordings: bool  # two settings on the same recordings; else two builds
    same_settings: bool  # of the tracker, apart from the threshold
    false_alarms_per_minute: float | None  # asked for; None: thresholds as they are
    clean: bool  # the thresholds come from recordings of their own
    a: ComparedSide
    b: ComparedSide
    pairing: str  # "recording": passes are numbered within a recording; "all": over all recordings of a side
    both: int  # passes found by both, and so on
    only_a: int
    only_b: int
    neither: int
    difference: Interval95 | None  # of the shares found, B less A
    visits: int  # a visit is all passes over one object in one recording
    objects: int  # different objects among the paired passes
    p_passes: float | None  # of the exact McNemar test, which takes all passes as independent
    p_objects: float | None  # of the strictest test, which takes all passes over one object together
    rate_ratio: Ratio | None
    alarms_only_a: int | None  # with the same recordings: false alarms that only A raises
    alarms_only_b: int | None
    score_ratio: Ratio | None  # of the passes that both found; without an interval for fewer than 3 pairs of recordings
    shift_ratio: Ratio | None  # the same for the size of the peak shift
    tests: tuple[ComparedTest, ...]
    visible_difference: float | None  # in shares of the visits, that would be shown in 8 of 10 comparisons
    visible_ratio: float | None  # of the false-alarm rates, that would be shown in 8 of 10 comparisons
    passes: tuple[ComparedPass, ...]
    unpaired: tuple[LonePass, ...]
    alarms: tuple[ComparedAlarm, ...]
    cautions: tuple[str, ...]

    def test(self, question: str) -> ComparedTest:
        """The test of one question."""
        return next(test for test in self.tests if test.question == question)

    @property
    def different(self) -> bool:
        """True if a difference was shown."""
        return any(test.different for test in self.tests)
