"""A quiet recording looked at as a whole: stability, drift, and the threshold for a wanted rate of false alarms."""

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
from coilcount.desk.phases import PhaseReader, Phases
from coilcount.desk.spectrum import noise_ppm_rthz
from coilcount.desk.tape import Recorder, Tape, Watch, rerun
from coilcount.errors import EXIT_NO, CoilcountError, InputError
from coilcount.model import Alert, Entry, Header, Summary
from coilcount.physics.noise import NOISE_CLASSES, NoiseClass
from coilcount.settings import Settings
from coilcount.tracker.defaults import TABLE

FEWEST_READINGS = 50
MOST_IRREGULAR = 0.05
# Of the smallest scale that the tracker came down to: below that nothing on this oscillator lies.
FLOOR_SHARE = 0.7
SCALE_EVERY = 25  # readings
CLASS_TAUS_S = (0.1, 1.5)  # where a pass lies

Entries = Callable[[], Iterable[Entry]]


class NotClean(CoilcountError):
    """The recording holds more than noise (exit 1)."""

    exit_code = EXIT_NO


@dataclass(frozen=True, slots=True)
class Statistic:
    """What the tracker's statistic did by itself.

    minutes: with the boxes filled; learned: settings of the tracker that suit this oscillator and, in a clean recording
    of a minute and more, this ground, with which the peaks are; tail: None where there are fewer than 12 peaks;
    strange: peaks that noise does not make, empty for a clean recording.
    """

    minutes: float
    peaks: tuple[Peak, ...]
    learned: dict[str, Any]
    tail: Tail | None
    strange: tuple[Peak, ...]


@dataclass(frozen=True, slots=True)
class Quiet:
    """All that a quiet recording says.  noise_class: name and measured over expected deviation."""

    header: Header
    summary: Summary
    phases: Phases
    rows: tuple[stability.Row, ...]
    drift: Drift
    noise_class: tuple[str, float] | None
    statistic: Statistic
    tape: Tape  # what the tracker was given, for alerts_here


def examine(entries: Entries, settings: Settings, file: str, watch: Callable[[str], None] = lambda step: None) -> Quiet:
    """`entries` gives the capture's entries; `watch` is told what is done now, for whoever waits.

    The tracker runs over the recording with the scale's floor at its least, which gives the floor that suits it and
    tells whether the recording is clean; then with the noise that was learned.  Where the first run found something
    strange, or no noise is learned, one with that floor and without a learned noise has the last word.
    Raises InputError where the recording holds too little, or readings without an even spacing.
    """
    settings = _with(settings, threshold=exceedance.PEAKS_FROM, noise_ppm_rthz=())
    first = _First(_with(settings, scale_floor_ppm=_setting("scale_floor_ppm").lowest))
    for entry in entries():
        first.feed(entry)
    first.finish()
    phases = first.reader.result()
    if phases.irregular > MOST_IRREGULAR:
        raise InputError(
            f"{phases.irregular:.0%} of the rows lie beside an even spacing of {phases.tau0_s:g} s",
            file,
            "Stability needs one interval throughout: log at a fixed one",
        )
    if phases.readings < FEWEST_READINGS:
        raise InputError(
            f"{phases.readings} readings without a break are too few to tell anything",
            file,
            "Record some minutes over ground with nothing in it",
        )
    learned: dict[str, Any] = {"scale_floor_ppm": floor_ppm(first.watch.scales_ppm, settings.tracker)}
    watch("learning the noise")
    noise = noise_ppm_rthz(phases.x, phases.tau0_s)
    strange: list[Peak] = exceedance.strange(first.peaks, first.watch.ready * phases.tau0_s / 60)
    ready = 0
    peaks: list[Peak] = []
    if strange or noise is None:
        watch("looking for what is not noise")
        peaks, ready = first.again(_with(settings, **learned))
        strange = exceedance.strange(peaks, ready * phases.tau0_s / 60)
    if not strange and noise is not None:
        learned["noise_ppm_rthz"] = noise
        watch("counting how often the noise comes how far")
        peaks, ready = first.again(_with(settings, **learned))
    minutes = ready * phases.tau0_s / 60
    tail = None if strange else exceedance.fit([one.z for one in peaks], minutes)
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
    """How many alerts a recording has with a threshold and what was learned: the tracker's own answer."""
    chain = Chain(_with(settings, **{**learned, "threshold": threshold}), follow_threshold=False)
    count = 0
    for entry in entries():
        count += _finals(chain.feed(entry))
    return count + _finals(chain.finish())


def alerts_here(found: Quiet, settings: Settings, threshold: float) -> int:
    """The same of the recording that was examined, which is not read once more."""
    with_it = _with(settings, **{**found.statistic.learned, "threshold": threshold})
    return sum(1 for _ in rerun(found.tape, with_it.tracker))


def floor_ppm(scales_ppm: Sequence[float], settings: Mapping[str, Any]) -> float:
    """A share of the least scale, whatever moment (but for a hundredth of them) and width it was of."""
    if not scales_ppm:
        return settings["scale_floor_ppm"]
    row = _setting("scale_floor_ppm")
    floor = FLOOR_SHARE * float(np.percentile(scales_ppm, 1))
    return min(row.highest, max(row.lowest, float(f"{floor:.2g}")))


def allan_deviation(noise: NoiseClass, tau_s: float) -> float:
    """sigma_y: sqrt(h0/(2 tau) + 2 ln2 h-1 + 2 pi^2/3 h-2 tau) (IEEE Std 1139, NIST SP 1065; quoted from memory)."""
    return sqrt(noise.h0 / (2 * tau_s) + 2 * log(2) * noise.h_minus1 + 2 * np.pi**2 / 3 * noise.h_minus2 * tau_s)


def nearest_class(rows: Iterable[stability.Row]) -> tuple[str, float] | None:
    """The class of physics.noise that comes nearest where a pass lies, and measured over expected deviation there."""
    low, high = CLASS_TAUS_S
    near = [row for row in rows if low <= row.tau_s <= high and row.oadev.value > 0]
    if not near:
        return None
    found = []
    for name, of in NOISE_CLASSES.items():
        if of.h0:
            ratio = np.mean([log(row.oadev.value / allan_deviation(of, row.tau_s)) for row in near])
            found.append((abs(ratio), name, float(np.exp(ratio))))
    return min(found)[1:]


class _First:
    """The one run in which the entries are read: by the chain, the tape and the reader of phases."""

    def __init__(self, settings: Settings) -> None:
        self.tape = Tape()
        self.watch = Watch(SCALE_EVERY)
        self.reader = PhaseReader()
        self.header = Header(source="unknown", start_utc="")
        self.summary: Summary | None = None
        self.peaks: list[Peak] = []
        self._chain = Chain(settings, follow_threshold=False, make_tracker=partial(Recorder, self.tape, self.watch))

    def feed(self, entry: Entry) -> None:
        self.reader.feed(entry)
        if type(entry) is Header:
            self.header = entry
        made = self._chain.feed(entry)
        if made:
            self._take(made)

    def finish(self) -> None:
        self._take(self._chain.finish())

    def again(self, settings: Settings) -> tuple[list[Peak], int]:
        """The peaks with other settings of the tracker, and how many readings had a statistic."""
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

    def _take(self, made: Iterable[Any]) -> None:
        for output in made:
            if type(output) is Alert and output.stage == "final":
                self.peaks.append(_peak(output))
            elif type(output) is Summary:
                self.summary = output


def _peak(alert: Alert) -> Peak:
    # An alert of a step that never settled has no sign; it is a peak all the same.
    return Peak(alert.peak_s, alert.score * (alert.sign or 1), alert.peak_shift_hz)


def _finals(made: Iterable[Any]) -> int:
    return sum(type(output) is Alert and output.stage == "final" for output in made)


def _setting(name: str) -> Any:
    return next(row for row in TABLE if row.name == name)


def _with(settings: Settings, **tracker: Any) -> Settings:
    return replace(settings, tracker=MappingProxyType({**settings.tracker, **tracker}))
