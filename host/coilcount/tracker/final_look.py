"""The last look at an alert, once readings on both sides of its pass are there: final sign and reasons.

A reason is what makes the response uncertain.  Runs under both interpreters.
"""

from . import lobes

# Sources: WEAK is from an earlier simulation study, not repeated here.  The two shares were chosen on tuning scenes of
# tests/bench/detection: on mineral soil 6.5 % of isolated passes with d' of at least 12 are uncertain, and 82.3 % of
# the answers right.  With 0.85 and 0.95 it is 11.5 % and 82.9 %.  The others were chosen by hand on simulated sweeps.

# An excursion of the other sign leaves the sign open if it reaches all three of these heights.
OPPOSITE_SHARE = 0.95  # share of the alert's own height
OPPOSITE_SCALES = 6.0  # multiple of the statistic's scale
OPPOSITE_SIGMAS = 2.5  # sigmas of the soil's own lobes
# Share of the better answer.  The judge leaves the sign open if its answer of the other sign is above this.  Source:
# tuning scenes, 1,712 isolated passes with d' of at least 12.  With 0.95 seven more of them are uncertain than with
# 0.98, and four of these seven signs are wrong.
JUDGED_OPPOSITE_SHARE = 0.95
# An excursion of the other sign becomes the alert's peak if it reaches both of these.  The first is a multiple of the
# alert's height, the second is in sigmas of the soil's own lobes.  The old peak was then a lobe of the filter.
TURN_RATIO = 1.3
TURN_SIGMAS = 4.0
# Score.  Below it the study has no figures for the sign.
WEAK = 3.6


class FinalLook:
    """Makes alerts final."""

    def __init__(self, bank, baseline, noise, interval_us, judge=None, reasons=()):
        """judge: the judge.Judge of a learned noise profile, or None.

        reasons: reasons that every alert gets.
        """
        self._bank = bank
        self._baseline = baseline
        self._noise = noise
        self._interval_us = interval_us
        self._judge = judge
        self._reasons = reasons
        self._windows = [lobes.windows(width * 1e6 / interval_us) for width in bank.widths_s]

    def finish(self, alert, held, events, now_us=None):
        """Append the final record of `alert` to the list `events`.  The sign may settle once more before.

        held: the baseline is held or frozen.  now_us: None if the series ends before the whole pass is known.
        """
        measured = None if now_us is None else self._measure(alert)
        reasons = list(self._reasons)
        if alert.sign == 0:
            reasons.append("not settled")
        if alert.score < WEAK:
            reasons.append("too weak")
        over_held = alert.peak_over_held * alert.sign < 0.0
        if measured is None and alert.opposite > OPPOSITE_SHARE * alert.best:
            reasons.append("opposite lobe as strong")
        if measured is not None:
            sign = alert.sign
            if self._judge is not None and (
                self._judge.unclear(alert.peak, alert.width) or not (alert.peaked or held)
            ):
                contested = self._ask_judge(alert, now_us, events)
            else:
                contested = self._ask_height(alert, now_us, events)
            turned = alert.sign != sign
            over_held = over_held and not turned
            if contested or (turned and alert.has_neighbour):
                reasons.append("opposite lobe as strong")
            if turned:
                measured = self._measure(alert) or measured
            core, lobe, step = measured
            if not held and lobes.is_step(core, step, self._noise.step[alert.width]):
                reasons.append("step in the ground")
            elif alert.sign > 0 and lobes.is_flat_iron(core, lobe, self._noise.lobe[alert.width]):
                reasons.append("two objects" if alert.has_neighbour else "lobes of flat iron")
        if over_held:
            # The peak is still on the other side of the held baseline: the coil sees less of the held target, and no
            # other object.
            reasons.append("moving over a held target")
        alert.reasons = tuple(reasons)
        events.append(alert.event("final", self._bank.widths_s))

    def _measure(self, alert):
        back = self._bank.count - alert.peak_index
        return lobes.measure(self._bank, back, self._windows[alert.width], self._baseline.slope_a_reading)

    def _ask_height(self, alert, now_us, events):
        """Return True if the frequency went about as far the other way beside the peak, so that the sign is open.

        If it went much farther the other way, that becomes the alert's sign.
        """
        bank = self._bank
        back = bank.count - alert.peak_index
        high, low, high_back, low_back = lobes.extremes(bank, back, self._windows[alert.width])
        own = high if alert.sign > 0 else -low
        other = -low if alert.sign > 0 else high
        sigma = self._noise.lobe[alert.width]
        if other < OPPOSITE_SCALES * alert.scale or other < OPPOSITE_SIGMAS * sigma or other < OPPOSITE_SHARE * own:
            return False
        if not alert.peaked or other < TURN_RATIO * own or other < TURN_SIGMAS * sigma:
            return True
        later = back - (low_back if alert.sign > 0 else high_back)
        alert.move(later, -other if alert.sign > 0 else other, self._interval_us)
        alert.settle(now_us, bank.widths_s, events)
        return False

    def _ask_judge(self, alert, now_us, events):
        """The same, decided by the judge's filters if the height is too small to show the sign."""
        if not alert.peaked:
            alert.move(alert.score_index - alert.peak_index, alert.peak, self._interval_us)
        back = self._bank.count - alert.peak_index
        rise, fall = self._judge.look(back)
        best = rise if rise[0] > fall[0] else fall
        alert.move(back - best[2], best[1], self._interval_us)
        if (best[1] > 0.0) != (alert.sign > 0):
            alert.settle(now_us, self._bank.widths_s, events)
        return min(rise[0], fall[0]) > JUDGED_OPPOSITE_SHARE * best[0]
