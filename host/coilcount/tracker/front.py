"""The front of the tracker: from raw sums or readings to the detection statistic.  No threshold is known here.

A reading goes through these modules: series (raw sums to y, miscounted edges), spikes (impossible readings), bank (the
detection statistic and its scale).
Memory is bounded by a ring of 6.7 times the longest width.  Runs under both interpreters.  Raises only ValueError.
"""

from . import defaults
from .bank import FilterBank
from .series import BROKEN, Decoder, Repair
from .spikes import Spikes

NOTHING = ()
# Blocks of 0.1 s.  If the frequency stays out of the range of the sums (by percents) for this long, 5 s, it is the new
# normal.  The tracker then takes a reference near it and starts again.  Chosen by hand.
FAR_BLOCKS = 50
# Share of the widest width.  If readings are farther apart than this (0.295 s at the default widths), every alert is
# uncertain.  Source: tests/bench/spikes.py --slow (simulation).  At 0.3 s less than half of the passes are found that
# are found at 20 ms, and at 1 s one in fourteen.
FAR_APART = 0.59
# Seconds.  The least and the largest time from reading to reading that the tracker takes.  Chosen by hand.
SHORTEST_INTERVAL_S = 0.002
LONGEST_INTERVAL_S = 60.0


def too_far_apart(interval_s, widths_s):
    """Return True if readings `interval_s` apart do not show most passes of the widths `widths_s`, both in seconds."""
    return interval_s > FAR_APART * widths_s[len(widths_s) - 1]


def checked(settings):
    """Return the value of every setting by its name: those in `settings` (a dict), and defaults for the others.

    Raises ValueError for an unknown name or a value out of range.
    """
    values = dict(defaults.DEFAULTS)
    for name in settings:
        values[name] = defaults.check(name, settings[name])
    return values


class Front:
    """Brings each reading to the statistic, and tells the class derived from it.

    That class has _track(y, time_us, now_us) for each reading that is certain, and _restart(end_us, new_noise) for a
    break in the series.  It appends what happens to the list `_events`, and the call that gave the
    input returns that list.
    """

    def __init__(self, interval_s, values):
        """interval_s: time from reading to reading.  values: of all settings, from checked().

        Raises ValueError for an interval out of range.
        """
        if not SHORTEST_INTERVAL_S <= interval_s <= LONGEST_INTERVAL_S:
            raise ValueError(
                "interval_s is a number from %s to %s, not %r" % (SHORTEST_INTERVAL_S, LONGEST_INTERVAL_S, interval_s)
            )
        widths_s = values["widths_s"]
        self._interval_us = int(interval_s * 1e6 + 0.5)
        self._decoder = Decoder(self._interval_us)
        self._repair = Repair()
        self._reasons = ()  # reasons that every alert gets
        self._profile = values["noise_ppm_rthz"]
        if too_far_apart(interval_s, widths_s):
            self._reasons = ("readings too far apart",)
            self._profile = ()  # a pass would be shorter than a reading: no filter can be made for it
        self._bank = FilterBank(widths_s, interval_s, values["scale_floor_ppm"] * 1000.0, self._profile)
        self._spikes = Spikes(self._interval_us, int(widths_s[0] * 1e6 + 0.5))
        self._far = 0  # blocks in a row that were beyond the range
        self._last_us = None  # middle of the last interval
        self._newest_us = None  # middle of the newest reading, held back or not
        self.trace = None
        # These lists are used again for each reading, so that a reading without events takes no memory on the board.
        self._repaired = []
        self._certain = []
        self._events = []

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
            self._take(steps, time_us + self._interval_us // 2)
        elif steps == BROKEN:
            self._break()
        return self._happened() if self._events else NOTHING

    def reading(self, time_us, frequency_hz):
        """Take an imported reading in Hz.  time_us: its middle.  Raises ValueError for an impossible frequency."""
        if not 0.0 < frequency_hz < 1e12:
            raise ValueError("a frequency of %r Hz" % frequency_hz)
        if self._far >= FAR_BLOCKS:
            self._far = 0
            self._decoder.reference_hz = None
        steps = self._decoder.reading(time_us, frequency_hz)
        if steps == BROKEN:
            self._break()
            steps = 1
        self._newest_us = time_us
        self._take(steps, time_us + self._interval_us // 2)
        return self._happened() if self._events else NOTHING

    def gap(self, time_us):
        """What comes next is on a new time base: alerts end, and warm-up and baseline start again."""
        self._decoder.forget()
        self._break()
        return self._happened() if self._events else NOTHING

    # ------------------------------------------------------------ what it knows

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
        return min(self._bank.used)

    @property
    def roughness(self):
        """How many times as noisy as the noise profile the soil is here, at least 1.0.  None without a profile."""
        return self._bank.roughness

    @property
    def repaired(self):
        """Number of miscounted edges taken out of the raw sums so far."""
        return self._repair.repaired

    @property
    def mended(self):
        """Number of spikes mended so far: readings that jumped further than a pass can."""
        return self._spikes.mended

    # ------------------------------------------------------------ inside

    def _happened(self):
        """Return the list of events, and begin a new one."""
        events = self._events
        self._events = []
        return events

    def _take(self, steps, now_us):
        """Take the decoder's newest reading, which is the mean of `steps`: itself, and the lost ones before it."""
        decoder = self._decoder
        repair = self._repair
        spikes = self._spikes
        repaired = self._repaired
        repaired.clear()
        repair.push(decoder.y, decoder.edge, repaired)
        if steps == 1 and len(repaired) == 1 and spikes.passes(repaired[0]):  # nearly all do
            self._track(repaired[0], self._newest_us - len(repair.pending) * self._interval_us, now_us)
            if self.trace is not None:
                self.trace.append(self.state)
        else:
            certain = self._certain
            certain.clear()
            # A mean over lost readings never waits for the repair, so it is the last that came out.
            last = len(repaired) - 1
            for i in range(last + 1):
                spikes.push(repaired[i], steps if i == last else 1, certain)
            self._pass_on(certain, len(repair.pending) + spikes.waiting, now_us)
        if self._far >= FAR_BLOCKS:
            self._break(True)

    def _pass_on(self, certain, waiting, now_us):
        """Track readings.  certain: y, and how many readings it stands for, in turn.  waiting: newer ones held back."""
        back = waiting - 1
        for i in range(1, len(certain), 2):
            back += certain[i]
        for i in range(0, len(certain), 2):
            for left in range(certain[i + 1] - 1, -1, -1):
                self._track(certain[i], self._newest_us - back * self._interval_us, now_us)
                back -= 1
                if self.trace is not None and not left:
                    self.trace.append(self.state)

    def _flush(self):
        """Track the readings that were held back: no newer ones come."""
        repaired = []
        certain = []
        self._repair.flush(repaired)
        for y in repaired:
            self._spikes.push(y, 1, certain)
        self._spikes.flush(certain)
        if certain:
            self._pass_on(certain, 0, self._newest_us + self._interval_us // 2)

    def _break(self, new_noise=False):
        """Start again: what comes next does not continue what came before.  new_noise: neither does its noise."""
        if self._newest_us is None:
            return
        self._flush()
        self._restart(self._newest_us + self._interval_us // 2, new_noise)
        self._repair.forget()
        self._spikes.forget()
        self._newest_us = None
