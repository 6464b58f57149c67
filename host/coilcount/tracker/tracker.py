"""The tracker: takes readings, gives alerts and holds.  What it gives depends on the series and the settings alone.

A reading goes through these modules: series (raw sums to y, miscounted edges), spikes (impossible readings), boxes (the
detection statistic and its scale), alerts, hold (auto-hold), baseline.
Memory is bounded: a ring of 6.7 times the longest width, and two rings of 128 blocks.  Runs under both interpreters.
Raises only ValueError.
"""

from . import defaults
from .alerts import Alerts
from .baseline import Baseline
from .boxes import Boxes
from .hold import Hold
from .judge import Judge
from .lobes import Noise
from .records import Hold as HoldEvent
from .records import State
from .series import BROKEN, Decoder, Repair
from .spikes import Spikes

NOTHING = ()
# Seconds.  Baseline and auto-hold work on the means of blocks of this length.  Chosen by hand.
BLOCK_S = 0.1
# Blocks.  If the frequency stays out of the range of the sums (by percents) for this long, 5 s, it is the new normal.
# The tracker then takes a reference near it and starts again.  Chosen by hand.
FAR_BLOCKS = 50
# Share of the widest width.  If readings are farther apart than this (0.295 s at the default widths), every alert is
# uncertain.  Source: tests/bench/spikes.py --slow (simulation).  At 0.3 s less than half of the passes are found that
# are found at 20 ms, and at 1 s one in fourteen.
FAR_APART = 0.59
# Seconds of readings whose mean becomes the frozen baseline if it is set again.  Chosen by hand.
NEW_BASELINE_S = 0.4
# Seconds.  The least and the largest time from reading to reading that the tracker takes.  Chosen by hand.
SHORTEST_INTERVAL_S = 0.002
LONGEST_INTERVAL_S = 60.0


def too_far_apart(interval_s, widths_s):
    """Return True if readings `interval_s` apart do not show most passes of the widths `widths_s`, both in seconds."""
    return interval_s > FAR_APART * widths_s[len(widths_s) - 1]


class Tracker:
    """Tracks one series of readings.

    Every input returns a sequence of Alert and Hold records (records.py) in the order in which they happened.  It is
    often empty.  Times are whole microseconds on the caller's time base.

    Some readings are held back, so `state` may be that of an earlier reading; its time_us says which.  The repair holds
    back one reading of raw sums.  A reading that jumps waits until the next ones show whether it is a spike.

    trace: None, or a list that the caller puts here.  The tracker appends the State of each reading as it becomes
    certain, but not of lost ones.
    """

    def __init__(self, interval_s, **settings):
        """interval_s: time from reading to reading.  settings: by the names in defaults.TABLE.

        Raises ValueError for an interval or a setting out of range.
        """
        if not SHORTEST_INTERVAL_S <= interval_s <= LONGEST_INTERVAL_S:
            raise ValueError(
                "interval_s is a number from %s to %s, not %r" % (SHORTEST_INTERVAL_S, LONGEST_INTERVAL_S, interval_s)
            )
        values = dict(defaults.DEFAULTS)
        for name in settings:
            values[name] = defaults.check(name, settings[name])
        self._interval_us = int(interval_s * 1e6 + 0.5)
        floor_ppb = values["scale_floor_ppm"] * 1000.0
        self._block = max(1, int(BLOCK_S / interval_s + 0.5))
        block_s = self._block * interval_s
        self._new_baseline = max(1, int(NEW_BASELINE_S / interval_s + 0.5))
        self._decoder = Decoder(self._interval_us)
        self._repair = Repair()
        reasons = ()
        noise = values["noise_ppm_rthz"]
        if too_far_apart(interval_s, values["widths_s"]):
            reasons = ("readings too far apart",)
            noise = ()  # a pass would be shorter than a reading: no filter can be made for it
        self._boxes = Boxes(values["widths_s"], interval_s, floor_ppb, noise)
        narrowest_us = int(values["widths_s"][0] * 1e6 + 0.5)
        self._spikes = Spikes(self._interval_us, narrowest_us)
        self._baseline = Baseline(values["baseline_s"] / block_s, self._block, floor_ppb)
        self._hold = Hold(
            self._baseline, values["hold_least_ppm"] * 1000.0, values["hold_rise_sigma"],
            int(values["hold_limit_s"] / block_s), floor_ppb,
        )
        self._may_hold = values["hold"]
        self._noise = Noise(self._boxes, interval_s, floor_ppb)
        judge = Judge(self._boxes, interval_s, noise) if noise else None
        self._alerts = Alerts(
            self._boxes, self._baseline, self._noise, self._interval_us, values["release_fraction"], judge, reasons
        )
        self._frozen = False
        self._in_block = 0
        self._far = 0  # blocks in a row that were beyond the range
        self._last_us = None  # middle of the last interval
        self._newest_us = None  # middle of the newest reading, held back or not
        self._time_us = 0
        self._y = 0
        self._hold_start_us = 0
        self.trace = None
        # These lists are used again for each reading, so that a reading without events takes no memory on the board.
        self._repaired = []
        self._certain = []
        self._events = []
        self.set_threshold(values["threshold"])

    # ------------------------------------------------------------ inputs

    def interval(self, time_us, sequence, first_edge, n, t_first, s):
        """Take the raw sums of one interval as they were on the wire.  time_us: its middle."""
        if self._far >= FAR_BLOCKS:
            self._far = 0
            self._decoder.reference = None
        steps = self._decoder.interval(sequence, first_edge, n, t_first, s)
        last_us = self._last_us
        self._last_us = time_us
        if steps > 0:
            self._newest_us = (last_us + time_us) // 2 if steps == 1 else time_us - self._interval_us // 2
            return self._take(steps, time_us + self._interval_us // 2)
        if steps == BROKEN:
            return self._break()
        return NOTHING

    def reading(self, time_us, frequency_hz):
        """Take an imported reading in Hz.  time_us: its middle.  Raises ValueError for an impossible frequency."""
        if not 0.0 < frequency_hz < 1e12:
            raise ValueError("a frequency of %r Hz" % frequency_hz)
        if self._far >= FAR_BLOCKS:
            self._far = 0
            self._decoder.reference_hz = None
        events = NOTHING
        steps = self._decoder.reading(time_us, frequency_hz)
        if steps == BROKEN:
            events = self._break()
            steps = 1
        self._newest_us = time_us
        more = self._take(steps, time_us + self._interval_us // 2)
        return list(events) + list(more) if events else more

    def gap(self, time_us):
        """What comes next is on a new time base: alerts end, and warm-up and baseline start again."""
        self._decoder.forget()
        return self._break()

    def finish(self):
        """The data end here.  Alerts and a hold that are open are reported as open."""
        events = []
        self._flush(events)
        self._alerts.end(None, events)
        if self._hold.reported:
            events.append(HoldEvent("final", self._hold_start_us, None, self._hold.sign))
        self._hold.restart()
        return events

    def freeze(self):
        """Freeze the baseline from the next reading on.  It goes on along its line, whose slope dies away.

        If it is frozen already, set it again: the mean of the last 0.4 s is its new level.  The slope stays.
        """
        boxes = self._boxes
        if self._frozen and boxes.count:
            baseline = self._baseline
            level = boxes.mean(0, min(self._new_baseline, boxes.count) - 1)
            baseline.line(level - baseline.slope * self._in_block / self._block, baseline.slope)
        self._frozen = True
        return NOTHING

    def thaw(self):
        """Track the baseline again, from the next reading on."""
        self._frozen = False
        return NOTHING

    def set_threshold(self, z):
        """Raise alerts at |z| of at least `z` from the next reading on.  Release and hold levels scale with it.

        Raises ValueError if z is out of range.
        """
        self._threshold = defaults.check("threshold", z)
        self._hold.scale = self._threshold / defaults.DEFAULTS["threshold"]
        return NOTHING

    # ------------------------------------------------------------ what it knows

    @property
    def state(self):
        """The records.State of the latest reading that is certain."""
        boxes = self._boxes
        baseline = self._baseline
        return State(
            self._time_us, self._y, baseline.level + baseline.slope * self._in_block / self._block, boxes.z,
            boxes.widths_s[boxes.width], boxes.ready, self._frozen, self._hold.reported,
        )

    @property
    def reference(self):
        """(ticks, edges): y is relative to edges / ticks of the tick rate.  None before the second interval."""
        return self._decoder.reference

    @property
    def reference_hz(self):
        """The frequency in Hz that y of imported readings is relative to.  None before the first reading."""
        return self._decoder.reference_hz

    @property
    def least_scale_ppb(self):
        """The smallest scale of any width in 1e-9.  z is the answer of a width over its scale."""
        return min(self._boxes.used)

    @property
    def roughness(self):
        """How many times as noisy as the noise profile the soil is here, at least 1.0.  None without a profile."""
        return self._boxes.roughness

    @property
    def sigma_step_ppb(self):
        """The robust sigma of the steps of the level in 0.6 s of sweeping, 1e-9.  None for the first 4 s."""
        return self._hold.sigma_swept

    @property
    def repaired(self):
        """Number of miscounted edges taken out of the raw sums so far."""
        return self._repair.repaired

    @property
    def mended(self):
        """Number of spikes mended so far: readings that jumped further than a pass can."""
        return self._spikes.mended

    # ------------------------------------------------------------ inside

    def _take(self, steps, now_us):
        """Take the decoder's newest reading, which is the mean of `steps`: itself, and the lost ones before it."""
        decoder = self._decoder
        repair = self._repair
        spikes = self._spikes
        repaired = self._repaired
        events = self._events
        repaired.clear()
        repair.push(decoder.y, decoder.edge, repaired)
        if steps == 1 and len(repaired) == 1 and spikes.passes(repaired[0]):  # nearly all do
            self._track(repaired[0], self._newest_us - len(repair.pending) * self._interval_us, now_us, events)
            if self.trace is not None:
                self.trace.append(self.state)
        else:
            certain = self._certain
            certain.clear()
            # A mean over lost readings never waits for the repair, so it is the last that came out.
            last = len(repaired) - 1
            for i in range(last + 1):
                spikes.push(repaired[i], steps if i == last else 1, certain)
            self._pass_on(certain, len(repair.pending) + spikes.waiting, now_us, events)
        if self._far >= FAR_BLOCKS:
            events.extend(self._break(True))
        if not events:
            return NOTHING
        self._events = []
        return events

    def _pass_on(self, certain, waiting, now_us, events):
        """Track readings.  certain: y, and how many readings it stands for, in turn.  waiting: newer ones held back."""
        back = waiting - 1
        for i in range(1, len(certain), 2):
            back += certain[i]
        for i in range(0, len(certain), 2):
            for left in range(certain[i + 1] - 1, -1, -1):
                self._track(certain[i], self._newest_us - back * self._interval_us, now_us, events)
                back -= 1
                if self.trace is not None and not left:
                    self.trace.append(self.state)

    def _track(self, y, time_us, now_us, events):
        """Track one reading.  time_us: its middle.  now_us: when the data that made it certain were complete."""
        self._time_us = time_us
        self._y = y
        boxes = self._boxes
        boxes.push(y)
        if boxes.ready:
            alerts = self._alerts
            z = boxes.z
            threshold = self._threshold
            # Most readings change no alert, and this saves a call for them.
            if z >= threshold or z <= -threshold or alerts.open is not None or alerts.waiting:
                alerts.step(time_us, now_us, threshold, self._frozen or self._hold.on, events)
        self._in_block += 1
        if self._in_block == self._block:
            self._in_block = 0
            self._end_block(time_us, events)

    def _end_block(self, time_us, events):
        boxes = self._boxes
        hold = self._hold
        if boxes.clipped == self._block:
            self._far += 1
        else:
            self._far = 0
        boxes.clipped = 0
        mean = boxes.mean(0, self._block - 1)
        change = hold.block(mean, self._may_hold and boxes.ready and not self._frozen)
        if change == "start":
            self._hold_start_us = time_us - hold.age * self._block * self._interval_us
            events.append(HoldEvent("start", self._hold_start_us, None, hold.sign))
            self._hold_sign = hold.sign
        elif change == "end":
            events.append(HoldEvent("final", self._hold_start_us, time_us, self._hold_sign))
        self._baseline.block(mean, self._frozen or hold.on or self._alerts.open is not None)
        self._noise.block(self._baseline.slope_a_reading)

    def _flush(self, events):
        repaired = []
        certain = []
        self._repair.flush(repaired)
        for y in repaired:
            self._spikes.push(y, 1, certain)
        self._spikes.flush(certain)
        if certain:
            self._pass_on(certain, 0, self._newest_us + self._interval_us // 2, events)

    def _break(self, new_noise=False):
        """Start again: what comes next does not continue what came before.  new_noise: neither does its noise."""
        if self._newest_us is None:
            return NOTHING
        events = []
        self._flush(events)
        end_us = self._newest_us + self._interval_us // 2
        self._alerts.end(end_us, events)
        hold = self._hold
        if hold.reported:
            events.append(HoldEvent("final", self._hold_start_us, end_us, hold.sign))
        hold.restart()
        self._boxes.restart(new_noise)
        self._baseline.restart()
        self._repair.forget()
        self._spikes.forget()
        self._in_block = 0
        self._newest_us = None
        return events or NOTHING
