"""What a sweep sounds like: the chain's outputs become short tones.  No clock, device or file is used here.

A tone is 0.1 to 0.2 s long.  Its pitch says how large the shift is, and the way it bends says its direction:

- The pitch is 400 Hz at 1 ppm, and 1.5 times as high for ten times the shift, from 320 to 1600 Hz.
- It is the same for a rise and for a fall.  So no pitch belongs to a metal or to a kind of object.
- The frequency rose: the tone bends upward.  It fell: the tone bends downward.  Nobody needs to know the scale.
- An alert is raised and its sign is not final: one tone that does not bend.  Then bent tones, until it is released.
- An uncertain alert bends too, because its sign is known, but its tone is cut into three pieces.
- Baseline held or frozen: slower and softer bent tones follow the shift of each moment, because the level lasts.
- Otherwise it is quiet.  A faint tick once a second says that readings come; two say that the baseline stands still.

A pass takes less time than two tones, so the tones of an alert have the pitch of its peak.  The loudness does not say
how large a shift is: a weak object must be heard as well as a strong one.  All frequencies lie from 256 to 2000 Hz,
because many people hear poorly above that and small loudspeakers are weak below it.
"""

import math
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass

from coilcount.live.readout import CLEAR_OF
from coilcount.model import Alert, Output, Point, Silence, Thresholds

# All figures of the mapping are chosen by hand.
PITCH_AT_1_PPM_HZ = 400.0
PITCH_PER_DECADE = 1.5  # factor, for ten times the shift
LOWEST_PITCH_HZ, HIGHEST_PITCH_HZ = 320.0, 1600.0  # in the middle of a tone
BEND = 1.25  # factor from the middle of a bent tone to its higher end, and from its lower end to the middle
UNCERTAIN_PIECES = 3

# Seconds.
UNSETTLED_S = 0.1
BENT_S = 0.18
PAUSE_S = 0.02  # at least, between two tones
ALERT_EVERY_S = 0.26  # from tone to tone while an alert is open
LEVEL_EVERY_S = 0.5  # the same over a held or frozen baseline
LEVEL_MEAN_S = 0.1  # a level is the mean of the readings of this time
TICK_EVERY_S = 1.0
TICK_S = 0.016
TICK_PAIR_S = 0.12  # from the first tick to the second one
# A tone that would be this late is left out.  Many alerts in a row could otherwise fall behind the coil.
UNSETTLED_LATE_S, BENT_LATE_S = 0.1, 1.0

# Peaks, as a share of full scale.  Never loud: 0.25 is 12 dB below the loudest that a volume setting allows.
ALERT_PEAK = 0.25
LEVEL_PEAK = 0.12
TICK_PEAK = 0.02
TICK_HZ = 1000.0


@dataclass(frozen=True, slots=True)
class Tone:
    """One short sound, of one voice: no two tones overlap.

    start_s: on the board's time base.  peak: share of full scale.  pieces: how many it is cut into, 1 for a whole one.
    The frequency goes from from_hz to to_hz by equal factors in equal times.
    """

    start_s: float
    length_s: float
    from_hz: float
    to_hz: float
    peak: float
    pieces: int = 1

    @property
    def end_s(self) -> float:
        """When it is over."""
        return self.start_s + self.length_s


def pitch_hz(shift_ppm: float) -> float:
    """The frequency in the middle of the tone for a shift of either sign: Hz, LOWEST_PITCH_HZ to HIGHEST_PITCH_HZ."""
    if shift_ppm == 0:
        return LOWEST_PITCH_HZ
    pitch = PITCH_AT_1_PPM_HZ * PITCH_PER_DECADE ** math.log10(abs(shift_ppm))
    return min(HIGHEST_PITCH_HZ, max(LOWEST_PITCH_HZ, pitch))


class Voice:
    """Call take() with every output of the chain, points included, in their order."""

    def __init__(self, threshold_ppm: Callable[[], Thresholds | None]) -> None:
        """threshold_ppm: gives the thresholds as shifts, None during warm-up; below its own one a level is silent."""
        self._threshold_ppm = threshold_ppm
        self._now_s = 0.0
        self._free_s = -math.inf  # the end of the last tone, with its pause
        self._next_s = 0.0  # of the next tone of an open alert, or of a level
        self._tick_s = -math.inf
        self._alert: Alert | None = None  # settled and not released
        self._heard: dict[int, tuple[int, bool]] = {}  # number of an alert that is not final: its sign, if uncertain
        self._readings: deque[tuple[float, float]] = deque()  # (time_s, shift_ppm) of the last LEVEL_MEAN_S

    def take(self, output: Output) -> list[Tone]:
        """The tones that begin with this output, in the order of time; most outputs give none."""
        if isinstance(output, Point):
            return self._point(output)
        if isinstance(output, Alert):
            return self._stage(output)
        if isinstance(output, Silence):
            self._readings.clear()
        return []

    # ------------------------------------------------------------ alerts

    def _stage(self, alert: Alert) -> list[Tone]:
        if alert.stage == "raised":
            pitch = pitch_hz(alert.peak_shift_ppm)
            return self._tone(alert.raised_s, UNSETTLED_S, pitch, pitch, ALERT_PEAK, UNSETTLED_LATE_S)
        answer = (alert.sign, alert.response == "uncertain")
        tones = []
        # A second look may turn the sign, or make the alert uncertain, after it was heard: then it is heard again.
        if alert.stage in ("settled", "final") and alert.sign and self._heard.get(alert.id) != answer:
            self._heard[alert.id] = answer
            tones = self._answer(alert, alert.settled_s if alert.stage == "settled" else self._now_s)
        if alert.stage == "settled" and alert.released_s is None:
            self._alert = alert
        elif self._alert is not None and self._alert.id == alert.id:
            self._alert = None
        if alert.stage == "final":
            self._heard.pop(alert.id, None)
        return tones

    def _answer(self, alert: Alert, start_s: float) -> list[Tone]:
        self._next_s = max(start_s, self._free_s) + ALERT_EVERY_S
        pieces = UNCERTAIN_PIECES if alert.response == "uncertain" else 1
        return self._bent(start_s, alert.peak_shift_ppm, alert.sign, ALERT_PEAK, pieces)

    # ------------------------------------------------------------ readings

    def _point(self, point: Point) -> list[Tone]:
        self._now_s = point.time_s
        tones = []
        if self._alert is not None:
            if point.time_s >= self._next_s:
                tones = self._answer(self._alert, point.time_s)
        elif point.held or point.frozen:
            tones = self._level(point)
        else:
            self._readings.clear()
        return tones or self._tick(point)

    def _level(self, point: Point) -> list[Tone]:
        readings = self._readings
        readings.append((point.time_s, point.shift_ppm))
        while readings[0][0] < point.time_s - LEVEL_MEAN_S:
            readings.popleft()
        if point.time_s < self._next_s:
            return []
        shift_ppm = sum(shift for _, shift in readings) / len(readings)
        threshold_ppm = self._threshold_ppm()
        sign = 1 if shift_ppm > 0 else -1
        if threshold_ppm is None or abs(shift_ppm) < max(threshold_ppm.of(sign), CLEAR_OF * point.uncertainty_ppm):
            return []
        self._next_s = point.time_s + LEVEL_EVERY_S
        return self._bent(point.time_s, shift_ppm, sign, LEVEL_PEAK, 1)

    def _tick(self, point: Point) -> list[Tone]:
        if point.time_s < self._tick_s or point.time_s < self._free_s:
            return []
        # At whole seconds of the board's time, so that ticks stay even after one was left out.
        self._tick_s = (math.floor(point.time_s / TICK_EVERY_S) + 1) * TICK_EVERY_S
        starts = [point.time_s]
        if point.held or point.frozen:
            starts.append(point.time_s + TICK_PAIR_S)
        return [tone for start_s in starts for tone in self._tone(start_s, TICK_S, TICK_HZ, TICK_HZ, TICK_PEAK, 0.0)]

    # ------------------------------------------------------------ tones

    def _bent(self, start_s: float, shift_ppm: float, sign: int, peak: float, pieces: int) -> list[Tone]:
        pitch, bend = pitch_hz(shift_ppm), BEND**sign
        return self._tone(start_s, BENT_S, pitch / bend, pitch * bend, peak, BENT_LATE_S, pieces)

    def _tone(
        self, start_s: float, length_s: float, from_hz: float, to_hz: float, peak: float, late_s: float, pieces: int = 1
    ) -> list[Tone]:
        """The tone, later if the last one is not over; none if it would be later than late_s."""
        begin_s = max(start_s, self._free_s)
        if begin_s > start_s + late_s:
            return []
        tone = Tone(begin_s, length_s, from_hz, to_hz, peak, pieces)
        self._free_s = tone.end_s + PAUSE_S
        return [tone]
