"""Replays a recording at several thresholds and rates in one pass, with the same code as `replay` and `live`."""

import math
from collections.abc import Callable, Iterator, Sequence

from coilwire import records as wire

from coilcount.capture.reader import Report
from coilcount.chain import Chain
from coilcount.chain.grid_tracking import GridTracking
from coilcount.desk.recordings import Recording, read_recording
from coilcount.model import (
    Alert,
    AtThreshold,
    Entry,
    GridReplay,
    Header,
    Hold,
    Imported,
    MarkMade,
    Notice,
    Output,
    ScaleReading,
    Silence,
    StatusReading,
    Summary,
)
from coilcount.settings import Settings
from coilcount.tracker.noise_counts import usual_thresholds

Watched = Callable[[Iterator[Entry], Report], Iterator[Entry]]

ZERO_C_K = 273.15
# Seconds between two status readings that are kept.  A board sends one a second, a little early or late.  Chosen by
# hand.
_STATUS_EVERY_S = 0.9
_DECIMALS = 2  # of the threshold in sigma that is shown for a rate
_SCALE_EVERY_S = 1.0  # s between two readings of the noise scale; it changes within several seconds


def replay_grid(
    recording: Recording,
    settings: Settings,
    thresholds: Sequence[float],
    *,
    rates: Sequence[float] = (),
    series: bool = False,
    watched: Watched | None = None,
) -> GridReplay:
    """Replay a recording at each of the thresholds (sigma), each of the rates, and as the settings say, in one pass.

    Alerts and holds of each are those of a replay of its own.  The tracker begins with what the recording says that an
    earlier session had learned.  Thresholds and rates that the operator set while recording are ignored.
    rates: false alarms a minute that are asked for.
    series: if True, keep the readings and the noise scale.
    watched: an optional wrapper around the iterator of entries, for a progress display.
    Raises what read_capture raises, and InputError for a threshold or a rate out of range.
    """
    further = sorted(
        {settings.with_threshold(threshold).fixed_threshold for threshold in thresholds} - {settings.fixed_threshold}
    )
    asked = sorted(
        {settings.with_false_alarms(rate).false_alarms_per_minute for rate in rates}
        - {settings.false_alarms_per_minute}
    )
    report = Report()
    entries = read_recording(recording, report)
    if watched is not None:
        entries = watched(entries, report)
    replay = _Replay(settings, further, asked, series)
    for entry in entries:
        replay.feed(entry)
    replay.finish()
    tracking = replay.tracking
    levels = [(settings.fixed_threshold, settings.false_alarms_per_minute)]
    levels += [(threshold, None) for threshold in further] + [(None, rate) for rate in asked]
    at = []
    for position, (threshold, rate) in enumerate(levels, -1):
        finals = replay if position < 0 else tracking.further[position]
        if threshold is None:
            threshold = tracking.median_threshold(position) or min(usual_thresholds(rate))
            threshold = round(threshold, _DECIMALS)
        at.append(AtThreshold(threshold, tuple(finals.alerts), tuple(finals.holds), rate))
    own = at[0]
    at.sort(key=lambda item: item.threshold)
    ready_spans = replay.tracking.trace.ready_spans
    return GridReplay(
        name=recording.name,
        parts=tuple(map(str, recording.parts)),
        header=replay.header,
        complaint=report.complaint(),
        summary=replay.summary,
        ready_minutes=sum(end_s - start_s for start_s, end_s in ready_spans) / 60.0,
        ready_spans=ready_spans,
        at=tuple(at),
        own=next(position for position, item in enumerate(at) if item is own),
        silences=tuple(replay.silences),
        marks=tuple(replay.marks),
        warnings=tuple(replay.warnings),
        status=tuple(replay.status),
        series=replay.tracking.trace.series,
        scale=tuple(replay.scale),
    )


class _Replay:
    """One pass over the entries of a recording, and the outputs that are kept of it."""

    def __init__(self, settings: Settings, further: Sequence[float], asked: Sequence[float], series: bool) -> None:
        self.tracking = GridTracking(settings, further, series, asked)
        self._chain = Chain(settings, tracking=self.tracking)
        self.header = Header(source="unknown", start_utc="")
        self.summary: Summary | None = None
        self.alerts: list[Alert] = []
        self.holds: list[Hold] = []
        self.silences: list[Silence] = []
        self.marks: list[MarkMade] = []
        self.warnings: list[str] = []
        self.status: list[StatusReading] = []
        self._status_seen: wire.Status | None = None
        self.scale: list[ScaleReading] = []
        self._next_scale_s = 0.0 if series else math.inf

    def feed(self, entry: Entry) -> None:
        chain = self._chain
        outputs = chain.feed(entry)
        if outputs:
            self._keep(outputs)
        if chain.intake.status is not self._status_seen:
            status = self._status_seen = chain.intake.status
            kelvin = status.temperature_mk / 1000
            self._keep_status(kelvin - ZERO_C_K if kelvin else None, status.supply_mv / 1000 or None)
        elif type(entry) is Imported:
            self._keep_status(entry.temperature_c, entry.supply_v)
        elif type(entry) is Header:
            self.header = entry
        if chain.duration_s >= self._next_scale_s:
            self._keep_scale()

    def finish(self) -> None:
        self._keep(self._chain.finish())

    def _keep_status(self, temperature_c: float | None, supply_v: float | None) -> None:
        if temperature_c is None and supply_v is None:
            return
        time_s = self._chain.duration_s
        if not self.status or time_s >= self.status[-1].time_s + _STATUS_EVERY_S:
            self.status.append(StatusReading(time_s, temperature_c, supply_v))

    def _keep_scale(self) -> None:
        facts = self._chain.facts()
        if facts.threshold_ppm is not None and facts.thresholds.rise:
            time_s = self._chain.duration_s
            self.scale.append(ScaleReading(time_s, facts.threshold_ppm.rise / facts.thresholds.rise))
            self._next_scale_s = time_s + _SCALE_EVERY_S

    def _keep(self, outputs: Sequence[Output]) -> None:
        for output in outputs:
            match output:
                case Alert(stage="final"):
                    self.alerts.append(output)
                case Hold(stage="final"):
                    self.holds.append(output)
                case Silence():
                    self.silences.append(output)
                case MarkMade():
                    self.marks.append(output)
                case Notice(level="warning"):
                    self.warnings.append(output.text)
                case Summary():
                    self.summary = output
