"""The decisions of the tracker: alerts, baseline, auto-hold, and the steps of the soil.  They depend on the threshold.

Runs under both interpreters.
"""

from . import defaults
from .alerts import Alerts
from .baseline import Baseline
from .hold import Hold
from .lobes import StepNoise
from .noise_counts import usual_thresholds
from .records import Hold as HoldEvent


class Decisions:
    """The decisions at one threshold.  Several of them may share one front.

    rise, fall: thresholds of rises and dips in sigma, both positive.
    rate: false alarms a minute that they allow; 0.0 if they are fixed.
    due: the count of readings (FilterBank.count) from which on step() must be called with every reading.  Before that,
        only a reading whose statistic reaches a threshold changes anything.
    events: a list, or anything else with append().  What happens is appended to it.
    """

    def __init__(self, shared, values, rate, threshold, events):
        """shared: the parts that do not depend on the threshold, a tracker.Shared.

        values: of all settings, from front.checked().  rate: allowed false alarms a minute.
        threshold: 0.0, or a fixed one in sigma in place of `rate`.
        """
        floor_ppb = values["scale_floor_ppm"] * 1000.0
        self.events = events
        self.noise = StepNoise(shared.lobe_noise, floor_ppb)
        self.baseline = Baseline(values["baseline_s"] / shared.block_s, shared.block, floor_ppb)
        self.hold = Hold(
            self.baseline, shared.blocks, values["hold_least_ppm"] * 1000.0, values["hold_rise_sigma"],
            int(values["hold_limit_s"] / shared.block_s), floor_ppb,
        )
        self.alerts = Alerts(shared, self.baseline, self.noise, values["release_fraction"])
        self._block_us = shared.block * shared.interval_us
        self._hold_start_us = 0
        self._hold_sign = 0
        self.due = self.alerts.due()
        self._counts = shared.counts
        if threshold:
            self.set_threshold(threshold)
        else:
            self.set_false_alarms(rate)

    def set_threshold(self, z):
        """Raise alerts at |z| of at least `z` from the next reading on.  Release and hold levels scale with it."""
        self.rate = 0.0
        self.rise = self.fall = z
        self.hold.scale = z / defaults.HOLD_THRESHOLD

    def set_false_alarms(self, per_minute):
        """Allow about `per_minute` false alarms from the next reading on.  Release and hold levels go with it."""
        self.rate = per_minute
        rise, fall = usual_thresholds(per_minute)
        rise_at_1, fall_at_1 = usual_thresholds(1.0)
        self.hold.scale = (rise + fall) / (rise_at_1 + fall_at_1)
        self._find_thresholds()

    def second(self):
        """One more second was heard: take the thresholds from the counts."""
        self.alerts.second()
        self._find_thresholds()

    def _find_thresholds(self):
        if self.rate:
            self.rise, self.fall = self._counts.thresholds(self.rate)

    def step(self, time_us, now_us, frozen):
        """Take the newest statistic.

        time_us: middle of its reading.  now_us: when that was certain.  frozen: the baseline is frozen by key.
        """
        self.alerts.step(time_us, now_us, self.rise, self.fall, frozen or self.hold.on, self.events)
        self.due = self.alerts.due()

    def block(self, mean, time_us, may_hold, frozen):
        """Take the mean of a block (1e-9), which ends with the reading at time_us."""
        hold = self.hold
        change = hold.block(mean, may_hold)
        if change == "start":
            self._hold_start_us = time_us - hold.age * self._block_us
            self.events.append(HoldEvent("start", self._hold_start_us, None, hold.sign))
            self._hold_sign = hold.sign
        elif change == "end":
            self.events.append(HoldEvent("final", self._hold_start_us, time_us, self._hold_sign))
        self.baseline.block(mean, frozen or hold.on or self.alerts.open is not None)
        self.noise.block(self.baseline.slope_a_reading)

    def end(self, end_us):
        """End the series at end_us: alerts and a hold end.

        end_us: None if the data stop here, so that alerts and a hold stay open in their records.
        """
        self.alerts.end(end_us, self.events)
        self.due = self.alerts.due()
        if self.hold.reported:
            self.events.append(HoldEvent("final", self._hold_start_us, end_us, self.hold.sign))
        self.hold.restart()
