"""The tracker: takes readings, gives alerts and holds.  What it gives depends on the series and the settings alone.

A reading goes through the front (front.py), which makes the detection statistic, and then to the decisions
(decisions.py), which depend on the thresholds.  These are fixed, or they follow from the false alarms that are allowed
(noise_counts.py).  `Tracker` decides once.  `GridTracker` decides for several thresholds or rates of false alarms that
share one front, so that one pass over a recording serves them all.
Memory is bounded: that of the front, and for each entry of the grid a ring of 128 blocks.
Runs under both interpreters.  Raises only ValueError.
"""

from . import defaults
from .bank import NEVER
from .breadth import Breadth
from .decisions import Decisions
from .front import (
    FAR_BLOCKS,
    LONGEST_INTERVAL_S,
    NOTHING,
    SHORTEST_INTERVAL_S,
    Front,
    checked,
    too_far_apart,
)
from .hold import Blocks
from .judge import Judge
from .kept import pack, unpack
from .lobes import LobeNoise
from .noise_counts import NoiseCounts
from .noise_peaks import NoisePeaks
from .records import State
from .sides import Sides

__all__ = ["FAR_BLOCKS", "LONGEST_INTERVAL_S", "SHORTEST_INTERVAL_S", "GridTracker", "Tracker", "too_far_apart"]

# Seconds.  Baseline and auto-hold work on the means of blocks of this length.  Chosen by hand.
BLOCK_S = 0.1
# Seconds of readings whose mean becomes the frozen baseline if it is set again.  Chosen by hand.
NEW_BASELINE_S = 0.4
# Seconds.  The counts of the noise, and the thresholds from them, move on so often.
COUNTS_S = 1.0


class Shared:
    """What the decisions of all thresholds share."""

    def __init__(self, bank, interval_s, interval_us, floor_ppb, profile, reasons):
        self.bank = bank
        self.interval_us = interval_us
        self.block = max(1, int(BLOCK_S / interval_s + 0.5))  # readings
        self.block_s = self.block * interval_s
        self.blocks = Blocks()
        self.sides = Sides(bank)
        self.breadth = Breadth(bank, interval_s)
        self.counts = NoiseCounts()
        self.peaks = NoisePeaks(bank, self.breadth, self.counts, interval_s)
        self.lobe_noise = LobeNoise(bank, interval_s, floor_ppb)
        self.judge = Judge(bank, interval_s, floor_ppb, profile)
        self.reasons = reasons


class Tracker(Front):
    """Tracks one series of readings, and decides once.

    Every input returns a sequence of Alert and Hold records (records.py) in the order in which they happened.  It is
    often empty.  Times are whole microseconds on the caller's time base.

    Some readings are held back, so `state` may be that of an earlier reading; its time_us says which.  The repair holds
    back one reading of raw sums.  A reading that jumps waits until the next ones show whether it is a spike.

    trace: None, or a list that the caller puts here.  The tracker appends the State of each reading as it becomes
    certain, but not of lost ones.
    """

    def __init__(self, interval_s, learned=(), **settings):
        """interval_s: time from reading to reading.  settings: by the names in defaults.TABLE.

        learned: () or what `learned` of an earlier tracker was.  If that had another interval or other widths, it is
        ignored, and kept_used is False.
        Raises ValueError for an interval or a setting out of range, and for a malformed `learned`.
        """
        values = checked(settings)
        super().__init__(interval_s, values)
        floor_ppb = values["scale_floor_ppm"] * 1000.0
        shared = self._shared = Shared(
            self._bank, interval_s, self._interval_us, floor_ppb, self._profile, self._reasons
        )
        self.kept_used = bool(learned) and unpack(learned, self._interval_us, self._bank, shared.judge, shared.counts)
        self._peaks = shared.peaks
        self._block = shared.block
        self._new_baseline = max(1, int(NEW_BASELINE_S / interval_s + 0.5))
        self._may_hold = values["hold"]
        self._rate = values["false_alarms_per_minute"]
        self._main = Decisions(shared, values, self._rate, values["threshold"], self._events)
        self._decisions = (self._main,)
        self._second = max(1, int(COUNTS_S / shared.block_s + 0.5))  # blocks
        self._in_second = 0
        self._frozen = False
        self._in_block = 0
        self._time_us = 0
        self._y = 0
        self._least_rise = self._main.rise  # the lowest thresholds of all decisions
        self._least_fall = self._main.fall
        self._due = NEVER  # the lowest `due` of the decisions

    # ------------------------------------------------------------ inputs, besides those of the front

    def finish(self):
        """The data end here.  Alerts and a hold that are open are reported as open."""
        self._flush()
        for decisions in self._decisions:
            decisions.end(None)
        self._due = NEVER
        return self._happened()

    def freeze(self):
        """Freeze the baseline from the next reading on.  It goes on along its line, whose slope dies away.

        If it is frozen already, set it again: the mean of the last 0.4 s is its new level.  The slope stays.
        """
        bank = self._bank
        if self._frozen and bank.count:
            level = bank.mean(0, min(self._new_baseline, bank.count) - 1)
            for decisions in self._decisions:
                baseline = decisions.baseline
                baseline.line(level - baseline.slope * self._in_block / self._block, baseline.slope)
        self._frozen = True
        return NOTHING

    def thaw(self):
        """Track the baseline again, from the next reading on."""
        self._frozen = False
        return NOTHING

    def set_threshold(self, z):
        """Raise alerts at |z| of at least `z` from the next reading on.  Release and hold levels scale with it.

        0.0: the thresholds follow from the allowed false alarms again.  Raises ValueError if z is out of range.
        """
        z = defaults.check("threshold", z)
        if z:
            self._main.set_threshold(z)
        else:
            self._main.set_false_alarms(self._rate)
        self._find_least()
        return NOTHING

    def set_false_alarms(self, per_minute):
        """Allow about `per_minute` false alarms from the next reading on.  This ends a fixed threshold.

        Release and hold levels go with it.  Raises ValueError if per_minute is out of range.
        """
        self._rate = defaults.check("false_alarms_per_minute", per_minute)
        self._main.set_false_alarms(self._rate)
        self._find_least()
        return NOTHING

    # ------------------------------------------------------------ what it knows, besides what the front knows

    @property
    def state(self):
        """The records.State of the latest reading that is certain."""
        bank = self._bank
        baseline = self._main.baseline
        return State(
            self._time_us, self._y, baseline.level + baseline.slope * self._in_block / self._block, bank.z,
            bank.widths_s[bank.width], bank.ready, self._frozen, self._main.hold.reported,
        )

    @property
    def thresholds(self):
        """(rise, fall): the thresholds in force for rises and dips of the frequency, in sigma, both positive."""
        return self._main.rise, self._main.fall

    @property
    def hold_scale(self):
        """Auto-hold takes this many times its levels of the settings, at the rate or the threshold in force."""
        return self._main.hold.scale

    @property
    def learned(self):
        """What was learned of the soil, as a tuple of floats for the next tracker.  () if that is nothing yet."""
        return pack(self._interval_us, self._bank, self._shared.judge, self._shared.counts)

    @property
    def noise_counts(self):
        """The noise_counts.NoiseCounts.  It does not depend on any threshold."""
        return self._shared.counts

    @property
    def broad_dips(self):
        """Number of dips that reached the threshold and were broader than any pass.

        Those that raised no alert, and those whose alert ended as uncertain for this reason.
        """
        return self._main.alerts.broad_dips

    @property
    def sigma_step_ppb(self):
        """The robust sigma of the steps of the level in 0.6 s of sweeping, 1e-9.  None for the first 4 s."""
        return self._main.hold.sigma_swept

    # ------------------------------------------------------------ inside

    def _happened(self):
        events = self._events
        self._events = self._main.events = []
        return events

    def _track(self, y, time_us, now_us):
        """Track one reading.  time_us: its middle.  now_us: when the data that made it certain were complete."""
        self._time_us = time_us
        self._y = y
        bank = self._bank
        bank.push(y)
        if bank.ready:
            peaks = self._peaks
            if bank.highest > peaks.rise or bank.lowest < peaks.dip or bank.count >= peaks.due:
                peaks.take()
            # Most readings change no alert, and this saves a call for them.
            if bank.highest >= self._least_rise or -bank.lowest >= self._least_fall or bank.count >= self._due:
                self._decide(time_us, now_us)
        self._in_block += 1
        if self._in_block == self._block:
            self._in_block = 0
            self._end_block(time_us)

    def _decide(self, time_us, now_us):
        bank = self._bank
        count = bank.count
        highest = bank.highest
        lowest = -bank.lowest
        frozen = self._frozen
        due = NEVER
        for decisions in self._decisions:
            if highest >= decisions.rise or lowest >= decisions.fall or count >= decisions.due:
                decisions.step(time_us, now_us, frozen)
            if decisions.due < due:
                due = decisions.due
        self._due = due

    def _end_block(self, time_us):
        bank = self._bank
        shared = self._shared
        if bank.clipped == self._block:
            self._far += 1
        else:
            self._far = 0
        bank.clipped = 0
        mean = bank.mean(0, self._block - 1)
        shared.blocks.push(mean)
        shared.lobe_noise.block()
        shared.judge.block()
        frozen = self._frozen
        may_hold = self._may_hold and bank.ready and not frozen
        for decisions in self._decisions:
            decisions.block(mean, time_us, may_hold, frozen)
        if bank.ready:
            self._in_second += 1
            if self._in_second == self._second:
                self._in_second = 0
                self._end_second()

    def _end_second(self):
        self._shared.counts.second()
        for decisions in self._decisions:
            decisions.second()
        self._find_least()

    def _find_least(self):
        self._least_rise = min([decisions.rise for decisions in self._decisions])
        self._least_fall = min([decisions.fall for decisions in self._decisions])

    def _restart(self, end_us, new_noise):
        """The series ended at end_us, and another one begins."""
        for decisions in self._decisions:
            decisions.end(end_us)
            decisions.baseline.restart()
        self._due = NEVER
        self._shared.blocks.restart()
        self._shared.sides.forget()
        self._shared.breadth.restart()
        self._peaks.restart()
        self._bank.restart(new_noise)
        if new_noise:
            self._shared.judge.restart()
        self._in_block = 0


class GridTracker(Tracker):
    """Tracks one series of readings, and decides several times at once: as the settings say, and for further entries.

    It is a Tracker with these settings.  The events of the further entries go to the list `further`, as (position of
    the entry, event).  They are exactly those of a Tracker with that threshold, or with that rate of false alarms.  The
    caller empties the list, or puts one of its own here.
    """

    def __init__(self, interval_s, thresholds=(), rates=(), learned=(), **settings):
        """thresholds: further fixed thresholds, in sigma.  They have the positions 0, 1, 2 ...

        rates: further rates of allowed false alarms a minute.  They have the positions after those.
        interval_s, learned, settings: as for a Tracker.

        Raises ValueError as a Tracker does.
        """
        super().__init__(interval_s, learned, **settings)
        self.further = []
        values = checked(settings)
        entries = [(0.0, defaults.check("threshold", z)) for z in thresholds]
        entries += [(defaults.check("false_alarms_per_minute", rate), 0.0) for rate in rates]
        others = [
            Decisions(self._shared, values, rate, z, _Marked(position, self))
            for position, (rate, z) in enumerate(entries)
        ]
        self._decisions = (self._main,) + tuple(others)
        self._find_least()


    @property
    def further_thresholds(self):
        """[(rise, fall), ...]: the thresholds in force of the further entries, in sigma, by their position."""
        return [(decisions.rise, decisions.fall) for decisions in self._decisions[1:]]


class _Marked:
    """Appends the events of one further entry to the list `further` of its tracker."""

    def __init__(self, position, tracker):
        self._position = position
        self._tracker = tracker

    def append(self, event):
        self._tracker.further.append((self._position, event))
