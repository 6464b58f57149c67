"""A quiet recording looked at as a whole: stability, drift, and the threshold for a wanted rate of false alarms."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from math import log, sqrt
from types import MappingProxyType
from typing import Any

import numpy as np

from coilcount.chain import Chain
from coilcount.desk import exceedance, stability
from coilcount.desk.drift import Drift, drift
from coilcount.desk.exceedance import Peak, Tail
from coilcount.desk.phases import PhaseReader, Phases
from coilcount.desk.spectrum import noise_ppm_rthz
from coilcount.errors import EXIT_NO, CoilcountError, InputError
from coilcount.model import Alert, Entry, Header, Point, Summary
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
    """All that a quiet recording tells.  noise_class: name and measured over expected deviation."""

    header: Header
    summary: Summary
    phases: Phases
    rows: tuple[stability.Row, ...]
    drift: Drift
    noise_class: tuple[str, float] | None
    statistic: Statistic


def examine(entries: Entries, settings: Settings, file: str) -> Quiet:
    """`entries` gives the capture's entries anew each time it is called.

    Raises InputError where it holds too little, or readings without an even spacing.
    """
    reader = PhaseReader()
    least = _setting("scale_floor_ppm").lowest
    settings = _with(settings, threshold=exceedance.PEAKS_FROM, noise_ppm_rthz=())
    first = _Listener(_with(settings, scale_floor_ppm=least))
    for entry in entries():
        reader.feed(entry)
        first.feed(entry)
    first.finish()
    phases = reader.result()
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
    learned: dict[str, Any] = {"scale_floor_ppm": first.floor_ppm(settings.tracker["scale_floor_ppm"])}
    heard = _listen(entries, settings, learned)
    strange = exceedance.strange(heard.peaks, heard.ready * phases.tau0_s / 60)
    noise = None if strange else noise_ppm_rthz(phases.x, phases.tau0_s)
    if noise is not None:
        learned["noise_ppm_rthz"] = noise
        heard = _listen(entries, settings, learned)
    minutes = heard.ready * phases.tau0_s / 60
    peaks = tuple(heard.peaks)
    tail = None if strange else exceedance.fit([one.z for one in peaks], minutes)
    rows = tuple(stability.table(phases.x, phases.tau0_s))
    return Quiet(
        heard.header,
        heard.summary,
        phases,
        rows,
        drift(phases),
        nearest_class(rows),
        Statistic(minutes, peaks, learned, tail, tuple(strange)),
    )


def alerts_at(entries: Entries, settings: Settings, threshold: float, learned: dict[str, Any]) -> int:
    """How many alerts the recording itself has with a threshold and what was learned: the tracker's own answer."""
    return len(_listen(entries, settings, {**learned, "threshold": threshold}, points=False).peaks)


def _listen(entries: Entries, settings: Settings, learned: dict[str, Any], points: bool = True) -> "_Listener":
    listener = _Listener(_with(settings, **learned), points)
    for entry in entries():
        listener.feed(entry)
    listener.finish()
    return listener


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


class _Listener:
    """The tracker over a recording: its alerts as peaks, and its scale."""

    def __init__(self, settings: Settings, points: bool = True) -> None:
        self.chain = Chain(settings, points=points, follow_threshold=False)
        self.header = Header(source="unknown", start_utc="")
        self.summary: Summary | None = None
        self.peaks: list[Peak] = []
        self.ready = 0
        self._scales: list[float] = []

    def feed(self, entry: Entry) -> None:
        if type(entry) is Header:
            self.header = entry
        self._take(self.chain.feed(entry))

    def finish(self) -> None:
        self._take(self.chain.finish())

    def floor_ppm(self, otherwise: float) -> float:
        """A share of the least scale, whatever moment (but for a hundredth of them) and width it was of."""
        if not self._scales:
            return otherwise
        row = _setting("scale_floor_ppm")
        floor = FLOOR_SHARE * float(np.percentile(self._scales, 1))
        return min(row.highest, max(row.lowest, float(f"{floor:.2g}")))

    def _take(self, outputs: list[Any]) -> None:
        for output in outputs:
            if type(output) is Point:
                if output.ready:
                    self.ready += 1
                    level_ppm = self.chain.threshold_ppm if self.ready % SCALE_EVERY == 0 else None
                    if level_ppm is not None:
                        self._scales.append(level_ppm / self.chain.threshold)
            elif type(output) is Alert and output.stage == "final":
                # An alert of a step that never settled has no sign; it is a peak all the same.
                z = output.score * (output.sign or 1)
                self.peaks.append(Peak(output.peak_s, z, output.peak_shift_hz))
            elif type(output) is Summary:
                self.summary = output


def _setting(name: str) -> Any:
    return next(row for row in TABLE if row.name == name)


def _with(settings: Settings, **tracker: Any) -> Settings:
    return replace(settings, tracker=MappingProxyType({**settings.tracker, **tracker}))
