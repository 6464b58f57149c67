"""Frozen records that pass between the rooms.  The names carry the units.

There are these families.  Entries are the contents of a capture.  Outputs are the results that the chain computes from
entries.  The records of the noise report and of the desk say what whole recordings show.

Times named `host_s` are seconds of the host's monotonic clock since the capture began.  Times named `..._s` without
"host" are on the board's time base: t = 0 at the first edge of the first interval.
"""

from coilcount.model.desk import (
    PROPOSED,
    RESPONSES,
    AnswerCounts,
    AtThreshold,
    GridReplay,
    Label,
    PassScore,
    ScaleReading,
    Score,
    Series,
    StatusReading,
)
from coilcount.model.entries import End, Entry, Gap, Header, Imported, Line, Operator
from coilcount.model.noise_report import (
    Interval95,
    LearnedNoise,
    NoiseBand,
    NoiseClassMatch,
    NoiseDrift,
    NoisePeak,
    NoisePeaks,
    NoiseReport,
    NoiseThreshold,
    SlopeValue,
    StabilityRow,
)
from coilcount.model.outputs import Alert, ChainFacts, Hold, MarkMade, Notice, Output, Point, Silence, Summary
from coilcount.model.tune import (
    AtGrid,
    Candidate,
    CrossCheck,
    KindFound,
    LeftOutGroup,
    LeftOutRecording,
    Outcome,
    TunedRecording,
    TuneReport,
)

__all__ = (
    "PROPOSED",
    "RESPONSES",
    "Alert",
    "AnswerCounts",
    "AtGrid",
    "AtThreshold",
    "Candidate",
    "ChainFacts",
    "CrossCheck",
    "End",
    "Entry",
    "Gap",
    "GridReplay",
    "Header",
    "Hold",
    "Imported",
    "Interval95",
    "KindFound",
    "Label",
    "LearnedNoise",
    "LeftOutGroup",
    "LeftOutRecording",
    "Line",
    "MarkMade",
    "NoiseBand",
    "NoiseClassMatch",
    "NoiseDrift",
    "NoisePeak",
    "NoisePeaks",
    "NoiseReport",
    "NoiseThreshold",
    "Notice",
    "Operator",
    "Outcome",
    "Output",
    "PassScore",
    "Point",
    "ScaleReading",
    "Score",
    "Series",
    "Silence",
    "SlopeValue",
    "StabilityRow",
    "StatusReading",
    "Summary",
    "TuneReport",
    "TunedRecording",
)
