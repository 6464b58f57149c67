"""Turns the tracker's records into outputs: whole microseconds and 1e-9 become seconds, ppm and Hz."""

from coilcount.model import Alert, Header, Hold, Point, Summary
from coilcount.readings.link_counts import LinkCounts
from coilcount.readings.noise import Noise
from coilcount.tracker import records


def alert(event: records.Alert, number: int, reference_hz: float) -> Alert:
    """Return the tracker's alert as an output.

    number: its number within the capture.  reference_hz: the frequency that its shifts are relative to.
    """
    return Alert(
        stage=event.stage,
        id=number,
        raised_s=event.raised_us / 1e6,
        settled_s=_seconds(event.settled_us),
        released_s=_seconds(event.released_us),
        peak_s=event.peak_us / 1e6,
        open=event.released_us is None,
        sign=event.sign,
        response=event.response,
        reasons=tuple(event.reasons),
        score=event.score,
        peak_shift_ppm=event.peak_ppb / 1e3,
        peak_shift_hz=event.peak_ppb * 1e-9 * reference_hz,
        confidence=event.confidence,
        width_s=event.width_s,
        seen=event.seen,
        rarity_min=event.rarity_min,
    )


def far_apart(interval_s: float) -> str:
    """Return the warning about readings that are too far apart to show most passes."""
    return (
        f"readings are {interval_s:g} s apart, which does not show most passes of an ordinary sweep (0.1 to 0.5 s "
        "wide); every alert is uncertain. Log at least 10 readings a second"
    )


def hold(event: records.Hold) -> Hold:
    """Return the tracker's hold as an output."""
    return Hold(event.stage, event.start_us / 1e6, _seconds(event.end_us), event.end_us is None, event.sign)


def levels(state: records.State, reference_hz: float) -> tuple[float, float, float]:
    """Return (frequency in Hz, baseline in Hz, shift in ppm) of the tracker's latest reading.

    reference_hz: the frequency that `state` is relative to.
    """
    frequency_hz = reference_hz * (1.0 + 1e-9 * state.y_ppb)
    baseline_hz = reference_hz * (1.0 + 1e-9 * state.baseline_ppb)
    return frequency_hz, baseline_hz, 1e6 * (frequency_hz - baseline_hz) / baseline_hz


def point(state: records.State, reference_hz: float, uncertainty_ppm: float) -> Point:
    """Return the tracker's latest reading as an output.

    reference_hz: the frequency that `state` is relative to.  uncertainty_ppm: standard uncertainty of the shift.
    """
    frequency_hz, baseline_hz, shift_ppm = levels(state, reference_hz)
    return Point(
        time_s=state.time_us / 1e6,
        frequency_hz=frequency_hz,
        shift_ppm=shift_ppm,
        shift_hz=frequency_hz - baseline_hz,
        uncertainty_ppm=uncertainty_ppm,
        baseline_hz=baseline_hz,
        statistic=state.z,
        ready=state.ready,
        frozen=state.frozen,
        held=state.held,
    )


def summary(
    header: Header,
    duration_s: float,
    link: LinkCounts,
    noise: Noise,
    alerts: int,
    settings_sha256: str,
    mended: int = 0,
    repaired: int = 0,
    false_alarms_per_minute: float | None = None,
    broad_dips: int = 0,
) -> Summary:
    """Return the summary of one capture.

    alerts, mended, repaired, broad_dips: the tracker's counts.  false_alarms_per_minute: asked for; None: a fixed
    threshold.
    """
    median_hz, noise_ppm = noise.result()
    return Summary(
        start_utc=header.start_utc,
        duration_s=duration_s,
        records=link.records,
        lost=link.lost,
        dropped=link.dropped,
        damaged=link.damaged,
        baseline_hz=median_hz,
        noise_ppm=noise_ppm,
        alerts=alerts,
        settings_sha256=settings_sha256,
        mended=mended,
        repaired=repaired,
        false_alarms_per_minute=false_alarms_per_minute,
        broad_dips=broad_dips,
    )


def _seconds(time_us: int | None) -> float | None:
    return None if time_us is None else time_us / 1e6
