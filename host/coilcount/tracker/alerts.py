"""The life of alerts: raised, settled, released, and final once the whole pass has been seen.

A wide width of the filter bank answers a narrow object several times.  The code here keeps these answers together as
one alert.  belonging.py tells what belongs to a pass, sides.py tells peaks from arrivals, and breadth.py tells dips of
soil from passes.
Runs under both interpreters.
"""

from .alert import MOST_RECENT, PendingAlert
from .bank import NEVER
from .belonging import PART, SAME_PEAK, Belonging
from .broad_dips import BroadDips
from .final_look import FinalLook
from .lobes import LOBE_TO
from .sides import Looks

# ---- From an earlier simulation study, not repeated here.

SETTLE_US = 200000  # microseconds from the start of an alert until the sign settles
LONGEST_WIDTHS = 4.0  # an alert is open for at most this many of the longest width: 2 s at the default
RELEASE_READINGS = 5  # readings in a row below the release level that release an alert
SHORT_MEAN = 3  # readings of the mean that gives the sign of an arrival

# Share of the threshold.  If the passes that are known leave at least this much of an answer unexplained, it is another
# object.  Source: tuning scenes of tests/bench/detection at one false alarm a minute (garden, vibration, fast sweep).
# With 0.4, 0.7 and 1.0 they gave 1.2, 0.9 and 0.7 stray alerts a minute, and found .785, .785 and .783 of the passes.
LEFT_OVER = 0.7
# Share of the score.  An alert whose signal has arrived takes no lower answer of the other sign for its peak: beside a
# strong pass the windows of a wide filter show one.  In six recordings like captures/mineral-soil (simulation) 5 of 42
# passes had the wrong answer without it, and 3 have it now.
LEAST_PEAK = 0.3
# Alerts that may be released and not final.  Bounds the memory.
MOST_RELEASED = 6


class Alerts:
    """Turns the statistic into alerts.  Call step() for each reading, and end() if the series ends or breaks.

    Inside, `width` is the number of a width of the filter bank.
    """

    def __init__(self, shared, baseline, noise, release_fraction):
        """shared: a tracker.Shared.  noise: a lobes.StepNoise.

        release_fraction: an alert is released below this share of the threshold.
        """
        bank = self._bank = shared.bank
        self._counts = shared.counts
        self._baseline = baseline
        self._noise = noise
        self._interval_us = shared.interval_us
        self._release = release_fraction
        self._looks = Looks(bank, shared.sides, baseline, noise)
        self._belonging = Belonging(bank, baseline, shared.interval_us)
        self._longest_us = int(LONGEST_WIDTHS * bank.widths_s[len(bank.widths_s) - 1] * 1e6)
        self._number = 0
        self.open = None  # the alert that is raised and not released, or None
        self.released = []  # released, not yet final
        self._recent = []
        self._held = False
        self._reasons = shared.reasons
        self._final_look = FinalLook(bank, baseline, noise, shared.interval_us, shared.judge, shared.reasons)
        self._dips = BroadDips(bank, shared.breadth)

    def step(self, time_us, now_us, rise, fall, held, events):
        """Take the latest statistic, and append what happened to the list `events`.

        time_us: middle of the newest reading.  now_us: when it was complete.
        rise, fall: thresholds of rises and dips in sigma, both positive.
        held: the baseline is held or frozen.
        """
        self._held = held
        self._belonging.drop_old()
        if self.open is not None:
            self._continue(self.open, time_us, now_us, rise, fall, events)
        if self.open is None:
            width = self._new_width(time_us, rise, fall)
            if width >= 0 and not self._dips.skip(width):
                self._start(width, time_us, now_us, events)
        if self.released:
            self._finish_released(now_us, held, events)

    def end(self, now_us, events):
        """End the series: every alert becomes final.

        now_us: None if the data stop here; an alert that is open then stays open in its record.
        """
        alert = self.open
        if alert is not None:
            self._dips.judge(alert)
            if not alert.is_raised:
                if self._dips.is_broad(alert):
                    self._dips.drop()
                else:
                    self._raise(alert.start_us if now_us is None else now_us, events)
            self.open = None
            if alert.is_raised:
                if now_us is not None:
                    alert.released_us = now_us
                    events.append(alert.event("released", self._bank.widths_s))
                self.released.append(alert)
        for alert in self.released:
            self._finish(alert, False, events)
        self.released = []
        self._recent.clear()
        self._belonging.forget()
        self._dips.restart()

    def second(self):
        """One more second was heard."""
        self._dips.second()

    @property
    def broad_dips(self):
        """Number of dips that reached the threshold and were broader than any pass."""
        return self._dips.count

    def due(self):
        """Return the count of readings from which on step() must be called even if no threshold is reached.

        An open alert needs every reading.  A released one needs that of its last look.  NEVER if there is neither.
        """
        if self.open is not None:
            return 0
        if not self.released:
            return NEVER
        due = self.released[0].peak_index + self._bank.look_back
        for alert in self.released:
            if not alert.dip_judged:
                due = min(due, self._dips.due(alert))
        return due

    # ------------------------------------------------------------ what the widths show

    def _new_width(self, time_us, rise, fall):
        """Return the width with the largest |z| that reaches its threshold and belongs to no released alert.

        -1: none.
        """
        zs = self._bank.zs
        found = -1
        most = 0.0
        for width in range(len(zs)):
            z = zs[width]
            size = z if z >= 0.0 else -z
            threshold = rise if z >= 0.0 else fall
            if size < threshold or size < most:
                continue
            if not self._looks.has_peaked(width) and self._looks.is_leaving(width):
                continue
            if not self._part_of_released(width, time_us, size, threshold):
                most = size
                found = width
        return found

    def _part_of_released(self, width, time_us, size, threshold):
        """Return True if a width shows an alert that was released.  The alert takes a larger |z| of its own peak."""
        for alert in self.released:
            part = self._belonging.of(width, time_us, alert)
            if part == SAME_PEAK and size > alert.best:
                self._dips.deepen(alert, width)
                self._take(alert, width, time_us)
            if part:
                return True
        return self._belonging.is_explained(width, LEFT_OVER * threshold)

    def _finish(self, alert, held, events, now_us=None):
        self._dips.judge(alert)
        self._final_look.finish(alert, held, events, now_us)
        if alert.broad and alert.sign < 0:
            self._dips.add()

    # ------------------------------------------------------------ the stages

    def _start(self, width, time_us, now_us, events):
        """Start an alert from the newest answer of a width.  It is raised now, or it waits."""
        alert = self.open = PendingAlert(now_us, self._recent, self._reasons)
        self._dips.deepen(alert, width)
        self._take(alert, width, time_us)
        if not self._dips.must_wait(alert):
            self._raise(now_us, events)

    def _raise(self, now_us, events):
        """Raise the open alert."""
        self._number += 1
        recent = self._recent
        if len(recent) == MOST_RECENT:
            recent.pop(0)
        alert = self.open
        recent.append(alert)
        alert.raise_(self._number, now_us, self._counts.model())
        events.append(alert.event("raised", self._bank.widths_s))

    def _decide(self, alert, now_us, events):
        """Raise or drop the open alert, which waits, as soon as it is known whether it is a broad dip."""
        if self._dips.is_decided(alert) or now_us - alert.start_us >= self._longest_us:
            self._dips.judge(alert)
            if self._dips.is_broad(alert):
                self._dips.drop()
                self.open = None
                self._belonging.add(alert)
                return
        elif not self._dips.is_clear(alert):
            return
        self._raise(now_us, events)

    def _take(self, alert, width, time_us):
        """Take the present answer of a width as the best of the alert."""
        bank = self._bank
        z = bank.zs[width]
        alert.best = z if z >= 0.0 else -z
        if alert.best > alert.score:
            self._take_score(alert, width)
        alert.width = width
        alert.shape = None
        alert.scale = bank.used[width]
        alert.lobe_sigma = self._noise.lobe[width]
        alert.peaked = self._looks.has_peaked(width)
        if alert.peaked:
            alert.peak_us = self._belonging.peak_us(width, time_us)
            alert.peak_index = bank.count - int(bank.lags[width] + 0.5)
            alert.peak = bank.height(width)
            alert.height = z * bank.used[width]
            middle = int(bank.lags[width])
            alert.peak_over_held = bank.mean(middle - 1, middle + 1) - self._baseline.level if self._held else 0.0
        else:
            self._start_arrival(alert, width, time_us)

    def _take_score(self, alert, width):
        """Take the present |z| of a width as the score of the alert."""
        bank = self._bank
        z = bank.zs[width]
        alert.score = z if z >= 0.0 else -z
        alert.score_index = bank.count - int(bank.lags[width] + 0.5)
        alert.score_reading = bank.count
        alert.score_width = width
        alert.score_height = z * bank.used[width]

    def _start_arrival(self, alert, width, time_us):
        """Note that the shift rises in the newer box of a width and has not peaked yet."""
        alert.peak_us = time_us
        alert.peak_index = self._bank.count
        alert.peak = alert.height = self._looks.step(width)

    def _continue(self, alert, time_us, now_us, rise, fall, events):
        bank = self._bank
        zs = bank.zs
        best = alert.best if alert.peaked else 0.0
        found = -1
        another = -1
        active = False
        for width in range(len(zs)):
            z = zs[width]
            size = z if z >= 0.0 else -z
            threshold = rise if z >= 0.0 else fall
            if size > alert.score:
                self._take_score(alert, width)
            if size < self._release * threshold:
                continue
            self._dips.deepen(alert, width)
            part = self._part(width, time_us, size, threshold, alert)
            if part == PART:
                continue
            active = True
            other_way = alert.peaked and alert.sign and (zs[width] > 0.0) != (alert.sign > 0)
            if part == 0 and other_way and size >= threshold and self._looks.has_peaked(width):
                # Another object, of the other sign.
                if another < 0 or size > abs(zs[another]):
                    another = width
                continue
            if size <= best:
                continue
            if not alert.peaked and size < LEAST_PEAK * alert.score and (z > 0.0) != (alert.peak > 0.0):
                continue
            if self._looks.has_peaked(width):
                found = width
                best = size
            elif alert.peaked and part == SAME_PEAK and width == alert.width:
                # It only seemed to have peaked: the signal is still growing.
                alert.peaked = False
                found = -1
                best = 0.0
                self._start_arrival(alert, width, time_us)
        self._dips.judge_in_time(alert)
        if another >= 0 and not self._dips.skip(another):
            self._close(alert, now_us, events)
            self._start(another, time_us, now_us, events)
            return
        if found >= 0:
            if alert.peaked and (zs[found] > 0.0) != (alert.peak > 0.0):
                alert.opposite = alert.best
            self._take(alert, found, time_us)
        elif not alert.peaked and not alert.sign:
            self._follow_arrival(alert, time_us)
        if not alert.is_raised:
            self._decide(alert, now_us, events)
            if not alert.is_raised:
                return
        if alert.sign and alert.peaked and alert.sign != (1 if alert.peak > 0.0 else -1):
            alert.settle(now_us, bank.widths_s, events)
        elif not alert.sign and now_us - alert.start_us >= SETTLE_US and (alert.dip_judged or alert.peak > 0.0):
            alert.settle(now_us, bank.widths_s, events)
        alert.readings_below = 0 if active else alert.readings_below + 1
        if now_us - alert.start_us >= self._longest_us:
            self._dips.judge(alert)
        elif alert.readings_below < RELEASE_READINGS or not (alert.dip_judged or alert.sign > 0):
            return
        if alert.sign:
            self._close(alert, now_us, events)

    def _part(self, width, time_us, size, threshold, alert):
        """Return what the newest answer of a width is to the open alert; PART too if it belongs to a released one."""
        part = self._belonging.of(width, time_us, alert) if alert.peaked else 0
        if part:
            return part
        if alert.peaked and size < alert.best and self._belonging.is_explained(width, LEFT_OVER * threshold, alert):
            return PART
        return PART if self._part_of_released(width, time_us, size, threshold) else part

    def _follow_arrival(self, alert, time_us):
        """While nothing has peaked, the largest short mean over the baseline is the height."""
        bank = self._bank
        value = bank.mean(0, SHORT_MEAN - 1) - self._baseline.level
        if value > alert.peak > 0.0 or value < alert.peak < 0.0:
            alert.peak = alert.height = value
            alert.peak_us = time_us - SHORT_MEAN // 2 * self._interval_us
            alert.peak_index = bank.count - SHORT_MEAN // 2

    def _close(self, alert, now_us, events):
        alert.released_us = now_us
        events.append(alert.event("released", self._bank.widths_s))
        self.open = None
        for other in self.released:
            reach_us = LOBE_TO * self._bank.widths_s[alert.width] * 1e6
            if -reach_us < alert.peak_us - other.peak_us < reach_us:
                other.has_neighbour = alert.has_neighbour = True
        self.released.append(alert)
        self._belonging.add(alert)
        if len(self.released) > MOST_RELEASED:
            self._finish(self.released.pop(0), False, events)

    def _finish_released(self, now_us, held, events):
        """Make every alert final whose whole pass has been seen."""
        bank = self._bank
        for alert in self.released:
            self._dips.judge_in_time(alert)
        while self.released:
            if bank.count - self.released[0].peak_index < bank.look_back:
                return
            self._finish(self.released.pop(0), held, events, now_us)
