"""The tracker: readings in, alerts and holds out.  A pure function of the series and the settings.

Pieces: series (raw sums to y, repair), spikes (impossible readings), boxes (statistic, scale), baseline, hold, alert.
Memory is bounded: a ring of 6.7 of the longest width and two of 128 blocks.  Runs under both interpreters; raises only
ValueError.
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
BLOCK_S = 0.1
# A frequency that stays beyond the range of the sums (percents off the reference) for so many blocks, 5 s, is the new
# normal: start anew from a reference near it.
FAR_BLOCKS = 50
# Readings further apart than this share of the widest width looked for, just under 0.3 s at the default widths: less
# than half of the passes that are found at 20 ms are found, one in fourteen at 1 s (tests/bench/spikes.py --slow).
FAR_APART = 0.59
ZERO_S = 0.4  # over which a new zero is read
SHORTEST_INTERVAL_S = 0.002
LONGEST_INTERVAL_S = 60.0


def too_far_apart(interval_s, widths_s):
    """Whether most passes of the widths looked for cannot be seen in readings so far apart, in seconds."""
    return interval_s > FAR_APART * widths_s[len(widths_s) - 1]


class Tracker:
    """`interval_s` between readings; settings by the names of defaults.TABLE.

    Every input returns a sequence of Alert and Hold records, in the order in which they came about, often empty.  Times
    are whole microseconds on the caller's time base.  Raised, settled and released times are those at which the
    data that decided it were complete.  One raw reading is held back for the repair of miscounts, and any reading that
    jumps is held back until the next two show whether it is a spike, so `state` may be that of an earlier interval; its
    time_us tells.
    """

    def __init__(self, interval_s, **settings):
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
        self._zero = max(1, int(ZERO_S / interval_s + 0.5))
        self._decoder = Decoder(self._interval_us)
        self._repair = Repair()
        reasons = ()
        noise = values["noise_ppm_rthz"]
        if too_far_apart(interval_s, values["widths_s"]):
            reasons = ("readings too far apart",)
            noise = ()  # no pass can be seen, so no filter can be made for one
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
        # Where the caller puts a list: State of every reading as it becomes certain, none of those that were lost.
        self.trace = None
        # Kept, so that a reading without events costs the board no memory.
        self._repaired = []
        self._certain = []
        self._events = []
        self.set_threshold(values["threshold"])

    # ------------------------------------------------------------ inputs

    def interval(self, time_us, sequence, first_edge, n, t_first, s):
        """Raw sums of one interval as they were on the wire; time_us is its middle."""
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
        """A frequency that was counted elsewhere, in Hz; time_us is the middle of the reading."""
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
        """What comes next is on a new time base: alerts close, boxes fill and the baseline settles anew."""
        self._decoder.forget()
        return self._break()

    def finish(self):
        """The data end here.  What is open is told as open."""
        events = []
        self._flush(events)
        self._alerts.end(None, events)
        if self._hold.told:
            events.append(HoldEvent("final", self._hold_start_us, None, self._hold.sign))
        self._hold.restart()
        return events

    def freeze(self):
        """The operator holds the baseline on its line, which levels off, from the next reading on.

        Where it is held already this sets a new zero: the level of the last readings, the slope stays.
        """
        boxes = self._boxes
        if self._frozen and boxes.count:
            baseline = self._baseline
            level = boxes.mean(0, min(self._zero, boxes.count) - 1)
            baseline.line(level - baseline.slope * self._in_block / self._block, baseline.slope)
        self._frozen = True
        return NOTHING

    def thaw(self):
        """The baseline follows again, from the next reading on."""
        self._frozen = False
        return NOTHING

    def set_threshold(self, z):
        """Raise at this |z| from the next reading on; release and hold levels scale with it."""
        self._threshold = defaults.check("threshold", z)
        self._hold.scale = self._threshold / defaults.DEFAULTS["threshold"]
        return NOTHING

    # ------------------------------------------------------------ what it knows

    @property
    def state(self):
        """records.State of the latest reading that is certain."""
        boxes = self._boxes
        baseline = self._baseline
        return State(
            self._time_us, self._y, baseline.level + baseline.slope * self._in_block / self._block, boxes.z,
            boxes.widths_s[boxes.width], boxes.ready, self._frozen, self._hold.told,
        )

    @property
    def reference(self):
        """(ticks, edges): y is relative to edges / ticks of the tick rate.  None before two intervals."""
        return self._decoder.reference

    @property
    def reference_hz(self):
        """The same for frequencies that were counted elsewhere; None before the first."""
        return self._decoder.reference_hz

    @property
    def least_scale_ppb(self):
        """The noise of the box statistic in 1e-9, for the width that has the least; z is relative to such a scale."""
        return min(self._boxes.used)

    @property
    def roughness(self):
        """How many times the noise that was learned this ground has, 1.0 and more; None where none was learned."""
        return self._boxes.roughness

    @property
    def sigma_step_ppb(self):
        """The robust scale in 1e-9 of what the level steps by in 0.6 s of sweeping; None for the first four seconds."""
        return self._hold.sigma_swept

    @property
    def repaired(self):
        """Miscounted edges taken out of the raw sums so far."""
        return self._repair.repaired

    @property
    def mended(self):
        """Readings that jumped further than a pass can, replaced so far by the line between their neighbours."""
        return self._spikes.mended

    # ------------------------------------------------------------ inside

    def _take(self, steps, now_us):
        """The decoder's newest reading, the mean of `steps`: itself and the lost ones before it."""
        decoder = self._decoder
        repair = self._repair
        spikes = self._spikes
        repaired = self._repaired
        events = self._events
        repaired.clear()
        repair.push(decoder.y, decoder.edge, repaired)
        if steps == 1 and len(repaired) == 1 and spikes.passes(repaired[0]):  # as nearly all do
            self._one(repaired[0], self._newest_us - len(repair.pending) * self._interval_us, now_us, events)
            if self.trace is not None:
                self.trace.append(self.state)
        else:
            certain = self._certain
            certain.clear()
            # A mean over lost readings never waits for the repair: it is the last of what came out.
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
        """Readings and what each stands for, one after the other; `waiting` newer ones are held back."""
        back = waiting - 1
        for i in range(1, len(certain), 2):
            back += certain[i]
        for i in range(0, len(certain), 2):
            for left in range(certain[i + 1] - 1, -1, -1):
                self._one(certain[i], self._newest_us - back * self._interval_us, now_us, events)
                back -= 1
                if self.trace is not None and not left:
                    self.trace.append(self.state)

    def _one(self, y, time_us, now_us, events):
        self._time_us = time_us
        self._y = y
        boxes = self._boxes
        boxes.push(y)
        if boxes.ready:
            alerts = self._alerts
            z = boxes.z
            threshold = self._threshold
            # Most readings have nothing to tell.
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
        told = hold.block(mean, self._may_hold and boxes.ready and not self._frozen)
        if told == "start":
            self._hold_start_us = time_us - hold.age * self._block * self._interval_us
            events.append(HoldEvent("start", self._hold_start_us, None, hold.sign))
            self._hold_sign = hold.sign
        elif told == "end":
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

    def _break(self, anew=False):
        """What comes does not continue what was; `anew`: nor does its noise."""
        if self._newest_us is None:
            return NOTHING
        events = []
        self._flush(events)
        end_us = self._newest_us + self._interval_us // 2
        self._alerts.end(end_us, events)
        hold = self._hold
        if hold.told:
            events.append(HoldEvent("final", self._hold_start_us, end_us, hold.sign))
        hold.restart()
        self._boxes.restart(anew)
        self._baseline.restart()
        self._repair.forget()
        self._spikes.forget()
        self._in_block = 0
        self._newest_us = None
        return events or NOTHING
