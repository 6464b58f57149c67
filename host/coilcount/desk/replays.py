"""Replays a recording at several thresholds, with the same code as `replay` and `live`."""

from array import array
from collections.abc import Callable, Iterator, Sequence

from coilcount.capture.reader import Report
from coilcount.chain import Chain
from coilcount.desk.recordings import Recording, read_recording
from coilcount.model import (
    Alert,
    AtThreshold,
    Entry,
    GridReplay,
    Hold,
    MarkMade,
    Notice,
    Output,
    Point,
    Series,
    Silence,
    StatusReading,
    Summary,
)
from coilcount.settings import Settings

Watched = Callable[[Iterator[Entry], Report], Iterator[Entry]]


def replay_grid(
    recording: Recording,
    settings: Settings,
    thresholds: Sequence[float],
    *,
    series: bool = False,
    watched: Watched | None = None,
) -> GridReplay:
    """Replay a recording at each of the thresholds (sigma) and at the settings' own.

    Thresholds that the operator set while recording are ignored.
    series: if True, keep the readings.
    watched: an optional wrapper around the iterator of entries, for a progress display.
    Raises what read_capture raises, and InputError for a threshold out of range.
    """
    own = settings.tracker["threshold"]
    at = []
    for threshold in sorted({*thresholds, own}):
        chain = Chain(settings.with_threshold(threshold), points=threshold == own, follow_threshold=False)
        report = Report()
        entries = read_recording(recording, report)
        if watched is not None:
            entries = watched(entries, report)
        header = next(entries)
        outputs: list[Output] = list(chain.feed(header))
        status: list[StatusReading] = []
        for entry in entries:
            outputs += chain.feed(entry)
            facts = chain.facts() if threshold == own else None
            if facts is not None and (facts.temperature_c, facts.supply_v) != (None, None):
                reading = StatusReading(chain.duration_s, facts.temperature_c, facts.supply_v)
                if not status or reading.time_s >= status[-1].time_s + 1.0:
                    status.append(reading)
        outputs += chain.finish()
        final = [output for output in outputs if type(output) in (Alert, Hold) and output.stage == "final"]
        at.append(
            AtThreshold(
                threshold,
                tuple(output for output in final if type(output) is Alert),
                tuple(output for output in final if type(output) is Hold),
            )
        )
        if threshold == own:
            kept, kept_status = outputs, status
    points = [output for output in kept if type(output) is Point]
    columns = ("time_s", "frequency_hz", "baseline_hz", "shift_ppm", "statistic")
    ready = sum(point.ready for point in points)
    spacing_s = (points[-1].time_s - points[0].time_s) / (len(points) - 1) if len(points) > 1 else 0.0
    return GridReplay(
        name=recording.name,
        parts=tuple(map(str, recording.parts)),
        header=header,
        complaint="" if report.whole else report.complaint(),
        summary=next(output for output in kept if type(output) is Summary),
        ready_minutes=ready * spacing_s / 60.0,
        at=tuple(at),
        silences=tuple(output for output in kept if type(output) is Silence),
        marks=tuple(output for output in kept if type(output) is MarkMade),
        warnings=tuple(output.text for output in kept if type(output) is Notice and output.level == "warning"),
        status=tuple(kept_status),
        series=Series(*(array("d", [getattr(p, name) for p in points]) for name in columns)) if series else None,
    )
