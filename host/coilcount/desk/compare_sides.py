"""Replays the recordings of one side of a comparison, and judges their alerts by the labels."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from coilcount.capture.labels import read_labels
from coilcount.desk import exceedance
from coilcount.desk.compare_noise import NoiseFigures, noise_figures
from coilcount.desk.exceedance import Peak
from coilcount.desk.recordings import Recording
from coilcount.desk.scoring import score
from coilcount.errors import CoilcountError, InputError
from coilcount.model import GridReplay, Label, Score
from coilcount.settings import Settings

WEAK = exceedance.PEAKS_FROM  # sigma: the low threshold, at which passes that were not found still have a score
# s beside a label in which peaks are not taken for noise: the lobes of a strong pass reach so far.  Chosen by hand.
_ASIDE_S = 1.0
_HIGHEST_THRESHOLD = 100.0  # sigma: the upper limit of the setting

# Replays recordings: many.replay_many(), to which the caller may have bound a progress display and a cache.
Replay = Callable[..., list[GridReplay | CoilcountError]]


@dataclass(frozen=True, slots=True)
class Given:
    """What the user gave for A or B.  clean: recordings for the threshold; () if it comes from `recordings`."""

    name: str  # "A" or "B"
    recordings: tuple[Recording, ...]
    settings: Settings
    settings_from: str  # for people: a file, or the word "defaults"
    clean: tuple[Recording, ...] = ()


@dataclass(frozen=True, slots=True)
class Judged:
    """One recording of a side, replayed and judged.

    place: among the recordings that were given, from 0; labels: None if there is no file of labels that can be read;
    at_threshold, weak: judged at the threshold and at WEAK.
    """

    place: int
    name: str
    labels: tuple[Label, ...] | None
    at_threshold: Score
    weak: Score
    ready_minutes: float
    baseline_hz: float | None
    simulated: bool
    noise: NoiseFigures | None


@dataclass(frozen=True, slots=True)
class Side:
    """One side with its replays.  peaks: from which the threshold was computed; None if it is that of the settings."""

    given: Given
    settings: Settings  # with the threshold or the rate in force
    peaks: int | None
    recordings: tuple[Judged, ...]


def replayed(
    given: Given,
    per_minute: float | None,
    replay: Replay,
    caution: Callable[[str], None],
    measured: Sequence[Judged] | None = None,
) -> Side:
    """Replay all recordings of a side.

    per_minute: false-alarm rate for which a fixed threshold is computed; None: as the settings say.  caution: called
    with each thing that a user should know.  measured: the same recordings, whose noise is already measured.
    Raises the last error if no recording can be read, InputError if the threshold cannot be computed.
    """
    settings, peaks = given.settings, None
    grids = _grids(given, settings, [WEAK], replay, caution, series=measured is None)
    if per_minute is not None:
        settings, peaks = _for_rate(given, per_minute, grids, replay, caution)
        again = _grids(given, settings, [], replay, lambda text: None)
        grids = [
            (place, labels, weak, at) for (place, labels, weak, _), (_, _, at, _) in zip(grids, again, strict=True)
        ]
    noises = {judged.place: judged.noise for judged in measured or ()}
    recordings = []
    for place, labels, grid, at_grid in grids:
        known = labels or ()
        recordings.append(
            Judged(
                place=place,
                name=grid.name,
                labels=labels,
                at_threshold=score(at_grid, at_grid.at[at_grid.own], known),
                weak=score(grid, grid.fixed(WEAK), known),
                ready_minutes=at_grid.ready_minutes,
                baseline_hz=at_grid.summary.baseline_hz,
                simulated=grid.header.simulated,
                noise=noise_figures(grid.series, known) if grid.series is not None else noises.get(place),
            )
        )
    return Side(given, settings, peaks, tuple(recordings))


_Grid = tuple[int, tuple[Label, ...] | None, GridReplay, GridReplay]  # place, labels, at WEAK, at the threshold


def _grids(
    given: Given,
    settings: Settings,
    thresholds: Sequence[float],
    replay: Replay,
    caution: Callable[[str], None],
    series: bool = False,
) -> list[_Grid]:
    found = []
    failure: CoilcountError | None = None
    grids = replay(given.recordings, settings, thresholds, series=series)
    for place, (recording, grid) in enumerate(zip(given.recordings, grids, strict=True)):
        name = recording.name
        if isinstance(grid, CoilcountError):
            failure = grid
            caution(f"left out: {grid}")
            continue
        if grid.complaint:
            caution(f"{name}: {grid.complaint}; the sound part was used")
        found.append((place, _labels(recording, grid, caution), grid, grid))
    if not found:
        raise failure or InputError(f"{given.name} has no recordings", remedy="Give at least one")
    return found


def _labels(recording: Recording, grid: GridReplay, caution: Callable[[str], None]) -> tuple[Label, ...] | None:
    """The labels inside the recording; None if there is no file of labels that can be read."""
    if not recording.labels.exists():
        return None
    try:
        labels = read_labels(recording.labels)
    except InputError as error:
        caution(f"{recording.name}: its labels cannot be used: {error}")
        return None
    inside = tuple(label for label in labels if label.closest_s <= grid.summary.duration_s)
    if len(inside) < len(labels):
        count = len(labels) - len(inside)
        caution(f"{recording.labels}: {count} label{'s' if count > 1 else ''} after the end of the recording left out")
    return inside


def _for_rate(
    given: Given, per_minute: float, grids: Sequence[_Grid], replay: Replay, caution: Callable[[str], None]
) -> tuple[Settings, int]:
    """The settings with a threshold for a rate, and the number of peaks in the tail that it was computed from."""
    if given.clean:
        clean = replace(given, recordings=given.clean)
        grids = _grids(clean, given.settings, [WEAK], replay, caution)
    peaks: list[Peak] = []
    minutes = 0.0
    for _, labels, grid, _ in grids:
        objects = [label for label in labels or () if label.is_object]
        spans = [(label.start_s - _ASIDE_S, label.end_s + _ASIDE_S) for label in objects]
        minutes += max(0.0, grid.ready_minutes - _covered_s(spans) / 60)
        peaks += [
            Peak(alert.peak_s, alert.score, alert.peak_shift_hz)
            for alert in score(grid, grid.fixed(WEAK), labels or ()).false_alarms
            if not any(low <= alert.peak_s <= high for low, high in spans)
        ]
    where = ", ".join(grid.name for _, _, grid, _ in grids[:2]) + (", ..." if len(grids) > 2 else "")
    tail = exceedance.fit([peak.z for peak in peaks], minutes)
    if tail is None:
        raise InputError(
            f"too few peaks for a threshold of {given.name}: {len(peaks)} in {minutes:.1f} minutes, and at least "
            f"{exceedance.FEWEST} are needed",
            where,
            "Give longer recordings with --clean",
        )
    if per_minute > tail.highest_rate:
        raise InputError(
            f"--false-alarms-per-minute is {per_minute:g}, but even the lowest threshold gives {given.name} only "
            f"{tail.highest_rate:.2g} a minute",
            where,
            "Ask for fewer",
        )
    strange = exceedance.strange(peaks, minutes)
    if strange:
        caution(
            f"{where}: {len(strange)} peaks outside the labels are no noise; the first has a score of "
            f"{abs(strange[0].z):.0f}. Objects without a label make the threshold of {given.name} too high"
        )
    threshold = min(round(tail.threshold(per_minute), 2), _HIGHEST_THRESHOLD)
    return given.settings.with_threshold(threshold), tail.count


def _covered_s(spans: Sequence[tuple[float, float]]) -> float:
    """The time in s that the spans cover together."""
    total, reached = 0.0, float("-inf")
    for low, high in sorted(spans):
        total += max(0.0, high - max(low, reached))
        reached = max(reached, high)
    return total
