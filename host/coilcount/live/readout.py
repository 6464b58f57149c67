"""What a live screen shows, gathered from the chain's outputs.  No terminal and no clock in here.

Times are seconds on the board's time axis, unless the name says host.
"""

import math
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from coilcount.live.facts import Facts
from coilcount.model import Alert, ChainFacts, MarkMade, Output, Point, Silence

# Seconds.  The strip's finest column, and how much of the past the widest terminal may show.  Chosen by hand.
BIN_S = 0.1
KEPT_S = 80.0
# Seconds since the peak.  An alert is over in a third of a second.  Its answer stays long enough to look up from the
# ground, then it is dimmed, then it goes: an old answer must not be taken for the present one.  Chosen by hand.
ANSWER_FRESH_S = 3.0
ANSWER_STAYS_S = 8.0
# Standard uncertainties that a shift must be away from the baseline to have a direction.  Chosen by hand.
CLEAR_OF = 3.0
# Seconds.  The drift is that of the baseline over the first time, and unknown before the second.  Chosen by hand.
DRIFT_OVER_S = 60.0
DRIFT_AT_LEAST_S = 10.0
# Seconds.  A frozen baseline is off by 1 ppm (median) after 4 to 5 s outdoors and after 9 to 10 s on a bench: from an
# earlier simulation study, not repeated here.
FROZEN_GOOD_S = 10.0
# ppm.  A 24 mm copper coin 5 cm deep gives 38 ppm, 8 cm below a coil of R 9 cm (computed).  On soil where nothing
# weaker can be held, auto-hold is of no use.
HOLD_MOST_PPM = 40.0
# Seconds.  A disk that is asked once a second takes less.  Chosen by hand.
DISK_LATE_S = 2.0
# Times the noise of the profile from which a new sweep pays.  Chosen by hand: a pass every other second gives 1.6.
ROUGHER = 1.8

RISE = "▲"
FALL = "▼"
STEADY = "–"
GLYPH = {1: RISE, -1: FALL, 0: STEADY}
WENT = {1: "rose", -1: "fell", 0: "not settled"}
# The sign says which way the inductance went.  It does not say which metal.
RESPONSE_WORDS = {"ferrous": "ferrous response", "non-ferrous": "non-ferrous, or sheet iron", "uncertain": "uncertain"}


@dataclass(slots=True)
class Column:
    """One column of the strip: the largest shift in it (None: no reading came), and what else happened then."""

    shift_ppm: float | None = None
    gap: bool = False
    mark: bool = False


@dataclass(frozen=True, slots=True)
class Answer:
    """The one line that can be read from two metres, and what stands under it.

    word: FERROUS, NON-FERROUS, UNCERTAIN, SETTLING, ROSE, FELL, NO DATA, STOPPED, or "" for nothing to report.
    note: the same in a sentence, quietly; sign: of the shift, 0 if there is none or it is not settled;
    peak_ppm, peak_hz: of the pass, or the level over a held or frozen baseline; age_s: since the peak, None for what is
    true now; alert: the one that it is about.
    """

    word: str
    note: str
    sign: int = 0
    peak_ppm: float | None = None
    peak_hz: float | None = None
    age_s: float | None = None
    alert: Alert | None = None

    @property
    def fresh(self) -> bool:
        """Shown in full strength; later it is dimmed."""
        return self.age_s is None or self.age_s <= ANSWER_FRESH_S


@dataclass(slots=True)
class Readout:
    """Call take() with every output, then read the rest.

    facts: what the session knows.  chain: what the chain knows; the session sets it before each drawing.
    estimate: returns the coil's frequency_hz with its uncertainty_hz, or None; called only when something is drawn.
    """

    facts: Facts = field(default_factory=Facts)
    chain: ChainFacts = field(default_factory=ChainFacts)
    estimate: Callable[[], Any] = lambda: None
    point: Point | None = None
    alerts: deque[Alert] = field(default_factory=lambda: deque(maxlen=20))
    _bins: dict[int, Column] = field(default_factory=dict)
    _baselines: deque[tuple[float, float]] = field(default_factory=deque)

    def take(self, output: Output) -> None:
        """Keep what the screen needs of one output."""
        if isinstance(output, Point):
            self._take_point(output)
        elif isinstance(output, Alert):
            self._take_alert(output)
        elif isinstance(output, Silence):
            self._take_gap(output)
        elif isinstance(output, MarkMade):
            self._bin(output.time_s).mark = True

    def answer(self) -> Answer:
        """The answer now; that of the last alert stays a few seconds."""
        point = self.point
        if self.facts.problem:
            return Answer("NO DATA", f"nothing is received: {self.facts.problem}")
        if self.chain.stopped:
            return Answer("STOPPED", "nothing is counted: the oscillator has stopped")
        if point is None:
            return Answer("", "waiting for the first reading")
        alert = self.alerts[-1] if self.alerts else None
        if alert and alert.stage == "final" and alert.sign == 0:
            alert = None  # it ended before its sign could settle
        level = self._level() if point.ready else None
        if level and (alert is None or alert.sign != level.sign or self._age_s(alert) > ANSWER_FRESH_S):
            # The coil moves over an object that lies there.  The alert comes from the movement, the level from the
            # object.
            return level
        if alert and (alert.released_s is None or self._age_s(alert) <= ANSWER_STAYS_S):
            return self._of_alert(alert)
        if not point.ready:
            return Answer("", "warm-up: the first 4 s only collect readings, no alert can be raised")
        if point.held:
            return Answer("", "baseline held: something rests under the coil")
        return Answer("", "nothing above the threshold")

    def _age_s(self, alert: Alert) -> float:
        return max(0.0, self.point.time_s - alert.peak_s)

    def _of_alert(self, alert: Alert) -> Answer:
        if alert.sign == 0:
            return Answer("SETTLING", "an alert is raised, its sign is not final", alert=alert)
        return Answer(
            alert.response.upper(), f"{WENT[alert.sign]}: {response_words(alert)}", alert.sign, alert.peak_shift_ppm,
            alert.peak_shift_hz, self._age_s(alert), alert,
        )  # fmt: skip

    def _level(self) -> Answer | None:
        """The level over a frozen or held baseline; None without one, or if it is not clear of its uncertainty."""
        frozen = self.facts.frozen_since_host_s is not None
        way = self.way()
        if not way or not (frozen or self.point.held):
            return None
        note = f"level over the {'frozen' if frozen else 'held'} baseline, now"
        return Answer(WENT[way].upper(), note, way, self.point.shift_ppm, self.point.shift_hz)

    @property
    def point_now(self) -> Point | None:
        """The latest reading while readings come; an old one is no answer to where the coil is now."""
        return None if self.facts.problem or self.chain.stopped else self.point

    def way(self) -> int:
        """Which way the frequency is off right now: -1, 0 or +1, where it is clear of its uncertainty."""
        point = self.point_now
        if point is None or abs(point.shift_ppm) < CLEAR_OF * point.uncertainty_ppm:
            return 0
        return 1 if point.shift_ppm > 0 else -1

    def frozen_s(self) -> float | None:
        """How long ago the baseline was frozen, or set again."""
        since_s = self.facts.frozen_since_host_s
        return None if since_s is None else self.facts.host_s - since_s

    def baseline(self) -> str:
        """What the baseline does and how far it can be trusted, in words that fit 60 columns with their label."""
        age_s = self.frozen_s()
        if age_s is not None:
            if age_s > FROZEN_GOOD_S:
                return f"FROZEN {clock(age_s)}: may be 1 ppm off by now, f again"
            return f"FROZEN {clock(age_s)}: good for 4 s outdoors, 9 s on a bench"
        if self.point and self.point.held:
            return "HELD by itself; f freezes it until g"
        words = self.hold_words()
        return f"tracking; {words}" if words else "tracking"

    def hold_words(self) -> str:
        """The level from which auto-hold can be relied on; nothing while that is not known."""
        from_ppm = self.chain.hold_from_ppm
        if from_ppm is None:
            return ""
        if from_ppm > HOLD_MOST_PPM:
            return f"no auto-hold below {from_ppm:.0f} ppm: use f"
        return f"auto-hold from {from_ppm:.1f} ppm on"

    def coil(self) -> str:
        """The coil's frequency in words: over the last second with its uncertainty, else that of the last reading."""
        point = self.point_now
        best = self.estimate() if point else None
        if best is None:
            return frequency(point.frequency_hz if point else None)
        places = decimals(best.uncertainty_hz)
        value = f"{best.frequency_hz:,.{places}f}".replace(",", " ")
        return f"{value} ± {best.uncertainty_hz:.{places}f} Hz"

    def drift_ppm_per_min(self) -> float | None:
        """How the baseline moves, over the last minute; None where less than a few seconds are known."""
        if not self._baselines:
            return None
        first_s, first_hz = self._baselines[0]
        last_s, last_hz = self._baselines[-1]
        if last_s - first_s < DRIFT_AT_LEAST_S:
            return None
        return (last_hz / first_hz - 1) * 1e6 * 60 / (last_s - first_s)

    def strip(self, columns: int, at_least_s: float = 30.0) -> tuple[list[Column], float]:
        """The last seconds in `columns` columns, oldest first, and the seconds one column spans.

        A column is a whole number of bins at fixed places in time, so that the picture moves by whole columns and
        a peak does not flicker.
        """
        bins_each = math.ceil(at_least_s / BIN_S / columns)
        if self.point is None:
            return [Column() for _ in range(columns)], bins_each * BIN_S
        last = _bin_of(self.point.time_s) // bins_each
        out = []
        for column in range(last - columns + 1, last + 1):
            parts = [self._bins.get(index) for index in range(column * bins_each, (column + 1) * bins_each)]
            out.append(_merge([part for part in parts if part]))
        return out, bins_each * BIN_S

    def _take_point(self, point: Point) -> None:
        self.point = point
        column = self._bin(point.time_s)
        if column.shift_ppm is None or abs(point.shift_ppm) > abs(column.shift_ppm):
            column.shift_ppm = point.shift_ppm
        if not self._baselines or point.time_s - self._baselines[-1][0] >= 1.0:
            self._baselines.append((point.time_s, point.baseline_hz))
            while point.time_s - self._baselines[0][0] > DRIFT_OVER_S:
                self._baselines.popleft()
            self._forget(point.time_s)

    def _take_alert(self, alert: Alert) -> None:
        for place, known in enumerate(self.alerts):
            if known.id == alert.id:
                self.alerts[place] = alert
                return
        self.alerts.append(alert)

    def _take_gap(self, gap: Silence) -> None:
        first = _bin_of(max(gap.start_s, gap.end_s - KEPT_S))
        for index in range(first, _bin_of(gap.end_s) + 1):
            self._bins.setdefault(index, Column()).gap = True
        # After a gap the baseline starts again, so a difference across the gap is not a drift.
        self._baselines.clear()

    def _bin(self, time_s: float) -> Column:
        return self._bins.setdefault(_bin_of(time_s), Column())

    def _forget(self, now_s: float) -> None:
        oldest = _bin_of(now_s - KEPT_S)
        for index in [index for index in self._bins if index < oldest]:
            del self._bins[index]


def noise_words(profile: bool) -> str:
    """Whether the settings hold a noise profile."""
    return "noise profile in use" if profile else "no noise profile: the soil is learned while sweeping"


def rougher_words(roughness: float | None) -> str:
    """What to do if the soil stays rougher than the noise profile; nothing if it is not."""
    if roughness is None or roughness <= ROUGHER:
        return ""
    return f"{roughness:.2g}x the noise of the noise profile: sweep again for coilcount noise"


def response_words(alert: Alert) -> str:
    """The response in words, an uncertain one with its reasons."""
    words = RESPONSE_WORDS[alert.response]
    return f"{words}: {', '.join(alert.reasons)}" if alert.response == "uncertain" and alert.reasons else words


def seen_words(alert: Alert) -> str:
    """How often in a row; nothing for the first time."""
    return f"seen {alert.seen} times" if alert.seen > 1 else ""


def figure(value: float, uncertainty: float) -> str:
    """`value ± uncertainty`, both to two significant digits of the uncertainty."""
    places = decimals(uncertainty)
    return f"{value:+.{places}f} ± {uncertainty:.{places}f}"


def decimals(uncertainty: float) -> int:
    """Decimal places that show two significant digits of an uncertainty, 0 to 6."""
    if not uncertainty > 0 or math.isinf(uncertainty):
        return 2
    return max(0, min(6, 1 - math.floor(math.log10(uncertainty))))


def frequency(value_hz: float | None) -> str:
    """A frequency with thousands set apart by a space: 25 012.345 Hz."""
    return "– Hz" if value_hz is None else f"{value_hz:,.3f} Hz".replace(",", " ")


def optional(value: float | None, form: str, unit: str) -> str:
    """A value that may be unknown."""
    return f"– {unit}" if value is None else f"{value:{form}} {unit}"


def clock(seconds: float) -> str:
    """Minutes and seconds, hours where there are some: 1:23 or 1:02:03."""
    whole = int(seconds)
    hours, minutes = whole // 3600, whole // 60 % 60
    return f"{hours}:{minutes:02d}:{whole % 60:02d}" if hours else f"{minutes}:{whole % 60:02d}"


def _bin_of(time_s: float) -> int:
    return math.floor(time_s / BIN_S)


def _merge(parts: list[Any]) -> Column:
    shifts = [part.shift_ppm for part in parts if part.shift_ppm is not None]
    return Column(
        max(shifts, key=abs) if shifts else None,
        any(part.gap for part in parts),
        any(part.mark for part in parts),
    )
