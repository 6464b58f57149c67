"""Records of the report page: one recording with everything that the page shows of it."""

from dataclasses import dataclass
from typing import Any

from coilcount.model.desk import GridReplay, Label


@dataclass(frozen=True, slots=True)
class Figures:
    """What one threshold gives on one recording, judged by its labels; the intervals are 95 % intervals."""

    passes: int  # labelled passes over an object
    found: int
    found_low: float  # interval of the share found / passes
    found_high: float
    false_alarms: int
    minutes: float  # in which false alarms are counted
    rate_low: float  # interval of the false alarms a minute
    rate_high: float | None  # None: no upper limit, because there were no minutes


@dataclass(frozen=True, slots=True)
class PageRecording:
    """One recording for the report page.

    replay: with its series, at every position of the threshold slider.
    own: the position (index in replay.at) of the settings' own threshold.
    find_of: for each position, the number of the find that each alert belongs to; repeated passes over one place are
        one find.  Numbers begin at 0 and rise in the order of the alerts.
    labels: None if the recording has no label file, or if it cannot be read.
    label_complaints: what is wrong with the labels, in sentences.
    figures: one for each position; empty if labels is None.
    ready_s: seconds with a statistic.
    ready_spans: from where to where (s) there was a statistic; a label whose closest approach lies outside of them is
        not judged.
    near_s: an alert belongs to a pass if it peaks this near to the closest approach, or within the label's span.
    rate_limits: for each count n of false alarms, the 95 % interval of a rate, in counts.
    settings: those of the replays, as in a capture's header.
    """

    replay: GridReplay
    own: int
    find_of: tuple[tuple[int, ...], ...]
    labels: tuple[Label, ...] | None
    label_file: str
    label_complaints: tuple[str, ...]
    figures: tuple[Figures, ...]
    ready_s: float
    ready_spans: tuple[tuple[float, float], ...]
    near_s: float
    rate_limits: tuple[tuple[float, float], ...]
    settings: dict[str, dict[str, Any]]
