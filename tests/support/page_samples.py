"""Recordings for the report page that are made by hand, where a real one would be too long or too kind."""

from array import array
from collections.abc import Callable, Sequence

from coilcount.desk.rates import rate_interval
from coilcount.desk.report import figures, find_numbers
from coilcount.desk.scoring import NEAR_S, score
from coilcount.model import (
    Alert,
    AtThreshold,
    GridReplay,
    Header,
    Label,
    ScaleReading,
    Series,
    StatusReading,
    Summary,
)
from coilcount.model.report import PageRecording
from coilcount.settings import defaults

SPACING_S = 0.02
BASELINE_HZ = 25_000.0


def alert(number: int, peak_s: float, sign: int = 1, seen: int = 1, score: float = 9.0) -> Alert:
    """Return a final alert at one time."""
    response = {1: "non-ferrous", -1: "ferrous"}[sign]
    times = (peak_s + 0.1, peak_s + 0.3, peak_s + 0.4, peak_s)
    return Alert("final", number, *times, False, sign, response, (), score, 8.0 * sign, 0.2 * sign, 0.98, 0.2, seen)


def page_of(
    shift_ppm: Sequence[float],
    positions: Sequence[tuple[float, Sequence[Alert]]] = ((4.0, ()), (4.8, ()), (6.0, ())),
    labels: Sequence[Label] | None = None,
    name: str = "made.ccap",
    header: Header | None = None,
    statistic: Callable[[float], float] = lambda ppm: ppm / 0.3,
    **changes: object,
) -> PageRecording:
    """Return a recording with these shifts, SPACING_S apart; positions: (threshold, alerts) in rising order.

    changes: other values of the fields of GridReplay.
    """
    count = len(shift_ppm)
    time_s = array("d", (SPACING_S * (i + 0.5) for i in range(count)))
    duration_s = SPACING_S * count
    summary = Summary("2026-05-01T09:00:00Z", duration_s, count, 0, 0, 0, BASELINE_HZ, 0.3, 0, "0" * 64)
    series = Series(
        time_s,
        array("d", (BASELINE_HZ * (1 + ppm * 1e-6) for ppm in shift_ppm)),
        array("d", [BASELINE_HZ]) * count,
        array("d", shift_ppm),
        array("d", map(statistic, shift_ppm)),
    )
    at = tuple(AtThreshold(threshold, tuple(alerts), ()) for threshold, alerts in positions)
    fields = {
        "name": name,
        "parts": (name,),
        "header": header or Header("simulate", "2026-05-01T09:00:00Z", simulated=True),
        "complaint": "",
        "summary": summary,
        "ready_minutes": max(0.0, duration_s - 4.0) / 60,
        "at": at,
        "silences": (),
        "marks": (),
        "warnings": (),
        "status": tuple(StatusReading(float(s), 12 + s / 1000, 5.0) for s in range(0, int(duration_s), 1)),
        "series": series,
        "ready_spans": ((4.0, duration_s),),
        "scale": (ScaleReading(0.0, 0.3), ScaleReading(duration_s, 0.3)),
    }
    replay = GridReplay(**{**fields, **changes})
    most = max(len(position.alerts) for position in at)
    return PageRecording(
        replay=replay,
        own=1,
        find_of=tuple(find_numbers(position.alerts) for position in at),
        labels=None if labels is None else tuple(labels),
        label_file="made.labels.csv",
        label_complaints=(),
        figures=() if labels is None else tuple(figures(score(replay, position, labels)) for position in at),
        ready_s=duration_s - 4.0,
        ready_spans=replay.ready_spans,
        near_s=NEAR_S,
        rate_limits=tuple(rate_interval(n, 1.0) for n in range(most + 1)),
        settings=defaults().as_dict(),
    )
