"""Examines a quiet recording: stability, drift, noise profile, and the peaks from which a threshold is computed."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from math import log, sqrt
from types import MappingProxyType
from typing import Any

import numpy as np

from coilcount.chain import Chain, outputs
from coilcount.desk import exceedance, stability
from coilcount.desk.drift import Drift, drift
from coilcount.desk.exceedance import Peak, Tail
from coilcount.desk.phases import PhaseReader, Phases, PhaseTracking
from coilcount.desk.spectrum import noise_ppm_rthz
from coilcount.desk.tape import Recorder, Tape, Watch, rerun
from coilcount.errors import EXIT_NO, CoilcountError, InputError
from coilcount.model import Alert, Entry, Header, Summary
from coilcount.physics.noise import NOISE_CLASSES, NoiseClass
from coilcount.settings import Settings
from coilcount.tracker.defaults import TABLE

FEWEST_READINGS = 50  # chosen by hand
MOST_IRREGULAR = 0.05  # share of unevenly spaced rows above which an imported log is refused; chosen by hand
# The floor of the scale, as a share of the smallest scale that the tracker reached.  The noise of this oscillator is
# never lower.  Chosen by hand.
FLOOR_SHARE = 0.7
SCALE_EVERY = 25  # readings between two samples of the scale
CLASS_TAUS_S = (0.1, 1.5)  # averaging times that matter for a pass; the noise class is compared there

Entries = Callable[[], Iterable[Entry]]


class NotClean(CoilcountError):
    """The recording holds more than noise (exit 1)."""

    exit_code = EXIT_NO


@dataclass(frozen=True, slots=True)
class Statistic:
    """What the detection statistic did in the recording.

    minutes: time after warm-up; peaks: with the settings in `learned`; learned: settings of the tracker that suit this
    oscillator, and this ground if the recording is clean and at least a minute long; tail: None if there are fewer
    than 12 peaks; strange: peaks that noise does not make, empty for a clean recording.
    """

    minutes: float
    peaks: tuple[Peak, ...]
    learned: dict[str, Any]
    tail: Tail | None
    strange: tuple[Peak, ...]


@dataclass(frozen=True, slots=True)
class Quiet:
    """All that was found in a quiet recording.  noise_class: its name, and measured over expected deviation."""

    header: Header
    summary: Summary
    phases: Phases
    rows: tuple[stability.Row, ...]
    drift: Drift
    noise_class: tuple[str, float] | None
    statistic: Statistic
    tape: Tape  # the input of the tracker, which `alerts_here` uses again


def examine(entries: Entries, settings: Settings, file: str, watch: Callable[[str], None] = lambda step: None) -> Quiet:
    """Examine a recording.

    entries: returns the entries of the capture; settings: the tracker settings in force; file: name for error
    messages; watch: called with the name of each step, for a progress display.
    Raises InputError if the recording is too short, or if its readings are not evenly spaced.

    First the tracker runs with the lowest floor of the scale.  This run gives the right floor, and shows whether the
    recording is clean.  If it is, the tracker runs again with the noise profile.  If it is not clean, or too short
    for a noise profile, the tracker runs with the right floor and without a profile, and that run decides.
    """
    settings = _with(settings, threshold=exceedance.PEAKS_FROM, noise_ppm_rthz=())
    first = _First(_with(settings, scale_floor_ppm=_setting("scale_floor_ppm").lowest))
    for entry in entries():
        first.feed(entry)
    first.finish()
    phases = first.reader.result()
    if phases.irregular > MOST_IRREGULAR:
        raise InputError(
            f"{phases.irregular:.0%} of the rows do not fit an even spacing of {phases.tau0_s:g} s",
            file,
            "Stability needs evenly spaced readings: log at a fixed interval",
        )
    if phases.readings < FEWEST_READINGS:
        raise InputError(
            f"{phases.readings} readings without a break are too few",
            file,
            "Record several minutes over ground with nothing in it",
        )
    learned: dict[str, Any] = {"scale_floor_ppm": floor_ppm(first.watch.scales_ppm, settings.tracker)}
    watch("measuring the noise profile")
    noise = noise_ppm_rthz(phases.x, phases.tau0_s)
    strange: list[Peak] = exceedance.strange(first.peaks, first.watch.ready * phases.tau0_s / 60)
    ready = 0
    peaks: list[Peak] = []
    if strange or noise is None:
        watch("looking for peaks that are not noise")
        peaks, ready = first.again(_with(settings, **learned))
        strange = exceedance.strange(peaks, ready * phases.tau0_s / 60)
    if not strange and noise is not None:
        learned["noise_ppm_rthz"] = noise
        watch("counting the peaks of the noise")
        peaks, ready = first.again(_with(settings, **learned))
    minutes = ready * phases.tau0_s / 60
    tail = None if strange else exceedance.fit([peak.z for peak in peaks], minutes)
    watch("computing the stability")
    rows = tuple(stability.table(phases.x, phases.tau0_s))
    return Quiet(
        first.header,
        first.summary,
        phases,
        rows,
        drift(phases),
        nearest_class(rows),
        Statistic(minutes, tuple(peaks), learned, tail, tuple(strange)),
        first.tape,
    )


def alerts_at(entries: Entries, settings: Settings, threshold: float, learned: dict[str, Any]) -> int:
    """Count the alerts of any recording with a threshold and learned settings, by running the whole chain."""
    chain = Chain(_with(settings, **{**learned, "threshold": threshold}), follow_operator=False)
    count = 0
    for entry in entries():
        count += _finals(chain.feed(entry))
    return count + _finals(chain.finish())


def alerts_here(found: Quiet, settings: Settings, threshold: float) -> int:
    """Count the alerts of the examined recording with a threshold, from its tape and without reading the file again."""
    tried = _with(settings, **{**found.statistic.learned, "threshold": threshold})
    return sum(1 for _ in rerun(found.tape, tried.tracker))


def floor_ppm(scales_ppm: Sequence[float], settings: Mapping[str, Any]) -> float:
    """Compute the floor of the scale: a share of the smallest scales (their 1 % point) in the recording."""
    if not scales_ppm:
        return settings["scale_floor_ppm"]
    row = _setting("scale_floor_ppm")
    floor = FLOOR_SHARE * float(np.percentile(scales_ppm, 1))
    return min(row.highest, max(row.lowest, float(f"{floor:.2g}")))


def allan_deviation(noise: NoiseClass, tau_s: float) -> float:
    """Compute the Allan deviation of a noise class: sqrt(h0/(2 tau) + 2 ln2 h-1 + 2 pi^2/3 h-2 tau).

    Source: IEEE Std 1139, NIST SP 1065; quoted from memory.
    """
    return sqrt(noise.h0 / (2 * tau_s) + 2 * log(2) * noise.h_minus1 + 2 * np.pi**2 / 3 * noise.h_minus2 * tau_s)


def nearest_class(rows: Iterable[stability.Row]) -> tuple[str, float] | None:
    """Find the noise class with the nearest deviation at `CLASS_TAUS_S`.

    Returns its name, and measured over expected deviation; None if no row has such an averaging time.
    """
    low, high = CLASS_TAUS_S
    near = [row for row in rows if low <= row.tau_s <= high and row.oadev.value > 0]
    if not near:
        return None
    found = []
    for name, noise in NOISE_CLASSES.items():
        if noise.h0:
            log_ratio = np.mean([log(row.oadev.value / allan_deviation(noise, row.tau_s)) for row in near])
            found.append((abs(log_ratio), name, float(np.exp(log_ratio))))
    return min(found)[1:]


class _First:
    """The first run, the only one that reads the entries: chain, tape and phase reader see each of them once."""

    def __init__(self, settings: Settings) -> None:
        self.tape = Tape()
        self.watch = Watch(SCALE_EVERY)
        self.reader = PhaseReader()
        self.header = Header(source="unknown", start_utc="")
        self.summary: Summary | None = None
        self.peaks: list[Peak] = []
        tracking = PhaseTracking(settings, self.reader, partial(Recorder, self.tape, self.watch))
        self._chain = Chain(settings, tracking=tracking)
        self.reader.intake = self._chain.intake

    def feed(self, entry: Entry) -> None:
        if type(entry) is Header:
            self.header = entry
        outputs_now = self._chain.feed(entry)
        self.reader.note(entry)
        if outputs_now:
            self._take(outputs_now)

    def finish(self) -> None:
        self._take(self._chain.finish())

    def again(self, settings: Settings) -> tuple[list[Peak], int]:
        """Run the tracker again from the tape, with other settings.

        Returns the peaks, and the number of readings that had a statistic.
        """
        watch = Watch(SCALE_EVERY)
        tick_s = self.reader.tick_s
        peaks = []
        for event, tracker in rerun(self.tape, settings.tracker, watch):
            if tick_s is None:
                reference_hz = tracker.reference_hz
            else:
                ticks, edges = tracker.reference
                reference_hz = edges / (ticks * tick_s)
            peaks.append(_peak(outputs.alert(event, event.id, reference_hz)))
        return peaks, watch.ready

    def _take(self, made_outputs: Iterable[Any]) -> None:
        for output in made_outputs:
            if type(output) is Alert and output.stage == "final":
                self.peaks.append(_peak(output))
            elif type(output) is Summary:
                self.summary = output


def _peak(alert: Alert) -> Peak:
    # An alert that never settled has no sign, but it is a peak like any other.
    return Peak(alert.peak_s, alert.score * (alert.sign or 1), alert.peak_shift_hz)


def _finals(made_outputs: Iterable[Any]) -> int:
    return sum(type(output) is Alert and output.stage == "final" for output in made_outputs)


def _setting(name: str) -> Any:
    return next(row for row in TABLE if row.name == name)


def _with(settings: Settings, **tracker: Any) -> Settings:
    return replace(settings, tracker=MappingProxyType({**settings.tracker, **tracker}))
